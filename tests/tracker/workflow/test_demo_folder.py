"""Does the demo leave alone what is not its own, and nothing behind when it fails?"""

from __future__ import annotations

import json

import pytest

from tracker.errors import Conflict, InputError
from tracker.workflow.demo_folder import LIST, building_site, refuse_strangers


def build(folder, **files):
    with building_site(folder) as site:
        for name, text in files.items():
            (site / name).write_text(text)


def test_a_new_or_empty_folder_is_taken(tmp_path):
    refuse_strangers(tmp_path / "new", again=False)
    (tmp_path / "empty").mkdir()
    refuse_strangers(tmp_path / "empty", again=False)
    build(tmp_path / "empty", index="one")
    assert (tmp_path / "empty" / "index").read_text() == "one"
    assert json.loads((tmp_path / "empty" / LIST).read_text())["files"] == ["index"]


@pytest.mark.parametrize("again", [False, True])
def test_a_strangers_folder_is_refused(tmp_path, again):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(Conflict, match="something else"):
        refuse_strangers(tmp_path, again=again)
    with pytest.raises(Conflict, match="is a file"):
        refuse_strangers(tmp_path / "mine.txt", again=again)


def test_an_own_folder_is_rebuilt_only_when_asked(tmp_path):
    folder = tmp_path / "demo"
    build(folder, index="one", old="gone later")
    (folder / "notes.txt").write_text("mine")
    with pytest.raises(Conflict, match="already") as told:
        refuse_strangers(folder, again=False)
    assert "--again" in told.value.try_this
    refuse_strangers(folder, again=True)
    build(folder, index="two")
    assert {path.name: path.read_text() for path in folder.iterdir() if path.name != LIST} == {
        "index": "two",
        "notes.txt": "mine",
    }


def test_a_failed_build_leaves_the_folder_as_it_was(tmp_path):
    folder = tmp_path / "demo"
    build(folder, index="one")
    with pytest.raises(IsADirectoryError):
        build(folder, index="half", **{".": "a folder cannot be written as a file"})
    assert (folder / "index").read_text() == "one"
    assert [path.name for path in tmp_path.iterdir()] == ["demo"]


def test_a_doctored_list_removes_nothing_outside(tmp_path):
    folder = tmp_path / "demo"
    build(folder, index="one")
    outside = tmp_path / "outside.txt"
    outside.write_text("mine")
    (folder / LIST).write_text(json.dumps({"files": ["../outside.txt", str(outside), "index"]}))
    build(folder, index="two")
    assert outside.read_text() == "mine"


def test_a_place_that_cannot_be_written_is_said(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="cannot be built there"), building_site(tmp_path / "file" / "demo"):
        pass
