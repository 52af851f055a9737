"""Does ``crumbwise analyse`` understand a spreadsheet, say what it guessed, and refuse what is wrong?"""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest

PUBLISHED = Path(__file__).parents[2] / "published"
# Two acids, four doses, two days; the numbers are made up, with a drop of 4 mm for lemon and 6 mm for each step.
TABLE = "bake day;acid source;soda (% flour);rise height (mm)\n" + "\n".join(
    f"{day};{acid};{soda};{40 + 6 * step - 4 * (acid == 'lemon') + 2 * (day == 'tuesday') + wobble}".replace(".", ",")
    for step, soda in enumerate((0.5, 1.0, 1.5, 2.0))
    for acid, extra in (("yogurt", 0.3), ("lemon", -0.2))
    for day, wobble in (("monday", extra * (step - 1)), ("tuesday", -extra * (step - 2)))
)


@pytest.fixture
def rise(tmp_path: Path) -> Path:
    path = tmp_path / "rise.csv"
    path.write_text(TABLE)
    return path


def test_columns_are_guessed_and_the_guess_is_said(crumbwise: Callable[..., Any], rise: Path) -> None:
    ran = crumbwise("analyse", rise, "--response", "rise height", "--json")
    assert ran.code == 0, ran.err
    notes = [line for line in ran.err.splitlines() if line.startswith("Note: ")]
    assert notes == [
        "Note: bake day was taken for a block.",
        "Note: acid source was taken for a factor: category.",
        "Note: soda was taken for a factor: amount.",
    ]
    result = ran.document["responses"][0]
    assert (result["response"], result["unit"], result["n_bakes"]) == ("rise height", "mm", 16)
    assert ran.document["rows"]["read"] == ran.document["rows"]["used"] == 16
    assert ran.document["remarks"] == [note.removeprefix("Note: ") for note in notes]
    assert ran.document["provenance"]["as_of"] is None


def test_everything_may_be_said(crumbwise: Callable[..., Any], rise: Path, tmp_path: Path) -> None:
    said = ["--response", "rise height", "--factor", "soda:amount", "--factor", "acid source:category"]
    said += ["--block", "bake day", "--kind", "factors", "--goal", "maximise", "--matters", "rise height:3"]
    said += ["--reference", "yogurt", "--confidence", "0.9", "--order", "2", "--squares", "2"]
    ran = crumbwise("analyse", rise, *said, "--report", "rise.html", "--json")
    assert ran.code == 0, ran.err
    effect = next(f for f in ran.document["findings"] if f["variables"] == ["soda"])
    assert effect["matters"] == "yes"
    assert effect["size"] == pytest.approx(18, abs=1)
    page = (tmp_path / "rise.html").read_text()
    assert "rise height" in page
    command = ran.document["provenance"]["command"]
    assert "--kind factors" in command
    assert "--reference yogurt" in command


def test_the_command_it_names_gives_the_same_answer(crumbwise: Callable[..., Any], rise: Path) -> None:
    import shlex

    said = ["--response", "rise height", "--dose", "soda", "--by", "acid source", "--confidence", "0.9"]
    first = crumbwise("analyse", rise, *said, "--json").document
    again = crumbwise(*shlex.split(first["provenance"]["command"])[1:], "--json").document
    assert again == first
    assert first["responses"][0]["dose"]["by"] == "acid source"


def test_readings_of_one_bake_are_averaged(crumbwise: Callable[..., Any], rise: Path, tmp_path: Path) -> None:
    head, *rows = TABLE.split("\n")
    twice = [f"{row};{at}" for at, row in enumerate(rows) for _ in (1, 2)]
    (tmp_path / "twice.csv").write_text("\n".join([f"{head};loaf", *twice]))
    once = crumbwise("analyse", rise, "--response", "rise height", "--json").document["responses"][0]
    both = crumbwise("analyse", "twice.csv", "--response", "rise height", "--bake", "loaf", "--json").document
    assert (both["responses"][0]["n_bakes"], both["responses"][0]["n_readings"]) == (16, 32)
    assert both["responses"][0]["residual"]["df"] == once["residual"]["df"]


