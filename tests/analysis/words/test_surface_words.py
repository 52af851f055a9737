"""A surface that does not bend is called so, and names no point far away."""

from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.words.surfaces import say_surface

PUBLISHED = Path(__file__).parents[2] / "published" / "response_surface"


@pytest.fixture(scope="module")
def surface():
    factors = tuple(Factor(name=name, kind="amount", unit="%") for name in ("x1", "x2"))
    question = Question(factors=factors, responses=(Response(name="yield"),), model="quadratic")
    return analyse(pd.read_csv(PUBLISHED / "ccd_yield_13run.csv"), question)


def said(surface, **changed):
    result = surface.responses[0]
    part = next(part for part in result.family.parts if part.key == "surface")
    return " ".join(say_surface(replace(part, **changed), result, surface.question))


def test_a_bent_surface_says_where_it_levels_out(surface):
    assert "Yield levels out at x1" in said(surface)
    assert "Along x1" in said(surface)


def test_a_flat_surface_does_not(surface):
    flat = said(surface, shape="flat")
    assert "Yield does not bend here by more than the scatter could give" in flat
    assert "levels out" not in flat
    assert "Along" not in flat


def test_a_point_of_which_nothing_is_known_has_no_numbers(surface):
    far = said(surface, stationary={"x1": 712.0, "x2": -394.0}, stationary_inside=False, region_closed=False)
    assert "Where yield levels out lies outside what was baked, so it is no advice; how far off cannot be told." in far
    assert "712" not in far
