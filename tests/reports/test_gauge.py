"""Does the page on the measuring say its numbers once everywhere, the answer first, and nothing that runs?"""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.control.gauge.analysing import gauge_study
from analysis.control.gauge.findings import findings_of, judged, verdict_of
from analysis.control.gauge.fits import even_fit
from analysis.control.gauge.results import GaugeQuestion
from analysis.control.gauge.study import read_study
from analysis.words.gauge import say_component, say_gauge_answer, say_gauge_finding
from analysis.words.numbers import writing
from reports.figures.gauge import draw_components, draw_readings
from reports.gauge import gauge_page
from reports.sections.blocks import Grid, Items, Picture, Words

HOSTILE = "</style><script>alert(1)</script>"
HEIGHTS = GaugeQuestion(response="rise height", unit="mm", person="baker", piece="loaf", tolerance=8)
CASES = {
    "crossed": {},
    "nested": {"nested": True},
    "no tolerance": {"tolerance": None},
    "wide": {"tolerance": 80.0},
    "one person": {"person": None},
}


def readings(seed: int = 1, people: tuple[str, ...] = ("Ada", "Ben", "Cleo"), pieces: int = 8) -> pd.DataFrame:
    """People with an offset each, pieces about 45 mm, two readings of each."""
    rng = np.random.Generator(np.random.PCG64(seed))
    sizes = rng.normal(45, 2.5, pieces)
    rows = [
        (who, f"loaf {j + 1}", size + 0.8 * (i == 0) + rng.normal(0, 0.5))
        for i, who in enumerate(people)
        for j, size in enumerate(sizes)
        for _ in range(2)
    ]
    return pd.DataFrame(rows, columns=["baker", "loaf", "rise height"])


def answer_of(name: str = "crossed", **more):
    return gauge_study(readings(**more), replace(HEIGHTS, **CASES[name]))


def page_of(answer, **more) -> str:
    return gauge_page(answer, **({"title": "A", "provenance": {"command": "x"}} | more)).html()


@pytest.mark.parametrize("name", CASES)
def test_the_answer_comes_first_then_the_parts_then_the_people(read, name):
    answer = answer_of(name)
    text = read(page_of(answer)).text
    titles = ("What the spread is made of", "Who reads how", "How many readings", "Can this be trusted", "How it was")
    places = [text.index(said) for said in (*say_gauge_answer(answer)[:2], *titles)]
    assert places == sorted(places)
    assert say_component(answer.used.components["gauge"], "mm") in text
    told = [say_gauge_finding(one, answer) for one in answer.findings]
    assert all(said.replace("-", "−") in text or said in text for said in told)


def test_the_headline_says_to_mend_the_measuring(read):
    assert "Mend the measuring before the recipe." in read(page_of(answer_of())).text
    assert "Mend the measuring" not in read(page_of(answer_of("wide"))).text


def test_one_changed_reading_changes_sentence_picture_alt_text_and_table():
    frame = readings()
    changed = frame.assign(**{"rise height": frame["rise height"] + 1.5 * (frame.baker == "Ada")})
    one, two = (gauge_study(each, HEIGHTS) for each in (frame, changed))
    assert say_gauge_answer(one)[0] != say_gauge_answer(two)[0]
    for draw in (draw_components, draw_readings):
        before, after = draw(one, key="k"), draw(two, key="k")
        assert before.svg != after.svg
        assert before.alt != after.alt
        assert before.table != after.table


def test_one_changed_component_is_told_everywhere(read):
    """The stored result, not the readings: nothing on the page is computed a second time."""
    answer = answer_of()
    used = answer.used
    worse = replace(used.components["gauge"], variance=used.components["gauge"].variance * 4)
    tolerated = used.shares["gauge"].of_tolerance
    share = replace(used.shares["gauge"], of_tolerance=replace(tolerated, value=2 * tolerated.value))
    changed = replace(used, components={**used.components, "gauge": worse}, shares={**used.shares, "gauge": share})
    told, by = judged(changed)
    other = replace(answer, used=changed, judged=told, judged_by=by, verdict=verdict_of(told),
                    findings=findings_of(changed, answer.pair, answer.odd, answer.worth))  # fmt: skip
    before, after = read(page_of(answer)).text, read(page_of(other)).text
    assert say_gauge_answer(other)[0] in after
    assert say_gauge_answer(other)[0] not in before
    figure = draw_components(other, key="k")
    assert figure.alt != draw_components(answer, key="k").alt
    assert say_component(worse, "mm").removesuffix(" mm") in [cell for row in figure.table.rows for cell in row]