def test_empty_cells_are_left_out_and_counted(crumbwise: Callable[..., Any], tmp_path: Path) -> None:
    head, first, *rows = TABLE.split("\n")
    gap = first.rsplit(";", 1)[0] + ";"
    (tmp_path / "gap.csv").write_text("\n".join([head, gap, *rows]))
    ran = crumbwise("analyse", "gap.csv", "--response", "rise height", "--json")
    assert ran.code == 0, ran.err
    assert (ran.document["rows"]["read"], ran.document["rows"]["used"]) == (16, 15)
    assert [out["row"] for out in ran.document["rows"]["left_out"]] == [1]


def test_yes_and_no_are_a_scale(crumbwise: Callable[..., Any], rise: Path, tmp_path: Path) -> None:
    head, *rows = TABLE.split("\n")
    split = [f"{row};{'yes' if at % 3 else 'no'}" for at, row in enumerate(rows)]
    (tmp_path / "split.csv").write_text("\n".join([f"{head};split", *split]))
    assert crumbwise("analyse", "split.csv", "--response", "split").code == 3
    ran = crumbwise("analyse", "split.csv", "--response", "split", "--scale", "yes-no", "--factor", "soda", "--json")
    assert ran.code == 0, ran.err
    assert ran.document["responses"][0]["n_bakes"] == 16


