"""Does the bench sheet hold what the baker needs, and nothing that runs?"""

from __future__ import annotations

import re

import pytest

from analysis.words.sheets import SAFETY
from reports.html import css_string
from reports.sheet import SheetDay, SheetResponse, SheetRun, Weighed, bench_sheet
from reports.sheet_page import to_read

HOSTILE = """</style><script>alert(1)</script>"\\' <img src=x onerror=a>"""


def test_a_sheet_is_well_formed_with_headings_in_order(sheet, read):
    page = read(bench_sheet(sheet()))
    assert page.faults == []
    assert page.headings[0] == 1
    assert all(later - earlier <= 1 for earlier, later in zip(page.headings, page.headings[1:], strict=False))
    assert max(page.ids.values()) == 1


def test_runs_stand_in_bake_order_under_their_codes(sheet):
    made = sheet()
    page = bench_sheet(made)
    codes = re.findall(r'class="code">([^<]*)<', page)
    assert codes == [run.code for day in made.days for run in day.runs]
    assert re.findall(r"bake (\d+) of 12", page) == [str(i) for i in range(1, 13)]


def test_every_weight_has_a_box_and_its_unit(sheet, read):
    made = sheet()
    page = bench_sheet(made)
    weights = [line for day in made.days for run in day.runs for line in run.weights]
    assert page.count('class="tick"') == len(weights)
    assert page.count("243.6 g") == 12


@pytest.mark.parametrize(("pieces", "readings"), [(1, 1), (2, 3), (6, 1)])
def test_there_is_a_blank_for_each_reading_of_each_piece(sheet, pieces, readings):
    response = SheetResponse(name="rise height", unit="mm", pieces=pieces, readings=readings)
    page = bench_sheet(sheet(responses=(response,)))
    assert page.count('class="blank"') == 12 * pieces * readings
    assert page.count('class="unit">mm<') == 12 * pieces


def test_a_score_shows_its_anchors_and_a_question_its_choices():
    score = to_read(SheetResponse(name="crumb score", scale="score", anchors=("gummy", "fine")))
    assert (score.unit, score.hint) == ("1–2", "1 gummy · 2 fine")
    assert to_read(SheetResponse(name="soapy", scale="yes-no")).choices == ("yes", "no")
    assert to_read(SheetResponse(name="holes", scale="count")).unit == "number"
    assert to_read(SheetResponse(name="rise", unit="mm", plausible=(10, 120))).hint == "usual 10 to 120 mm"


def test_cautions_and_safety_stand_on_the_sheet(sheet, read):
    text = read(bench_sheet(sheet())).text
    assert "Few bakes: only large effects will show." in text
    for sentence in SAFETY:
        assert sentence in text
    for word in ("hot", "flour", "egg", "allergens", "jar", "food code"):
        assert word in " ".join(SAFETY)


def test_deviations_times_temperature_and_baker_have_room(sheet, read):
    text = read(bench_sheet(sheet())).text
    assert [text.count(word) for word in ("in the oven", "oven read", "failed", "skipped", "anything unusual")] == [
        12
    ] * 5


def test_hostile_text_in_every_field_stays_text(sheet, read):
    run = SheetRun(
        bake_order=1,
        code=HOSTILE,
        weights=(Weighed(ingredient=HOSTILE, grams=HOSTILE, note=HOSTILE),),
        settings=((HOSTILE, HOSTILE),),
    )
    plain = read(bench_sheet(sheet(days=(SheetDay(block="a", runs=(_like(run, "x"),)),), responses=(_response("x"),))))
    fields = dict.fromkeys(
        ("trial", "title", "question", "kitchen", "formula", "audit_head", "plan_hash", "made_on"), HOSTILE
    )
    made = sheet(
        days=(SheetDay(block=HOSTILE, runs=(run,)),), responses=(_response(HOSTILE),), cautions=(HOSTILE,), **fields
    )
    hostile = read(bench_sheet(made))
    assert hostile.faults == []
    assert hostile.tags == plain.tags
    assert hostile.attributes == plain.attributes
    assert "<script>alert(1)</script>" in hostile.text


def _like(run: SheetRun, word: str) -> SheetRun:
    weights = (Weighed(ingredient=word, grams=word, note=word),)
    return SheetRun(bake_order=run.bake_order, code=word, weights=weights, settings=((word, word),))


def _response(word: str) -> SheetResponse:
    return SheetResponse(name=word, unit=word, anchors=(word,), scale="score")


@pytest.mark.parametrize("text", ['"', "\\", "</style>", "\n", "é", "}", "/*"])
def test_no_character_ends_a_css_string(text):
    quoted = css_string(f"a{text}b")
    assert quoted[0] == quoted[-1] == '"'
    assert re.fullmatch(r"[A-Za-z0-9\\ ]*", quoted[1:-1])


def test_a_plan_without_runs_says_so(sheet, read):
    assert "This plan has no runs." in read(bench_sheet(sheet(days=()))).text


def test_the_same_sheet_is_the_same_bytes(sheet):
    assert bench_sheet(sheet()) == bench_sheet(sheet())
