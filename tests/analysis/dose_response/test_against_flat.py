"""Are doses that plainly differ told by few bakes, and is noise still called flat?

``CRUMBWISE_LARGE=1`` has the whole choice made on 2,000 trials without an effect for each size, not on 40.
"""

import os
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.dose_response.against_flat import against_flat
from analysis.dose_response.compare import compare_shapes
from analysis.dose_response.layout import read_layout
from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.words.checks import say_check
from analysis.words.models import say_model
from analysis.words.text import analysis_text

LARGE = bool(os.environ.get("CRUMBWISE_LARGE"))
TRIALS = 2000 if LARGE else 40
RISE = Response(name="rise", unit="mm")
SODA = Factor(name="soda", kind="amount", unit="% flour")
SIZES = [(4, 2), (4, 3), (6, 3)]  # doses, days


def bakes(doses, days, truth, seed):
    """One bake of each dose on each day, scatter 1.77 mm and days that differ by 2 mm."""
    draw = np.random.Generator(np.random.PCG64([83, doses, days, seed]))
    x, day = np.tile(np.linspace(0.4, 1.6, doses), days), np.repeat(np.arange(days), doses)
    y = 45 + truth((x - 1) / 0.6) + 1.77 * draw.standard_normal(x.size) + 2 * draw.standard_normal(days)[day]
    return pd.DataFrame({"soda": x, "rise": y, "day": [f"day {d}" for d in day]})


def layout(frame, **more):
    question = Question(factors=(SODA,), responses=(RISE,), **({"blocks": ("day",)} | more))
    return read_layout(frame, RISE, question, dose="soda", by=None)


def eight():
    rise = [42, 43.5, 47, 48, 46.2, 45, 38.5, 37]
    return pd.DataFrame({"soda": np.repeat([0.4, 0.8, 1.2, 1.6], 2), "rise": rise, "day": ["a", "b"] * 4})


def test_eight_bakes_that_plainly_bend_are_not_called_flat():
    found = analyse(eight(), Question(factors=(SODA,), responses=(RISE,), blocks=("day",)))
    family = found.responses[0].family
    assert family.dose.shape == "quadratic"
    assert family.dose.candidates[0].shape == "flat"  # AICc alone would keep it, and its row stands
    effect = family.evidence[0]
    assert (effect.matters, effect.high < 0) == ("yes", True)
    best = next(one for one in family.evidence if one.kind == "best dose")
    assert 0.8 < best.low < best.size < best.high < 1.0
    check = next(one for one in family.checks if one.check == "shape choice")
    assert check.facts["not_flat_p"] < 0.01
    assert "the doses differ (p = 0.00" in say_check(check)
    said = " ".join(analysis_text(found).split())
    assert "cannot tell" not in said
    assert "ruled out flat" in say_model(found.responses[0], found.question)


def test_days_taken_as_chance_leave_the_test_as_it_is():
    frame = bakes(4, 3, lambda u: 8 * (1 - u**2), 1)
    random = layout(frame, blocks=(), group=("day",))
    assert random.random
    assert against_flat(random) == against_flat(layout(frame)) < 0.05


def test_given_weights_leave_it_out():
    frame = eight().assign(how_sure=1.0)
    assert against_flat(layout(frame, weights="how_sure")) is None
    assert against_flat(layout(frame)) < 0.05


def test_a_bare_ladder_without_replicates_is_judged_by_its_line():
    frame = pd.DataFrame({"soda": [1.0, 2, 3, 4, 5], "rise": [1.0, 2.1, 2.9, 4.1, 4.9]})
    assert against_flat(layout(frame, blocks=())) < 0.01


@pytest.mark.parametrize(("doses", "days"), SIZES)
def test_noise_speaks_against_flat_as_often_as_the_test_says(doses, days):
    draw = np.random.Generator(np.random.PCG64([89, doses, days]))
    empty = layout(bakes(doses, days, lambda u: 0 * u, 0))
    noise = draw.standard_normal((2000, empty.n))
    caught = sum(against_flat(replace(empty, y=one)) <= 0.05 for one in noise)
    assert 0.035 * 2000 <= caught <= 0.065 * 2000


@pytest.mark.parametrize(("doses", "days"), SIZES)
def test_noise_is_called_flat(doses, days):
    """The test may add 5 % at most; with 18 bakes AICc by its margin alone takes a curve in 7.6 %."""
    choices = [compare_shapes(layout(bakes(doses, days, lambda u: 0 * u, seed)), None) for seed in range(TRIALS)]
    assert sum(one.overruled for one in choices) <= at_most(0.05)
    limit = 0.065 if doses * days < 18 else 0.1
    assert sum(one.chosen.fit.shape.name != "flat" for one in choices) <= at_most(limit)


def at_most(share: float) -> float:
    """So many of the trials; of few of them as many more as chance may add."""
    chance = 0.0 if LARGE else 3 * (share * (1 - share) * TRIALS) ** 0.5
    return share * TRIALS + chance


@pytest.mark.parametrize(
    ("truth", "turns"), [(lambda u: 5 * u, False), (lambda u: 8 * (1 - u**2), True)], ids=["line", "hump"]
)
def test_what_a_plan_of_eight_bakes_promises_is_seen(truth, turns):
    choices = [compare_shapes(layout(bakes(4, 2, truth, seed)), None) for seed in range(20)]
    assert sum(one.chosen.fit.shape.name != "flat" for one in choices) >= 16
    assert sum(one.chosen.fit.shape.turns == turns for one in choices if one.chosen.fit.shape.name != "flat") >= 14
    assert all(sum(one.weight for one in choice.plausible) == pytest.approx(1.0) for choice in choices)
