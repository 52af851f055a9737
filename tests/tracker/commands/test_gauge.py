"""``crumbwise gauge analyse``: columns guessed and said, one document, a report, and a way out of every mistake."""

from __future__ import annotations

import shlex
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from analysis.control.gauge.serialise import schema

HEADER = "baker,loaf,reading,rise height (mm)"


def lines(*, people=("Ada", "Ben", "Cleo"), pieces=6, repeats=2, offset=0.9, seed=4) -> list[str]:
    rng = np.random.Generator(np.random.PCG64(seed))
    sizes = rng.normal(45, 2.5, pieces)
    return [
        f"{who},loaf {j + 1},{k + 1},{size + offset * (i == 0) + rng.normal(0, 0.4):.1f}"
        for i, who in enumerate(people)
        for j, size in enumerate(sizes)
        for k in range(repeats)
    ]


@pytest.fixture
def heights(tmp_path):
    def write(rows=None, header=HEADER, name="heights.csv") -> Path:
        path = tmp_path / name
        path.write_text("\n".join([header, *(lines() if rows is None else rows)]) + "\n", encoding="utf-8")
        return path

    return write


def test_it_answers_and_says_what_it_guessed(crumbwise, heights):
    heights()
    ran = crumbwise("gauge", "analyse", "heights.csv", "--tolerance", "8")
    assert ran.code == 0
    assert ran.out.startswith("Mend the measuring before the recipe.")
    assert "3 people read the same 6 pieces, each twice: 36 readings." in ran.out
    assert "mm" in ran.out
    assert [line for line in ran.err.splitlines() if line.startswith("Note: ")] == [
        "Note: baker was taken for the person who read.",
        "Note: loaf was taken for the piece that was read.",
        "Note: rise height (mm) was taken for the reading.",
    ]
    assert all(len(line) <= 100 for line in ran.out.splitlines())


def test_named_columns_are_not_guessed(crumbwise, heights):
    heights()
    ran = crumbwise(
        "gauge", "analyse", "heights.csv", "--response", "rise height", "--person", "baker", "--piece", "loaf"
    )
    assert ran.code == 0
    assert ran.err == ""


def test_json_fits_its_schema_and_nothing_else_is_on_stdout(crumbwise, heights):
    heights()
    ran = crumbwise("gauge", "analyse", "heights.csv", "--lower-spec", "41", "--upper-spec", "49", "--json")
    assert ran.code == 0
    document = ran.document
    jsonschema.validate(document, schema())
    assert document["question"]["tolerance"] == 8
    assert document["question"]["response"] == "rise height"
    assert document["question"]["unit"] == "mm"
    assert document["judged"]["by"] == "tolerance"
    assert len(document["remarks"]) == 3
    told = shlex.split(document["provenance"]["command"])
    assert told[:3] == ["crumbwise", "gauge", "analyse"]
    again = crumbwise(*told[1:], "--json").document
    assert {**again, "remarks": None} == {**document, "remarks": None}


@pytest.mark.parametrize("name", ["page.html", "page.pdf"])
def test_the_report_is_written_whole(crumbwise, heights, tmp_path, name):
    heights()
    ran = crumbwise("gauge", "analyse", "heights.csv", "--tolerance", "8", "--report", name)
    assert ran.code == 0, ran.err
    assert f"Report: {name}" in ran.err
    made = (tmp_path / name).read_bytes()
    assert made.startswith(b"%PDF" if name.endswith("pdf") else b"<!DOCTYPE html>")
    assert len(made) > 20_000
    crumbwise("gauge", "analyse", "heights.csv", "--tolerance", "8", "--report", f"again-{name}")
    assert (tmp_path / f"again-{name}").read_bytes() == made


def test_the_report_says_how_it_is_made_again(crumbwise, heights, tmp_path):
    heights()
    crumbwise("gauge", "analyse", "heights.csv", "--tolerance", "8", "--decimal", "comma", "--report", "page.html")
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert "gauge analyse heights.csv --response" in page
    assert "--tolerance 8 --decimal comma" in page


def test_a_decimal_comma_is_written_on_the_terminal_too(crumbwise, heights):
    heights()
    said = crumbwise("gauge", "analyse", "heights.csv", "--decimal", "comma").out
    assert "SD 0,4" in said or "SD 0,3" in said