@pytest.mark.parametrize("name", CASES)
def test_alt_texts_say_the_finding_with_its_number_in_one_breath(name):
    answer = answer_of(name)
    for figure in (draw_components(answer, key="a"), draw_readings(answer, key="b")):
        assert len(figure.alt) <= 150
        assert any(character.isdigit() for character in figure.alt)
        assert figure.alt.endswith((".", "…"))
        assert len(figure.table.rows) >= 3
        assert all(len(row) == len(figure.table.columns) for row in figure.table.rows)


def test_people_stand_apart_by_colour_mark_dash_and_name():
    figure = draw_readings(answer_of(), key="k")
    for colour in ("blue", "vermillion", "green"):
        assert f"var(--{colour}" in figure.svg
    many = answer_of(people=tuple(f"person {i}" for i in range(1, 8)))
    told = draw_readings(many, key="k")
    assert "var(--soft" in told.svg
    assert "var(--purple" not in told.svg  # of many only the highest and the lowest reader have a colour


@pytest.mark.parametrize("pieces", [2, 3, 40, 300])
def test_any_number_of_pieces_is_drawn(pieces):
    figure = draw_readings(answer_of(pieces=pieces), key="k")
    assert figure.svg.startswith("<svg")
    assert len(figure.svg) < 400_000
    assert ("One reading in" in figure.caption) == (pieces == 300)


def test_it_is_well_formed_and_the_same_twice(read):
    frame = readings(people=(HOSTILE, "漢字", "B & C"))
    answer = gauge_study(frame, replace(HEIGHTS, response="rise height", unit=HOSTILE))
    more = {"title": HOSTILE, "remarks": (HOSTILE,), "invented": True}
    page = page_of(answer, **more)
    assert page == page_of(answer, **more)
    told = read(page)
    assert told.faults == []
    assert told.tags["script"] == told.tags["link"] == told.tags["img"] == 0
    assert told.headings[0] == 1
    assert all(later - earlier <= 1 for earlier, later in pairwise(told.headings))
    assert told.tags["caption"] == told.tags["table"] > 3


def test_numbers_are_written_as_the_reader_wishes(read):
    answer = answer_of()
    with writing(decimal=","):
        text = read(page_of(answer)).text
        own = say_component(answer.used.components["repeatability"], "mm")
    assert "," in own
    assert own in text
    assert own.replace(",", ".") not in text


def grade_of(sentences: list[str]) -> float:
    """The school grade, as reckoned for every other page."""
    path = Path(__file__).parent / "trust" / "test_reading_grade.py"
    spec = importlib.util.spec_from_file_location("reading_grade", path)
    assert spec is not None
    assert spec.loader is not None
    module = sys.modules.get(spec.name) or importlib.util.module_from_spec(spec)
    if spec.name not in sys.modules:
        sys.modules[spec.name] = module
        spec.loader.exec_module(module)
    return float(module.grade(sentences))


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_first_parts_are_read_by_a_ninth_grader(name, seed):
    page = gauge_page(answer_of(name, seed=seed), title="A", provenance={})
    said: list[str] = []
    for section in page.sections[:3]:
        for block in section.blocks:
            if isinstance(block, Words):
                said.append(block.text)
            elif isinstance(block, Items):
                said += block.items
            elif isinstance(block, Grid):
                said.append(block.caption)
            elif isinstance(block, Picture):
                said.append(block.figure.caption)
    assert len(said) >= 6
    assert grade_of(said) <= 9


def test_an_uneven_study_has_its_page(read):
    answer = gauge_study(readings().drop(index=[1, 2, 3, 20]), HEIGHTS)
    told = read(page_of(answer))
    assert "Readings are uneven" in told.text
    assert "average" in told.text


def test_both_ways_of_taking_the_spread_apart_have_their_table(read):
    answer = answer_of()
    study = read_study(readings(), HEIGHTS)
    text = read(page_of(answer)).text
    assert text.count("Mean squares") == 4  # each on the line to press and as a caption
    for kept in (True, False):
        fit = even_fit(study, HEIGHTS, interaction=kept)
        assert fit.model in [each.model for each in answer.fits]
