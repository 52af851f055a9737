"""Does verifying a report tell what differs: the record, the version, or the file itself?"""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tracker.commands import main


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory, small_plan: Callable[..., str]) -> Path:
    """A folder with a kitchen and the report of its trial "scone"; trial "other" has no readings yet."""
    folder = tmp_path_factory.mktemp("written")
    (folder / "plan.toml").write_text(small_plan())
    run = ["--kitchen", str(folder / "kitchen.db"), "trial"]
    for name in ("scone", "other"):
        assert main([*run, "plan", str(folder / "plan.toml"), "--name", name]) == 0
    for order in range(1, 7):
        assert main([*run, "record", "scone", f"#{order}", f"rise={40 + 1.5 * order}"]) == 0
    assert main([*run, "report", "scone", "--out", str(folder / "scone.html")]) == 0
    return folder


@pytest.fixture
def place(written: Path, crumbwise: Callable[..., Any], tmp_path: Path) -> Path:
    for name in ("kitchen.db", "scone.html", "plan.toml"):
        shutil.copy(written / name, tmp_path / name)
    return tmp_path


def changed(place: Path, old: str, new: str) -> None:
    page = (place / "scone.html").read_bytes().decode("utf-8")
    assert old in page
    (place / "scone.html").write_bytes(page.replace(old, new, 1).encode("utf-8"))


def verify(crumbwise: Callable[..., Any], name: str = "scone.html") -> Any:
    return crumbwise("trial", "report", "--verify", name, "--json")


def test_the_same_record_and_version_verify(place: Path, crumbwise: Callable[..., Any]) -> None:
    ran = verify(crumbwise)
    assert ran.code == 0, ran.out
    assert (ran.document["same"], ran.document["entries_since"], ran.document["about"]) == (True, 0, "scone")
    words = crumbwise("trial", "report", "--verify", "scone.html")
    assert (words.code, "every byte is the same" in words.out) == (0, True)


def test_entries_on_other_trials_do_not_matter(place: Path, crumbwise: Callable[..., Any]) -> None:
    assert crumbwise("trial", "record", "other", "#1", "rise=41").code == 0
    ran = verify(crumbwise)
    assert ran.code == 0, ran.out
    assert ran.document["entries_since"] > 0


def test_one_digit_changed_by_hand_is_found(place: Path, crumbwise: Callable[..., Any]) -> None:
    changed(place, '<td class="number">41.5</td>', '<td class="number">47.5</td>')
    ran = verify(crumbwise)
    assert ran.code == 6
    assert "The file itself was changed" in ran.document["reasons"][0]
    (section,) = ran.document["sections"]
    assert section["lines_that_differ"] == 1
    assert "47.5" in section["lines"][0]["in_the_file"]
    assert "41.5" in section["lines"][0]["made_again"]
    words = crumbwise("trial", "report", "--verify", "scone.html").out
    assert f'In "{section["section"]}"' in words
    assert "made again" in words


def test_a_changed_record_says_how_much_was_entered_since(place: Path, crumbwise: Callable[..., Any]) -> None:
    ran = crumbwise("trial", "record", "scone", "#1", "rise=45", "--correct", "--reason", "misread")
    assert ran.code == 0, ran.err
    ran = verify(crumbwise)
    assert ran.code == 6
    assert ran.document["entries_since"] >= 1
    said = ran.document["reasons"][0]
    assert re.search(rf"The record changed: {ran.document['entries_since']} audit entr", said)
    assert len(set(re.findall(r"[0-9a-f]{64}", said))) == 2
    assert {"The data", "Where this comes from"} <= {each["section"] for each in ran.document["sections"]}


