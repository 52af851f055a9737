"""Does a photo come in from a file, and is what is no photo said in words?"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image


@pytest.fixture
def photo_file(tmp_path: Path) -> Path:
    exif = Image.Exif()
    exif[0x010E] = "taken by Grace"
    path = tmp_path / "crumb.jpg"
    Image.new("RGB", (3200, 2400), "tan").save(path, exif=exif.tobytes())
    return path


def test_a_photo_comes_in_without_what_the_camera_wrote(
    crumbwise: Callable[..., Any], soda_path: Path, photo_file: Path
) -> None:
    code = "108"
    ran = crumbwise("trial", "photo", "soda", "#1", "crumb.jpg", "--piece", "2", "--words", "a hole", "--json")
    assert ran.code == 0, ran.err
    told = ran.document
    assert (told["run"], told["number"], told["piece"], told["width"], told["height"]) == (code, 1, 2, 1600, 1200)
    assert b"Grace" in photo_file.read_bytes()
    assert b"Grace" not in soda_path.read_bytes()
    ran = crumbwise("trial", "photo", "soda", code, "crumb.jpg")
    assert f"Run {code} of soda: photo 2 of the bake, 1600 × 1200 pixels" in ran.out
    assert crumbwise("records", "verify").code == 0
    lines = crumbwise("records", "history", "--trial", "soda").out
    assert "photo 1, a hole" in lines


@pytest.mark.parametrize(
    ("name", "content", "code", "words"),
    [
        ("none.jpg", None, 4, "none.jpg"),
        ("empty.jpg", b"", 3, "empty"),
        ("page.jpg", b"<html>", 3, "no picture"),
        ("folder", "folder", 4, "folder"),
        ("half.jpg", b"\xff\xd8\xff\xe0\x00\x10JFIF", 3, "broken"),
        ("large.jpg", b"\xff\xd8\xff" + bytes(15_000_000), 3, "15 MB"),
    ],
)
def test_what_is_no_photo_is_said(
    crumbwise: Callable[..., Any], soda_path: Path, tmp_path: Path, name: str, content: Any, code: int, words: str
) -> None:
    if content == "folder":
        (tmp_path / name).mkdir()
    elif content is not None:
        (tmp_path / name).write_bytes(content)
    ran = crumbwise("trial", "photo", "soda", "#1", name)
    assert ran.code == code
    assert words in ran.err
    assert "\nTry: " in ran.err
    assert "Traceback" not in ran.err


def test_the_other_ways_to_be_wrong(crumbwise: Callable[..., Any], soda_path: Path, photo_file: Path) -> None:
    for words, code in (
        (["sodda", "#1", "crumb.jpg"], 4),
        (["soda", "000", "crumb.jpg"], 4),
        (["soda", "#1", "crumb.jpg", "--piece", "0"], 2),
        (["soda", "#1", "crumb.jpg", "--piece", "100000"], 3),
        (["soda", "#1", "crumb.jpg", "--person", "9"], 4),
        (["soda", "#1"], 2),
    ):
        assert crumbwise("trial", "photo", *words).code == code


def test_a_photo_is_erased_when_it_is_meant(
    crumbwise: Callable[..., Any], soda_path: Path, photo_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert crumbwise("trial", "photo", "soda", "#1", "crumb.jpg").code == 0
    erase = ("records", "erase-photo", "1", "--reason", "a face was in it")
    monkeypatch.setattr("tracker.commands.records.ask", lambda question: "no")
    ran = crumbwise(*erase)
    assert ran.code == 2
    assert "Nothing was erased." in ran.err
    asked: list[str] = []
    monkeypatch.setattr("tracker.commands.records.ask", lambda question: asked.append(question) or "yes")
    ran = crumbwise(*erase)
    assert ran.code == 0, ran.err
    assert asked == ["Erase photo 1 of run 108 of soda for good? Type yes: "]
    assert "Photo 1 of run 108 of soda is erased" in ran.out
    assert "Backups and bundles made before still hold it" in ran.out
    again = crumbwise(*erase, "--yes")
    assert again.code == 5
    assert "erased by person 1 on" in again.err
    assert crumbwise("records", "erase-photo", "9", "--reason", "x", "--yes").code == 4
    assert crumbwise("records", "verify").code == 0
    assert crumbwise("trial", "photo", "soda", "#1", "crumb.jpg").code == 0
    ran = crumbwise(*(*erase[:2], "2", *erase[3:]), "--yes", "--json")
    assert (ran.document["erased"], ran.document["number"], ran.document["run"]) == (True, 2, "108")
