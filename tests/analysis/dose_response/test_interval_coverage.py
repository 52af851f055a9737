"""Do profile and bootstrap intervals, and the bands of curves without a formula, cover as they say?

Small here; ``CRUMBWISE_LARGE=1`` draws each 1,000 times. Bounds leave room for the chance of the number of draws.
"""

import os

import numpy as np
import pandas as pd
import pytest

from analysis.dose_response.asked_intervals import as_asked
from analysis.dose_response.best import draw, recommend
from analysis.dose_response.compare import Ranked
from analysis.dose_response.curves import fit_shape
from analysis.dose_response.free_shapes import FREE, fit_free
from analysis.dose_response.goals import aim_of
from analysis.dose_response.intervals import parameter_intervals
from analysis.dose_response.layout import read_layout
from analysis.dose_response.optimum import find_optimum
from analysis.dose_response.shapes import SHAPES
from analysis.dose_response.tables import curve_points
from analysis.dose_results import Curve
from analysis.questions import Question, Response

LARGE = bool(os.environ.get("CRUMBWISE_LARGE"))
DRAWS = 1000 if LARGE else 10
ROOM = 0.025 if LARGE else 0.2  # about three standard errors of a share near 0.95
RISE = Response(name="rise", unit="mm", goal="maximise", matters=2.0)
DOSES = np.repeat([0.25, 0.75, 1.25, 1.75, 2.25, 3.0], 4)
BELL = ("hump", lambda x: 30 + 30 * np.exp(-(((x - 1.6) / 0.7) ** 2) / 2), "best", 1.6)
KNEE = ("linear-plateau", lambda x: 60 - 12 * np.maximum(1.9 - x, 0), "breakpoint", 1.9)


def ask(curve, seed, shape, *, x=DOSES, spread=1.8, intervals="standard"):
    """The one shape alone, through the same steps as a whole analysis."""
    noise = np.random.Generator(np.random.PCG64([17, seed])).standard_normal(x.size)
    frame = pd.DataFrame({"dose": x, "rise": curve(x) + spread * noise})
    question = Question(factors=(), responses=(RISE,), shape=shape, intervals=intervals)
    layout = read_layout(frame, RISE, question, dose="dose", by=None)
    fit = fit_free(layout, shape) if shape in FREE else fit_shape(layout, SHAPES[shape])
    if fit is None:
        return None
    aim = aim_of(RISE)
    own = (Ranked(fit=fit, aicc=0.0, weight=1.0),)
    drawn = draw(fit, own, aim, seed=1, missed=None)
    made = Curve(
        level=None,
        parameters=parameter_intervals(fit, 0, 0.95),
        optimum=find_optimum(fit, 0, aim, 0.95)[0],
        recommended=recommend(fit, drawn, aim, confidence=0.95)[0],
        effective=(),
        points=curve_points(fit, 0, 0.95),
    )
    return as_asked(made, fit, 0, aim, question, uneven=False)[0]


def band_at(doses, curve, seed, shape, x):
    """A monotone curve is straight between doses, a step is not: its band is asked for at the doses themselves."""
    if shape != "monotone":
        band = np.array([(point.dose, point.low, point.high) for point in ask(curve, seed, shape, x=x).points])
        return np.interp(doses, band[:, 0], band[:, 1]), np.interp(doses, band[:, 0], band[:, 2])
    noise = np.random.Generator(np.random.PCG64([17, seed])).standard_normal(x.size)
    frame = pd.DataFrame({"dose": x, "rise": curve(x) + 1.8 * noise})
    question = Question(factors=(), responses=(RISE,), shape=shape)
    return fit_free(read_layout(frame, RISE, question, dose="dose", by=None), shape).band(0, doses, 0.95)


def covered(low, high, true):
    return (low is None or low <= true) and (high is None or true <= high)


@pytest.mark.parametrize("intervals", ["profile", "bootstrap"])
@pytest.mark.parametrize(("shape", "curve", "name", "true"), [BELL, KNEE], ids=["hump", "plateau"])
def test_the_dose_where_a_curve_turns_or_breaks(shape, curve, name, true, intervals):
    held, smallest = [], []
    fine = np.linspace(0.25, 3, 5501)
    enough = fine[int((curve(fine) >= curve(fine).max() - 2).argmax())]
    for seed in range(DRAWS):
        one = ask(curve, seed, shape, intervals=intervals)
        if one is None:  # refused: the breakpoint lies at the end of the doses
            continue
        held.append(covered(one.parameters[name].low, one.parameters[name].high, true))
        smallest.append(covered(one.recommended.low, one.recommended.high, enough))
        if one.optimum is not None:
            assert one.optimum.low == pytest.approx(one.parameters["best"].low, abs=0.02)
    assert len(held) > 0.9 * DRAWS
    assert np.mean(held) >= 0.945 - ROOM
    assert np.mean(smallest) >= 0.945 - ROOM


def test_a_breakpoint_keeps_its_profile_when_curves_are_resampled():
    """Resampled limits held it in 90 % of 400 draws; the profile in 93 % or more."""
    shape, curve, name, _ = KNEE
    resampled, profiled = (ask(curve, 3, shape, intervals=kind).parameters[name] for kind in ("bootstrap", "profile"))
    assert (resampled.low, resampled.high) == (profiled.low, profiled.high)


@pytest.mark.parametrize("intervals", ["standard", "profile", "bootstrap"])
def test_the_midpoint_and_the_limits_of_a_logistic(intervals):
    held = []
    for seed in range(DRAWS // 2):
        named = ask(lambda x: 30 + 30 / (1 + np.exp(-4 * (x - 1.4))), seed, "logistic-4", intervals=intervals)
        for name, true in (("midpoint", 1.4), ("b0", 30.0), ("b1", 60.0)):
            value = named.parameters[name]
            held.append(covered(value.low, value.high, true))
    assert np.mean(held) >= 0.945 - ROOM


@pytest.mark.parametrize(
    ("shape", "curve"),
    [
        ("monotone", lambda x: 30 + 25 * np.minimum(x, 1.5)),
        ("monotone", lambda x: 60 - 10 * (x > 1.5)),
        ("smooth", lambda x: 30 + 30 * np.exp(-(((x - 1.5) / 0.9) ** 2))),
        ("smooth", lambda x: 40 + 6 * np.sin(2.5 * x)),
    ],
    ids=["rise to a plateau", "step", "bell", "wave"],
)
def test_the_band_of_a_curve_without_a_formula(shape, curve):
    """At the baked doses, averaged over them."""
    at_doses = []
    x = np.repeat(np.linspace(0, 3, 10), 3)
    for seed in range(DRAWS):
        doses = np.unique(x)
        low, high = band_at(doses, curve, seed, shape, x)
        truth = curve(doses)
        at_doses.append(np.mean((low <= truth) & (truth <= high)))
    assert np.mean(at_doses) >= 0.945 - ROOM / 2