def test_another_version_is_named_and_the_rest_compared(
    place: Path, crumbwise: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    from tracker.workflow import provenance

    now = provenance.versions()
    monkeypatch.setattr(provenance, "versions", lambda: {**now, "crumbwise": "9.9.9", "numpy": "8.8.8"})
    ran = verify(crumbwise)
    assert ran.code == 6
    assert f"crumbwise {now['crumbwise']} then, 9.9.9 here" in ran.document["reasons"][0]
    assert f"numpy {now['numpy']} then, 8.8.8 here" in ran.document["reasons"][0]
    assert "Nothing else does" in ran.document["reasons"][1]
    assert ran.document["sections"] == []


def test_provenance_changed_by_hand_is_found(place: Path, crumbwise: Callable[..., Any]) -> None:
    page = (place / "scone.html").read_text(encoding="utf-8")
    content = re.search(r"<dt>content sha256</dt><dd>([0-9a-f]{64})", page)
    assert content is not None
    changed(place, content[1], "0" * 64)
    ran = verify(crumbwise)
    assert (ran.code, "The file itself was changed" in ran.document["reasons"][0]) == (6, True)

    changed(place, "0" * 64, content[1])
    assert verify(crumbwise).code == 0
    head = re.search(r"<dt>audit head</dt><dd>([0-9a-f]{64})", page)
    assert head is not None
    changed(place, head[1], "f" * 64)
    ran = verify(crumbwise)
    assert (ran.code, "The record is another" in ran.document["reasons"][0]) == (6, True)


def test_other_ends_of_lines_and_foreign_bytes_are_differences(place: Path, crumbwise: Callable[..., Any]) -> None:
    whole = (place / "scone.html").read_bytes()
    (place / "scone.html").write_bytes(whole.replace(b"\n", b"\r\n"))
    ran = verify(crumbwise)
    assert (ran.code, r"\r\n" in ran.out.replace("\\\\", "\\")) == (6, True)
    (place / "scone.html").write_bytes(whole.replace(b"</main>", b"\xff\x1b[2J</main>"))
    ran = crumbwise("trial", "report", "--verify", "scone.html")
    assert ran.code == 6
    assert "\x1b" not in ran.out
    assert r"\u001b" in ran.out


def test_wishes_are_told_and_made_again(place: Path, crumbwise: Callable[..., Any]) -> None:
    made = ["trial", "report", "scone", "--out", "wish.html", "--confidence", "0.9", "--reference", "acid:yogurt"]
    assert crumbwise(*made, "--decimal", "comma", "--seed", "7").code == 0
    assert verify(crumbwise, "wish.html").code == 0
    changed_page = (place / "wish.html").read_text(encoding="utf-8").replace("--seed 7", "--seed 8")
    (place / "wish.html").write_text(changed_page, encoding="utf-8")
    assert verify(crumbwise, "wish.html").code == 6


def test_a_report_without_an_answer_verifies_too(place: Path, crumbwise: Callable[..., Any]) -> None:
    assert crumbwise("trial", "report", "other", "--out", "other.html").code == 0
    assert verify(crumbwise, "other.html").code == 0
    assert crumbwise("trial", "record", "other", "#1", "rise=41").code == 0
    assert verify(crumbwise, "other.html").code == 6


def test_what_is_no_report_is_refused(place: Path, crumbwise: Callable[..., Any]) -> None:
    (place / "page.html").write_text("<html><p>Hello</p></html>")
    (place / "picture.html").write_bytes(bytes(range(256)))
    (place / "empty.html").write_text("")
    for name in ("page.html", "picture.html", "empty.html", "missing.html"):
        ran = verify(crumbwise, name)
        assert ran.code == 3, name
        assert "Try:" in ran.err
    changed(place, "crumbwise trial report scone", "rm -r scone")
    assert verify(crumbwise).code == 3


def test_another_kitchen_says_that_it_has_no_such_trial(place: Path, crumbwise: Callable[..., Any]) -> None:
    assert crumbwise("--kitchen", "new.db", "trial", "plan", "plan.toml", "--name", "else").code == 0
    ran = crumbwise("--kitchen", "new.db", "trial", "report", "--verify", "scone.html")
    assert (ran.code, "scone" in ran.err) == (4, True)
    assert crumbwise("--kitchen", "none.db", "trial", "report", "--verify", "scone.html").code == 4


def test_a_spreadsheets_report_needs_no_kitchen(crumbwise: Callable[..., Any], tmp_path: Path) -> None:
    rows = "\n".join(f"{acid},{rise}" for acid in ("yogurt", "lemon") for rise in (41, 42.5, 40 + len(acid)))
    (tmp_path / "rise.csv").write_text(f"acid,rise\n{rows}\n")
    (tmp_path / "out").mkdir()
    ran = crumbwise(
        "analyse", "rise.csv", "--response", "rise", "--matters", "rise:2", "--report", "out/r.html", "--json"
    )
    assert ran.code == 0, ran.err
    assert verify(crumbwise, "out/r.html").code == 0
    assert not (tmp_path / "kitchen.db").exists()
    (tmp_path / "rise.csv").write_text(f"acid,rise\n{rows}\nlemon,50\n")
    ran = verify(crumbwise, "out/r.html")
    assert (ran.code, "The spreadsheet rise.csv changed" in ran.document["reasons"][0]) == (6, True)
    (tmp_path / "rise.csv").unlink()
    ran = verify(crumbwise, "out/r.html")
    assert (ran.code, "beside the report" in ran.err) == (4, True)
