"""Pictures of surfaces and blends say their finding, hold the same numbers as a table, and follow the answer."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest

from analysis.blends.triangle import triangle
from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.surfaces.slices import slices
from reports.figures.blend import draw_traces, draw_triangle
from reports.figures.picture import LONGEST_ALT
from reports.figures.surface import _roomiest, draw_surface
from reports.page import trial_report

PUBLISHED = Path(__file__).parents[2] / "published"


def answer(case, names, response, kind="amount", **asked):
    factors = tuple(Factor(name=name, kind=kind, unit="%") for name in names)
    question = Question(factors=factors, responses=(response,), **asked)
    return analyse(pd.read_csv(PUBLISHED / f"{case}.csv"), question)


@pytest.fixture(scope="module")
def surface():
    return answer(
        "response_surface/ccd_yield_13run", ["x1", "x2"], Response(name="yield"), kind="amount", model="quadratic"
    )


@pytest.fixture(scope="module")
def loaf():
    names = ["hydration", "mix_min", "proof_min"]
    response = Response(name="volume", unit="ml", goal="maximise", matters=8)
    return answer("response_surface/bbd_loaf_volume", names, response, model="quadratic")


@pytest.fixture(scope="module")
def yarn():
    return answer("mixture/yarn_scheffe_quadratic", ["pe", "ps", "pp"], Response(name="elong"), kind="share")


def the_part(result):
    return next(part for part in result.family.parts if part.key in ("surface", "blend"))


def drawn(analysis, part=None):
    result = analysis.responses[0]
    part = part or the_part(result)
    (slice_,) = slices(result, part, 0.95, most=1)
    return draw_surface(result, part, slice_, key="figure-1", units={"x1": "%", "x2": "%"}, confidence=0.95)


def test_the_contour_picture_says_where_it_is_best(surface):
    figure = drawn(surface)
    assert "highest at x1 0.39 % and x2 0.31 %" in figure.alt
    assert "80.21" in figure.alt
    assert len(figure.alt) <= LONGEST_ALT
    assert figure.table.rows[0][:4] == ("best", "0.39", "0.31", "80.21")
    assert ElementTree.fromstring(figure.svg).tag.endswith("svg")


def test_the_same_answer_gives_the_same_bytes(surface):
    assert drawn(surface).svg == drawn(surface).svg


def test_another_best_moves_mark_table_and_alt_text(surface):
    part = the_part(surface.responses[0])
    moved = replace(part, best={"x1": -0.5, "x2": 0.5}, best_response=78.5)
    before, after = drawn(surface), drawn(surface, moved)
    assert before.svg != after.svg
    assert "x1 -0.50" in after.alt
    assert after.table.rows[0][1] == "-0.50"


def test_of_three_amounts_the_two_pairs_that_move_most_are_drawn(loaf):
    result = loaf.responses[0]
    found = slices(result, the_part(result), 0.95)
    assert [{one.x_name, one.y_name} for one in found] == [{"hydration", "proof_min"}, {"hydration", "mix_min"}]
    for one in found:
        assert one.mean[one.inside >= 0].max() == pytest.approx(the_part(result).best_response, abs=0.2)


def test_the_region_is_drawn_for_two_amounts_only(surface, loaf):
    two = slices(surface.responses[0], the_part(surface.responses[0]), 0.95)[0]
    three = slices(loaf.responses[0], the_part(loaf.responses[0]), 0.95)[0]
    assert (two.turning > 0).any()
    assert three.turning is None


def test_a_blend_is_drawn_as_a_triangle_and_as_traces(yarn):
    result = yarn.responses[0]
    part = the_part(result)
    shape = triangle(result, part, 0.95)
    assert shape.mean.max() == pytest.approx(part.best_response, abs=0.01)
    over = draw_triangle(result, part, shape, key="figure-1", units={}, confidence=0.95)
    assert "elong is highest with pe 0.29, ps 0.00 and pp 0.71" in over.alt.lower()
    along = draw_traces(result, part, key="figure-2", units={}, confidence=0.95)
    assert "moves most along ps: by 7.5" in along.alt
    assert [row[0] for row in along.table.rows] == ["pe"] * 3 + ["ps"] * 3 + ["pp"] * 3


def test_the_page_shows_surface_and_blend(surface, yarn):
    for analysis, title in ((surface, "The surface"), (yarn, "The blend")):
        page = trial_report(analysis, title="A trial", provenance={"content hash": "3f"})
        assert title in page
        assert "<svg" in page
        assert "Diamond: the best" in page


def test_a_surface_without_a_bend_names_no_point_where_it_levels_out(surface):
    bent = drawn(surface)
    assert [row[0] for row in bent.table.rows][1] == "levels out"
    assert "Hollow square" in bent.caption
    flat = drawn(surface, replace(the_part(surface.responses[0]), shape="flat"))
    assert "levels out" not in flat.caption
    assert [row[0] for row in flat.table.rows] == ["best", "as good as the best"]


def test_a_point_outside_the_picture_is_not_named_in_its_caption(surface):
    part = replace(the_part(surface.responses[0]), stationary={"x1": 40.0, "x2": 40.0}, stationary_inside=False)
    assert "Hollow square" not in drawn(surface, replace(part, region_closed=False)).caption


@pytest.mark.parametrize(
    ("taken", "side"), [((0.6, 0.56), (-1, 1)), ((0.44, 0.56), (1, 1)), ((0.0, 0.0), (-1, 1))], ids=str
)
def test_the_name_of_the_best_keeps_away_from_dots_and_labels(taken, side):
    across = np.linspace(0, 1, 5)
    slice_ = SimpleNamespace(x=across, y=across)
    assert _roomiest((0.52, 0.52), [taken], slice_) == side
