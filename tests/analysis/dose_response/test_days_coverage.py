"""Do the intervals hold the truth as often as they say when days are drawn by chance?

New days in each draw, one bake in six lost. ``CRUMBWISE_LARGE=1`` takes 1,000 draws, where the
shares have to lie between 93 and 97 %; the few draws of every day leave room for chance.
"""

import os

import numpy as np
import pandas as pd
import pytest

from analysis.dose_response import compare, dose_model
from analysis.questions import Factor, Question, Response

LARGE = bool(os.environ.get("CRUMBWISE_LARGE"))
DRAWS = 1000 if LARGE else 40
DOSES = np.array([0.5, 1.0, 1.5, 2.0, 2.5])
DAYS = 6


def asked(response, **given) -> Question:
    return Question(
        factors=(Factor(name="dose", kind="amount"),), responses=(response,), group=("day",), bake="bake", **given
    )


def draw(seed: int, curve, *, between: float, within: float) -> pd.DataFrame:
    rng = np.random.Generator(np.random.PCG64([seed, 404]))
    dose, day = np.tile(DOSES, DAYS), np.repeat(np.arange(DAYS), DOSES.size)
    rise = curve(dose) + rng.normal(0, between, DAYS)[day] + rng.normal(0, within, dose.size)
    frame = pd.DataFrame({"dose": dose, "day": [str(d) for d in day], "rise": rise})
    frame = frame.drop(index=rng.choice(len(frame), 5, replace=False)).reset_index(drop=True)
    return frame.assign(bake=[str(i) for i in range(len(frame))], order=range(1, len(frame) + 1), readings=1)


def bounds(draws: int) -> tuple[float, float]:
    room = 0.0 if LARGE else 3 * (0.05 * 0.95 / draws) ** 0.5
    return 0.93 - room, 0.97 + room


def within(held: list[bool]) -> bool:
    low, high = bounds(len(held))
    return low <= sum(held) / len(held) <= high


@pytest.fixture
def few_shapes(monkeypatch):
    """Where the shape is given, the others only cost time."""
    names = ("flat", "line", "quadratic")
    monkeypatch.setattr(compare, "SHAPES", {name: compare.SHAPES[name] for name in names})


def test_the_best_dose(few_shapes):
    response = Response(name="rise", goal="maximise", matters=3.0)
    held, effects = [], []
    for i in range(DRAWS):
        table = draw(i, lambda x: 60 - 8 * (x - 1.6) ** 2, between=2.0, within=1.5)
        family = dose_model(table, response, asked(response, shape="quadratic"), dose="dose", by=None)
        best = family.dose.curves[0].optimum
        held.append(best is not None and best.low is not None and best.low <= 1.6 <= best.high)
        [effect] = [f for f in family.evidence if f.kind == "effect"]
        truth = 8 * (1.1**2 - (effect.facts["to"] - 1.6) ** 2)
        effects.append(effect.low <= truth <= effect.high)
    assert within(held)
    assert sum(effects) / len(effects) >= 0.92 - (0.0 if LARGE else 0.1)


def test_the_dose_that_meets_a_target(few_shapes):
    """The height counts here, so that the days do: six days are six draws of a day's level."""
    response = Response(name="rise", goal="target", target=50.0, matters=1.0)
    held = []
    for i in range(DRAWS):
        table = draw(5000 + i, lambda x: 44 + 4 * x, between=1.0, within=0.8)
        family = dose_model(table, response, asked(response, shape="line"), dose="dose", by=None)
        best = family.dose.curves[0].optimum
        if best is None:
            continue
        held.append((best.low is None or best.low <= 1.5) and (best.high is None or best.high >= 1.5))
    assert len(held) > 0.95 * DRAWS
    assert within(held)


def test_the_effect_of_a_dose_when_the_shape_is_chosen():
    """With the shape chosen from the bakes the interval of the effect holds in at least 92 % of draws."""
    response = Response(name="rise", goal="maximise", matters=3.0)
    held = []
    for i in range(DRAWS // 4):
        table = draw(9000 + i, lambda x: 44 - 6 * np.maximum(0.0, 1.7 - x), between=2.0, within=1.5)
        family = dose_model(table, response, asked(response), dose="dose", by=None)
        [effect] = [f for f in family.evidence if f.kind == "effect"]
        ends = (effect.facts["from"], effect.facts["to"])
        a, b = (44 - 6 * max(0.0, 1.7 - end) for end in ends)
        held.append(effect.low <= b - a <= effect.high)
    assert sum(held) / len(held) >= 0.92 - (0.0 if LARGE else 0.2)
