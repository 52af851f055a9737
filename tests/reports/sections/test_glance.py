"""Can a busy reader take the answer from the top of the page, and is it the answer of the results?"""

from __future__ import annotations

import re
from dataclasses import replace

import pandas as pd
import pytest

from analysis.leavening.runs import ACID_LEFT, GAS, PREDICTED_PH, SODA_LEFT
from analysis.results import Analysis
from analysis.words.glance import say_rests_on, say_taste
from reports.figures.amounts import draw_amounts, lanes_of
from reports.figures.side_by_side import draw_side_by_side
from reports.sections.blocks import Grid, Items, Picture
from reports.sections.glance import glance_section
from reports.sections.numbering import Keys


def with_dose(analysis: Analysis, at: int, **changed) -> Analysis:
    """The analysis with something else in the dose part of one response."""
    result = analysis.responses[at]
    family = replace(result.family, dose=replace(result.family.dose, **changed))
    responses = [*analysis.responses]
    responses[at] = replace(result, family=family)
    return replace(analysis, responses=tuple(responses))


def alike(analysis: Analysis) -> Analysis:
    """Curves that ask for the same amounts."""
    curves = analysis.responses[0].family.dose.curves
    same = tuple(replace(curve, optimum=curves[0].optimum, recommended=curves[0].recommended) for curve in curves)
    return with_dose(analysis, 0, curves=same)


def glance(analysis: Analysis, chemistry=None, notes=None):
    section = glance_section(analysis, chemistry, notes, Keys())
    assert section is not None
    by = {kind: [block for block in section.blocks if isinstance(block, kind)] for kind in (Picture, Grid, Items)}
    return by[Picture], by[Grid], by[Items]


def test_the_picture_shows_the_range_and_the_best_of_the_results(answers):
    pictures, _, _ = glance(alike(answers["dose"]()))
    (row,) = pictures[0].figure.table.rows
    # Best 1.7, limits 1.56 and 1.87, good from 1.09 to 2.31: to digits that someone can weigh.
    assert row == ("rise height", "1.1 to 2.3", "1.7", "1.6", "1.9", row[5])
    assert "1.1 to 2.3 % flour of soda does as well as the best" in pictures[0].figure.alt


def test_a_changed_result_changes_picture_alt_and_tables_alike(answers):
    before, after = (glance(alike(answers["dose"](shift))) for shift in (0.0, 0.3))
    for one, other in zip(before[0] + before[1], after[0] + after[1], strict=True):
        table, its = (x.figure.table if isinstance(x, Picture) else x.table for x in (one, other))
        assert table != its
    assert before[0][0].figure.alt != after[0][0].figure.alt
    assert before[0][0].figure.svg != after[0][0].figure.svg
    assert before[1][0].caption != after[1][0].caption


def test_curves_that_ask_for_different_amounts_have_a_lane_each(answers):
    analysis = answers["dose"]()
    first, *others = analysis.responses[0].family.dose.curves
    far = replace(first.recommended, dose=2.4, as_good_to=2.5)
    apart = with_dose(analysis, 0, curves=(first, *(replace(curve, recommended=far) for curve in others)))
    names = [lane.name for lane in lanes_of(apart.responses[0])]
    assert names == [f"rise height, {curve.level}" for curve in (first, *others)]
    pictures, grids, _ = glance(apart)
    assert len(pictures[0].figure.table.rows) == 3
    assert grids == []  # no amount holds for all: nothing is promised at one


def test_without_an_optimum_the_least_that_will_do_is_drawn(answers):
    analysis = alike(answers["dose"]())
    curves = tuple(replace(curve, optimum=None) for curve in analysis.responses[0].family.dose.curves)
    figure = draw_amounts(with_dose(analysis, 0, curves=curves).responses, key="figure-1")
    assert figure.table.rows[0][2] == "–"
    assert "least that will do" in figure.caption
    assert "best amount" not in figure.caption


def test_what_to_expect_is_read_off_the_curves_and_the_account(answers):
    analysis = alike(answers["dose"]())
    chemistry = pd.DataFrame(
        [
            {"soda": soda, "acid source": acid, GAS: 200 * soda, SODA_LEFT: 0.1, ACID_LEFT: 0.0, PREDICTED_PH: 7 + at}
            for soda in (1.0, 2.0)
            for at, acid in enumerate(("yogurt", "lemon juice"))
        ]
    )
    notes = pd.DataFrame(
        {"soda": [1.5, 1.5, 2.5], "acid source": ["yogurt"] * 3, "tags": [["mild", "fine"], ["mild"], ["soapy"]]}
    )
    _, grids, items = glance(analysis, chemistry, notes)
    rows = {name: cells for name, *cells in grids[0].table.rows}
    assert grids[0].caption == "What to expect at 1.7 % flour of soda"
    curves = analysis.responses[0].family.dose.curves
    at_best = [min(curve.points, key=lambda point: abs(point.dose - 1.7)) for curve in curves]
    number = float(re.match(r"[\d.]+", rows["Rise height"][0])[0])
    assert number == pytest.approx(sum(point.mean for point in at_best) / 3, abs=0.06)
    low, high = map(float, rows["Rise height"][1].split(" to "))
    assert low == pytest.approx(min(point.low for point in at_best), abs=0.06)
    assert high == pytest.approx(max(point.high for point in at_best), abs=0.06)
    assert rows["Gas for 100 g of flour"] == ["340 mL", "the same with each acid source"]
    assert rows["Predicted pH of the crumb"] == ["7.5", "7.0 to 8.0 by acid source"]
    assert items[0].items[0] == "Taste at 1.5 % flour of soda: mild (2 of 2 notes), fine (1)."


def test_several_responses_stand_side_by_side_each_on_its_own_scale(answers):
    one = answers["screening"]().responses[0]
    slower = tuple(
        replace(f, size=f.size / 2, low=f.low / 2, high=f.high / 2) for f in one.findings if f.low is not None
    )
    spread = replace(one, response=replace(one.response, name="spread", unit="mm"), findings=slower)
    analysis = replace(answers["screening"](), responses=(one, spread))
    figure = draw_side_by_side(analysis.responses, key="figure-1")
    told = {result.response.name: result for result in analysis.responses}
    assert [head.split(" (")[0] for head in figure.table.columns[1:]] == list(told)
    compared = 0
    for column, head in enumerate(figure.table.columns[1:], start=1):
        result = next(r for name, r in told.items() if head.startswith(name))
        sizes = {f.variables: f.size for f in result.findings if f.kind == "effect"}
        for row in figure.table.rows:
            wanted = sizes.get(tuple(row[0].split(" × ")))
            if wanted is not None and row[column] != "–":
                assert float(row[column].split()[0]) == pytest.approx(wanted, rel=0.05, abs=0.06)
                compared += 1
    assert compared >= 4
    assert draw_side_by_side(analysis.responses[:1], key="figure-1") is None


def test_nothing_to_show_is_no_section(answers):
    analysis = answers["screening"]()
    bare = replace(analysis, responses=tuple(replace(r, next_bakes=(), findings=()) for r in analysis.responses))
    assert glance_section(bare, None, None, Keys()) is None


def test_what_it_rests_on_counts_bakes_and_doubts(answers):
    analysis = answers["dose"]()
    assert re.fullmatch(r"Rests on 30 bakes\. .*1 check asks for a look\.", say_rests_on(analysis))


def test_taste_without_a_tag_says_so():
    assert (
        say_taste({}, 3, "1 % flour of soda") == "Taste at 1 % flour of soda: none of 3 notes names anything by a tag."
    )
