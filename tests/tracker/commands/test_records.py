"""Do the commands of the record print one document, the right words and the documented exit code?"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tracker.commands import main
from tracker.store import open_kitchen
from tracker.workflow.verifying import TABLES


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main(["records", *words])
    out, err = capsys.readouterr()
    return code, out, err


@pytest.fixture
def here(kitchen_place: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> str:
    monkeypatch.setenv("CRUMBWISE_KITCHEN", kitchen_place)
    monkeypatch.chdir(tmp_path)
    return kitchen_place


def test_each_command_answers_in_words_and_in_one_document(here: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "people", "add", "Ada", "--allergens", "hazelnut")[0] == 0
    for words, key in (
        (["check"], "sound"),
        (["check", "--full"], "sound"),
        (["verify"], "head"),
        (["history"], "entries"),
        (["people", "list"], "people"),
    ):
        code, out, err = run(capsys, *words)
        assert (code, err) == (0, "")
        assert out.strip()
        code, out, err = run(capsys, *words, "--json")
        assert (code, err) == (0, "")
        assert key in json.loads(out)
    head = json.loads(run(capsys, "verify", "--json")[1])["head"]
    assert json.loads(run(capsys, "verify", "--expect", head, "--json")[1])["expected_at"] == 4
    code, out, _ = run(capsys, "people", "erase", "2", "--reason", "asked for it", "--json")
    assert (code, json.loads(out)["name"]) == (0, None)


def test_backup_and_restore(sqlite_kitchen: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    place = ["--kitchen", str(sqlite_kitchen)]
    code, out, _ = run(capsys, "backup", str(tmp_path / "copy.db"), *place, "--json")
    made = json.loads(out)
    assert (code, made["path"]) == (0, str(tmp_path / "copy.db"))
    code, out, _ = run(capsys, "restore", made["path"], str(tmp_path / "again.db"))
    assert code == 0
    assert made["head"] in out
    code, _, err = run(capsys, "backup", str(tmp_path / "copy.db"), *place)
    assert code == 5
    assert "\nTry: " in err


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["verify", "--expect", "0" * 64], 6),
        (["verify", "--expect", "soda"], 2),
        (["history", "--trial", "nothing"], 4),
        (["history", "--run", "417"], 2),
        (["people", "erase", "7", "--reason", "asked for it"], 4),
        (["people", "erase", "7"], 2),
        (["restore", "missing.db", "new.db"], 4),
        (["check", "--kitchen", "missing.db"], 4),
        (["nonsense"], 2),
    ],
)
def test_what_goes_wrong_has_its_code_and_a_way_out(
    here: str, capsys: pytest.CaptureFixture[str], words: list[str], code: int
) -> None:
    given, out, err = run(capsys, *words)
    assert given == code
    assert out == ""
    assert "\nTry: " in err
    given, out, err = run(capsys, *words, "--json")
    assert given == code
    assert json.loads(out)["error"]["exit_code"] == code
    assert not Path("missing.db").exists()


def test_a_broken_record_ends_with_six(sqlite_kitchen: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import sqlite3
    from contextlib import closing

    with closing(sqlite3.connect(sqlite_kitchen)) as connection:
        connection.execute("DROP TRIGGER kitchen_no_update")
        connection.execute("UPDATE kitchen SET name = 'mine'")
        connection.commit()
    code, out, err = run(capsys, "check", "--kitchen", str(sqlite_kitchen))
    assert code == 6
    all_of_them = 2 * (len(TABLES) - 1)  # against UPDATE and DELETE, on all but the erasable table
    assert f"wrong     triggers against change: {all_of_them - 1} of {all_of_them}" in out
    assert "\nTry: " in err
    code, _, err = run(capsys, "verify", "--kitchen", str(sqlite_kitchen))
    assert code == 6
    assert err.startswith("Entry 1 of the record no longer agrees with the tables: row 1 of kitchen was changed")


@pytest.mark.parametrize(
    "words",
    [
        ["check"],
        ["verify"],
        ["history"],
        ["backup"],
        ["restore"],
        ["erase-photo"],
        ["people", "add"],
        ["people", "list"],
        ["people", "erase"],
        ["people", "close"],
    ],
)
def test_every_help_has_an_example(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, *words, "--help")
    assert code == 0
    assert f"crumbwise records {' '.join(words)}" in out.partition("Example:")[2]


def test_a_kitchen_in_another_place_is_not_made(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "people", "add", "Ada", "--kitchen", str(tmp_path / "new.db"))[0] == 4
    assert list(tmp_path.iterdir()) == []
    open_kitchen(str(tmp_path / "new.db"), create=True).close()
    assert run(capsys, "people", "add", "Ada", "--kitchen", str(tmp_path / "new.db"))[0] == 0