def test_pieces_of_their_own_are_seen(crumbwise, heights):
    heights([f"{row.split(',')[0]},{row.split(',')[0]}-{row.split(',', 1)[1]}" for row in lines()])
    ran = crumbwise("gauge", "analyse", "heights.csv")
    assert ran.code == 0
    assert "their own pieces (18 in all)" in ran.out
    assert "taken as their own (--nested)" in ran.err


def test_without_a_person_column_it_is_one_person(crumbwise, heights):
    heights([row.split(",", 1)[1] for row in lines(people=("Ada",))], header="loaf,reading,rise height (mm)")
    ran = crumbwise("gauge", "analyse", "heights.csv")
    assert ran.code == 0
    assert "One person read 6 pieces" in ran.out
    assert "--person NAME otherwise" in ran.err


def test_empty_cells_are_left_out_and_named(crumbwise, heights):
    rows = lines()
    rows[3] = rows[3].rsplit(",", 1)[0] + ","
    rows[7] = "," + rows[7].split(",", 1)[1]
    heights(rows)
    ran = crumbwise("gauge", "analyse", "heights.csv")
    assert ran.code == 0
    assert "2 rows were left out: row 5 (no reading) and row 9 (no person named)." in ran.out


def spoilt(change):
    rows = lines()
    return [change(place, row) for place, row in enumerate(rows)]


@pytest.mark.parametrize(
    ("rows", "words", "code", "said", "way"),
    [
        (None, ("--lower-spec", "48", "--upper-spec", "40"), 2, "not below", "--lower-spec 40 --upper-spec 48"),
        (None, ("--lower-spec", "40"), 2, "With one limit", "--tolerance"),
        (None, ("--tolerance", "-3"), 2, "no room", "--tolerance 8"),
        (None, ("--tolerance", "8", "--upper-spec", "40"), 2, "given twice", "either"),
        (None, ("--confidence", "95"), 2, "not between", "--confidence 0.95"),
        (None, ("--response", "height"), 3, 'no column "height"', "--response"),
        (None, ("--piece", "baker"), 2, "named twice", "--piece"),
        (None, ("--report", "page.docx"), 2, "neither in .html nor in .pdf", "page.html"),
        (spoilt(lambda i, row: row.rsplit(",", 1)[0] + ",tall" if i == 4 else row), (), 3, "tall", ""),
        (spoilt(lambda i, row: row.rsplit(",", 1)[0] + ",44"), (), 7, "are the same", "finer scale"),
        (lines(pieces=1), (), 7, "Only one piece", "at least 5 pieces"),
        (lines(repeats=1), ("--nested",), 7, "No piece was read twice", "at least twice"),
        ([], (), 3, "", ""),
    ],
)  # fmt: skip
def test_every_mistake_has_a_sentence_a_way_out_and_its_code(crumbwise, heights, rows, words, code, said, way):
    heights(rows)
    ran = crumbwise("gauge", "analyse", "heights.csv", *words)
    assert ran.code == code, ran.err
    assert ran.out == ""
    assert said in ran.err
    tries = [line for line in ran.err.splitlines() if line.startswith("Try: ")]
    assert len(tries) == 1
    assert way in tries[0]
    assert "Traceback" not in ran.err
    assert not Path("page.html").exists()


def test_a_way_out_that_is_a_command_works(crumbwise, heights):
    heights()
    wrong = crumbwise("gauge", "analyse", "heights.csv", "--lower-spec", "48", "--upper-spec", "40").err
    way = wrong.split("Try: ")[1].split()
    assert crumbwise("gauge", "analyse", "heights.csv", *way).code == 0


def test_two_columns_of_numbers_are_not_guessed_between(crumbwise, heights):
    heights([f"{row},7.1" for row in lines()], header=f"{HEADER},ph")
    ran = crumbwise("gauge", "analyse", "heights.csv")
    assert ran.code == 3
    assert "any of rise height (mm), ph" in ran.err
    assert 'Try: --response "ph"' in ran.err


def test_a_file_that_is_not_there(crumbwise):
    assert crumbwise("gauge", "analyse", "none.csv").code == 4


def test_the_help_has_an_example_and_every_option(crumbwise):
    said = crumbwise("gauge", "analyse", "--help").out
    assert "Example:" in said
    options = ("--response", "--person", "--piece", "--nested", "--lower-spec", "--upper-spec", "--tolerance", "--json",
               "--report", "--confidence")  # fmt: skip
    assert [option for option in options if option not in said] == []
