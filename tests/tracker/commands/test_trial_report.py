"""Does the answer leave the kitchen whole: page, pictures, tables, of one trial or of a whole class?"""

from __future__ import annotations

import io
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import openpyxl
import pytest

from tracker.commands import main

TRUTH = {"yogurt": 40.0, "lemon juice": 46.0}


@pytest.fixture(scope="module")
def baked(tmp_path_factory: pytest.TempPathFactory, small_plan: Callable[..., str]) -> Path:
    """A kitchen with "scone" (6 of 6 bakes), "half" (4 of 6) and "empty" (none)."""
    folder = tmp_path_factory.mktemp("baked")
    (folder / "plan.toml").write_text(small_plan(question="Which acid lifts it more?"))
    place = str(folder / "kitchen.db")
    for name, baked in (("scone", 6), ("half", 4), ("empty", 0)):
        assert main(["--kitchen", place, "trial", "plan", str(folder / "plan.toml"), "--name", name]) == 0
        for order, acid in enumerate(acids(place, name)[:baked], start=1):
            rise = TRUTH[acid] + 0.7 * (order % 3)
            assert main(["--kitchen", place, "trial", "record", name, f"#{order}", f"rise={rise:.1f}"]) == 0
    return folder / "kitchen.db"


def acids(place: str, trial: str) -> list[str]:
    """The acid of each run, in the order of baking."""
    from sqlmodel import select

    from tracker.models import Run, Trial
    from tracker.store import open_kitchen

    with open_kitchen(place) as store, store.read() as session:
        rows = session.exec(select(Run).join(Trial).where(Trial.name == trial)).all()
        return [json.loads(run.settings)["acid"] for run in sorted(rows, key=lambda run: run.bake_order)]


@pytest.fixture
def kitchen(baked: Path, crumbwise: Callable[..., Any], tmp_path: Path) -> Callable[..., Any]:
    shutil.copy(baked, tmp_path / "kitchen.db")
    return crumbwise


def test_pictures_and_tables_are_written_beside_the_page(kitchen: Callable[..., Any], tmp_path: Path) -> None:
    ran = kitchen(
        "trial", "report", "scone", "--out", "r.html", "--pictures", "pictures", "--tables", "tables", "--json"
    )
    assert ran.code == 0, ran.err
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert "lemon juice" in page
    svgs = sorted((tmp_path / "pictures").glob("*.svg"))
    assert svgs
    for svg in svgs:
        assert ElementTree.parse(svg).getroot().tag.endswith("}svg")
        assert svg.with_suffix(".png").read_bytes().startswith(b"\x89PNG")
    assert sorted(ran.document["pictures"]) == sorted(f"pictures/{p.name}" for p in (tmp_path / "pictures").iterdir())
    data = (tmp_path / "tables" / "data-1.csv").read_text(encoding="utf-8-sig").splitlines()
    assert data[0].startswith("bake,order")
    assert len(data) == 7  # a head and six bakes
    # The page itself is the same with or without files beside it.
    assert kitchen("trial", "report", "scone", "--out", "alone.html").code == 0
    assert (tmp_path / "alone.html").read_text(encoding="utf-8") == page


def test_tables_as_one_workbook(kitchen: Callable[..., Any], tmp_path: Path) -> None:
    assert kitchen("trial", "report", "scone", "--tables", "t.xlsx").code == 0
    assert (tmp_path / "scone.html").exists()
    first = (tmp_path / "t.xlsx").read_bytes()
    book = openpyxl.load_workbook(io.BytesIO(first))
    assert "data-1" in book.sheetnames
    assert book["data-1"].max_row == 8
    assert book.properties.created.year == 1980  # tells no time


def test_a_pdf_of_the_paper_asked_for(kitchen: Callable[..., Any], tmp_path: Path) -> None:
    pdfium = pytest.importorskip("pypdfium2")
    ran = kitchen("trial", "report", "scone", "--out", "r.pdf", "--paper", "letter")
    if ran.code == 7 and "PDF cannot be made" in ran.err:
        assert not (tmp_path / "r.pdf").exists()
        pytest.skip("no Pango here (Debian: libpangoft2-1.0-0)")
    assert ran.code == 0, ran.err
    sheet = pdfium.PdfDocument((tmp_path / "r.pdf").read_bytes())[0]
    assert (round(sheet.get_width()), round(sheet.get_height())) == (612, 792)