def test_a_workbook_is_read_by_its_sheet(crumbwise: Callable[..., Any], tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.title = "Notes"
    sheet = book.create_sheet("Readings")
    for row in TABLE.split("\n"):
        sheet.append([float(cell.replace(",", ".")) if cell[0].isdigit() else cell for cell in row.split(";")])
    book.save(tmp_path / "rise.xlsx")
    ran = crumbwise("analyse", "rise.xlsx", "--sheet", "Readings", "--response", "rise height", "--json")
    assert ran.code == 0, ran.err
    assert ran.document["responses"][0]["n_bakes"] == 16


def test_strata_of_the_chocolate_cake(crumbwise: Callable[..., Any]) -> None:
    # Cook 1938; Cochran and Cox 1957, p. 300; strata of R 4.2.2's aov in the JSON beside the data.
    folder = PUBLISHED / "mixed_split_plot"
    expected = json.loads((folder / "cake_split_plot.json").read_text())["expected"]["strata"]["replicate_recipe"]
    said = ["--factor", "recipe:category", "--factor", "temperature:category", "--group", "replicate+recipe"]
    ran = crumbwise("analyse", folder / "cake_split_plot.csv", "--response", "angle", *said, "--json")
    assert ran.code == 0, ran.err
    tests = {test["term"]: test for test in ran.document["responses"][0]["tests"]}
    assert tests["recipe"]["value"] == pytest.approx(expected["recipe"]["F.value"], rel=1e-8)
    assert tests["temperature"]["df_error"] == 210


GOOD = ["--response", "rise height"]
BAD: dict[str, tuple[str, list[str], int, str, str]] = {
    "no response": (TABLE, [], 3, "the columns are bake day, acid source", 'Try: --response "rise height (mm)"'),
    "unknown response": (TABLE, ["--response", "rise hight"], 3, 'no column "rise hight"', '"rise height (mm)"'),
    "unknown factor": (TABLE, [*GOOD, "--factor", "sodda:amount"], 3, 'no column "sodda"', "Try: --factor"),
    "unknown kind of factor": (TABLE, [*GOOD, "--factor", "soda:amout"], 2, "none of amount", '"soda:amount"'),
    "unknown block": (TABLE, [*GOOD, "--block", "day baked"], 3, 'no column "day baked"', "Try: --block"),
    "unknown level": (TABLE, [*GOOD, "--reference", "yoghurt"], 3, "the levels are", '--reference "yogurt"'),
    "unknown goal": (TABLE, [*GOOD, "--goal", "maximize"], 2, "no goal", "Try: --goal maximise"),
    "unknown scale": (TABLE, [*GOOD, "--scale", "rise height:scores"], 2, "none of measured", "score"),
    "unknown kind": (TABLE, [*GOOD, "--kind", "factor"], 2, "no kind of analysis", "Try: --kind factors"),
    "matters nothing": (TABLE, [*GOOD, "--matters", "0"], 2, "above 0", "Try: --matters"),
    "confidence of one": (TABLE, [*GOOD, "--confidence", "1"], 2, "confidence", "Try: --confidence 0.95"),
    "confidence in percent": (TABLE, [*GOOD, "--confidence", "90"], 2, "confidence", "Try: --confidence 0.9\n"),
    "confidence that is no number": (TABLE, [*GOOD, "--confidence", "nan"], 2, "confidence", "Try: --confidence 0.95"),
    "more than the whole rise": (TABLE, [*GOOD, "--effective", "2"], 2, "A share of 2", "Try: --effective"),
    "interactions of nothing": (TABLE, [*GOOD, "--order", "0"], 2, "An order of 0", "Try: --order 1"),
    "a type of squares": (TABLE, [*GOOD, "--squares", "4"], 2, "no type of sums of squares", "Try: --squares"),
    "a seed below 0": (TABLE, [*GOOD, "--seed", "-1"], 2, "A seed of -1", "Try: --seed 0"),
    "unknown shape": (TABLE, [*GOOD, "--shape", "logisic"], 2, "no shape", "Try: --shape logistic"),
    "a margin of words": (TABLE, [*GOOD, "--margin", "two"], 2, "the margin", "Try: "),
    "an importance of words": (TABLE, [*GOOD, "--importance", "much"], 2, "the importance", "Try: "),
    "a difference of words": (TABLE, [*GOOD, "--matters", "much"], 2, "that matters", "Try: "),
    "a range without room": (TABLE, [*GOOD, "--accept", "5..5"], 2, "ends before it begins", "Try: --accept 45.."),
    "a sheet of a CSV": (TABLE, [*GOOD, "--sheet", "Readings"], 3, "has no sheet", "leave --sheet out"),
    "text in a number": ("a,rise\n1,2\n2,tall\n3,n.d.\n", ["--response", "rise"], 3, "row 3", "Try: "),
    "a number with two meanings": ("a;rise\n1;2\n2;1,234\n", ["--response", "rise"], 3, "1234 or as 1.234", "Try: "),
    "two spellings": (
        "a,rise\nStrong,2\nstrong ,3\nweak,4\nweak,5\n",
        ["--response", "rise"],
        3,
        "capitals or blanks",
        "Try: ",
    ),
    "two equal headers": ("a,A,rise\n1,2,3\n", ["--response", "rise"], 3, "Two columns", "Try: "),
    "empty file": ("", ["--response", "rise"], 3, "is empty", "Try: "),
    "header only": ("a,rise\n", ["--response", "rise"], 3, "no rows", "Try: "),
    "no factor left": ("run,rise\n1,2\n2,3\n", ["--response", "rise"], 3, "No column is left", "Try: --factor"),
    "an analysis of nothing": ("a,rise\n1,\n2,\n", ["--response", "rise"], 7, "No row has rise", "Try: "),
    "two bakes": ("a,rise\n1,3\n2,4\n", ["--response", "rise"], 7, "", "Try: "),
}


@pytest.mark.parametrize("wrong", BAD)
def test_bad_input_is_a_sentence_and_a_code(crumbwise: Callable[..., Any], tmp_path: Path, wrong: str) -> None:
    text, said, code, what, try_this = BAD[wrong]
    (tmp_path / "bad.csv").write_text(text)
    ran = crumbwise("analyse", "bad.csv", *said, "--json", "--report", "bad.html")
    assert ran.code == code, ran.err
    assert what in ran.err
    assert try_this in ran.err
    assert "foresee" not in ran.err
    assert ran.document["error"]["exit_code"] == code
    assert not (tmp_path / "bad.html").exists()


def test_a_workbook_names_its_sheets(crumbwise: Callable[..., Any], tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.title = "Readings"
    out = io.BytesIO()
    book.save(out)
    (tmp_path / "a.xlsx").write_bytes(out.getvalue())
    ran = crumbwise("analyse", "a.xlsx", "--sheet", "reading", "--response", "x")
    assert ran.code == 4
    assert ran.err.endswith('Try: --sheet "Readings"\n')


def test_no_kitchen_is_made(crumbwise: Callable[..., Any], rise: Path, tmp_path: Path) -> None:
    assert crumbwise("analyse", rise, *GOOD).code == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["rise.csv"]