def test_a_decimal_comma_is_written_and_told(kitchen: Callable[..., Any], tmp_path: Path) -> None:
    assert kitchen("trial", "report", "scone", "--out", "r.html", "--decimal", "comma").code == 0
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert "crumbwise trial report scone --decimal comma" in page
    ran = kitchen("trial", "report", "scone", "--decimal", "dot")
    assert (ran.code, "--decimal point" in ran.err) == (2, True)


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["scone", "--out", "r.txt"], 2, "ends neither in .html nor in .pdf"),
        (["scone", "--paper", "A3"], 2, "--paper A4"),
        (["scone", "--for", "nobody"], 2, "kitchen"),
        ([], 2, "crumbwise trial list"),
        (["scone", "half"], 2, "--folder reports"),
        (["--every", "--folder", "f", "--out", "r.html"], 2, "--folder reports"),
        (["no such"], 4, "no such"),
    ],
)
def test_what_is_asked_wrongly_writes_nothing(
    kitchen: Callable[..., Any], tmp_path: Path, words: list[str], code: int, said: str
) -> None:
    ran = kitchen("trial", "report", *words)
    assert ran.code == code
    assert said in ran.err
    assert [path.name for path in tmp_path.iterdir()] == ["kitchen.db"]


def test_a_place_that_cannot_be_written_leaves_no_half_of_it(kitchen: Callable[..., Any], tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file, not a folder")
    for words in (
        ["--out", "taken/r.html"],
        ["--out", "r.html", "--pictures", "taken"],
        ["--out", "r.html", "--tables", "taken/t.xlsx"],
    ):
        ran = kitchen("trial", "report", "scone", *words)
        assert ran.code == 3, words
        assert "cannot be written" in ran.err
        assert "Traceback" not in ran.err
        assert sorted(path.name for path in tmp_path.iterdir()) == ["kitchen.db", "taken"]
    (tmp_path / "r.html").mkdir()
    ran = kitchen("trial", "report", "scone", "--out", "r.html", "--pictures", "p")
    assert ran.code == 3
    assert list((tmp_path / "p").iterdir()) == []


def test_a_trial_half_recorded_says_so_first(kitchen: Callable[..., Any], tmp_path: Path) -> None:
    ran = kitchen("trial", "report", "half", "--out", "r.html")
    assert ran.code == 0
    assert "2 of the planned runs are not baked yet" in ran.err
    assert "2 of the planned runs are not baked yet" in (tmp_path / "r.html").read_text(encoding="utf-8")


def test_a_trial_without_readings_has_a_page_that_says_what_is_missing(
    kitchen: Callable[..., Any], tmp_path: Path
) -> None:
    ran = kitchen("trial", "report", "empty", "--out", "r.html")
    assert ran.code == 0, ran.err
    assert "has no readings of rise yet" in ran.err
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    for said in (
        "There is no answer yet",
        "How it is planned",
        "has no readings of rise yet",
        "crumbwise trial record",
        "lemon juice",
    ):
        assert said in page
    # With a wish that cannot be granted it is no answer, but an error: nothing is written.
    assert kitchen("trial", "report", "empty", "--out", "wish.html", "--robust").code == 7
    assert not (tmp_path / "wish.html").exists()


def test_several_into_a_folder_and_a_failure_stops_no_other(kitchen: Callable[..., Any], tmp_path: Path) -> None:
    ran = kitchen(
        "trial", "report", "scone", "missing", "half", "--folder", "one", "--tables", "t", "--jobs", "1", "--json"
    )
    assert ran.code == 4
    by_name = {each["trial"]: each for each in ran.document["trials"]}
    assert list(by_name) == ["scone", "missing", "half"]
    assert by_name["missing"]["error"]["exit_code"] == 4
    assert "missing" in ran.err
    assert sorted(path.name for path in (tmp_path / "one").iterdir()) == ["half.html", "scone.html"]
    assert (tmp_path / "t" / "half" / "data-1.csv").exists()


def test_two_at_once_write_the_same_as_one_after_the_other(kitchen: Callable[..., Any], tmp_path: Path) -> None:
    assert kitchen("trial", "report", "--every", "--folder", "one", "--jobs", "1").code == 0
    ran = kitchen("trial", "report", "--every", "--folder", "two", "--jobs", "2")
    assert ran.code == 0
    names = ["empty.html", "half.html", "scone.html"]
    assert sorted(path.name for path in (tmp_path / "two").iterdir()) == names
    for name in names:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_a_spreadsheet_has_the_same_formats(crumbwise: Callable[..., Any], tmp_path: Path) -> None:
    rows = "\n".join(f"{acid},{rise + shift}" for acid, rise in TRUTH.items() for shift in (0, 1.1, 0.4))
    (tmp_path / "rise.csv").write_text(f"acid,rise\n{rows}\n")
    ran = crumbwise("analyse", "rise.csv", "--response", "rise", "--report", "r.html", "--tables", "t.xlsx")
    assert ran.code == 0, ran.err
    assert (tmp_path / "t.xlsx").exists()
    assert "crumbwise analyse rise.csv --response rise --report report.html" in (tmp_path / "r.html").read_text()
    ran = crumbwise("analyse", "rise.csv", "--response", "rise", "--tables", "t2.xlsx")
    assert (ran.code, "--report report.html" in ran.err) == (2, True)
    assert not (tmp_path / "t2.xlsx").exists()
