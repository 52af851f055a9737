"""Are curves that saturate, climb unevenly or rise and fall found, and their best dose covered?

``CRUMBWISE_LARGE=1`` draws each truth 200 times.
"""

import os
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.dose_response import dose_model
from analysis.dose_response.bending_shapes import BENDING
from analysis.dose_response.curves import fit_shape, joint_bounds, joint_jacobian, joint_mean
from analysis.dose_response.fitting import minimise
from analysis.dose_response.intervals import parameter_intervals
from analysis.dose_response.layout import read_layout
from analysis.dose_response.shapes import SHAPES
from analysis.errors import NotPossible
from analysis.questions import Question, Response

DRAWS = 200 if os.environ.get("CRUMBWISE_LARGE") else 12
RISE = Response(name="rise", unit="mm", goal="maximise", matters=2.0)
DOSES = np.array([0, 0.25, 0.5, 1, 1.5, 2, 3, 4, 6])
FINE = np.array([0, 0.4, 0.8, 1.2, 1.6, 2, 2.4, 2.8, 3.2, 3.6, 4])
NAMED = [(name, number, shape) for name, versions in SHAPES.items() for number, shape in enumerate(versions) if shape.q]
# name: doses, truth, and what else may be chosen because it describes the same bakes as well
TRUTHS = {
    "gompertz-3": (
        np.array([0.25, 0.5, 1, 1.5, 2, 2.5, 3, 4]),
        lambda x: 60 * np.exp(-np.exp(-2 * (x - 0.8))),
        {"gompertz-4", "log-logistic-3", "log-logistic-4", "logistic-3", "logistic-4"},
    ),
    "hormesis-5": (DOSES, lambda x: 20 + (30 + 30 * x) / (1 + (x / 1.8) ** 4), {"hump", "hormesis-4", "biphasic"}),
    "hormesis-4": (DOSES, lambda x: (50 + 30 * x) / (1 + (x / 1.8) ** 4), {"hump", "hormesis-5", "biphasic"}),
    "biphasic": (FINE, lambda x: 30 + 32 / (1 + np.exp(-4 * (x - 0.9))) / (1 + np.exp(6 * (x - 2.8))), {"hump"}),
}


def ask(x, y, **wanted):
    frame = pd.DataFrame({"dose": x, "rise": y})
    return dose_model(frame, RISE, Question(factors=(), responses=(RISE,), **wanted), dose="dose", by=None)


def noise(seed, size, spread=1.5):
    return spread * np.random.Generator(np.random.PCG64([11, seed])).standard_normal(size)


@pytest.mark.parametrize(("name", "number", "shape"), NAMED, ids=[f"{name} {number}" for name, number, _ in NAMED])
def test_slopes_by_formula_are_those_of_the_complex_step(name, number, shape):
    low, high = shape.bounds(DOSES)
    theta = low + (high - low) * np.random.Generator(np.random.PCG64(5)).random((40, shape.q))
    given = shape.basis_slopes(DOSES, theta, 2.0)
    exact = replace(shape, slopes=None).basis_slopes(DOSES, theta, 2.0)
    assert np.abs(given - exact).max() <= 1e-12 * np.abs(exact).max()
    middle = (low + high) / 2
    step = 1e-6
    for k in range(shape.q):
        up, down = middle.copy(), middle.copy()
        up[k] += step
        down[k] -= step
        difference = (shape.basis(DOSES, up, 2.0) - shape.basis(DOSES, down, 2.0)) / (2 * step)
        exact = shape.basis_slopes(DOSES, middle, 2.0)[..., k]
        assert np.abs(difference - exact).max() <= 1e-5 * max(np.abs(exact).max(), 1e-3)


@pytest.mark.parametrize("name", TRUTHS)
def test_a_true_shape_is_found_or_one_as_good_and_its_dose_covered(name):
    doses, curve, as_good = TRUTHS[name]
    x = np.repeat(doses, 3)
    fine = np.linspace(doses[0], doses[-1], 8001)
    heights = curve(fine)
    best, enough = fine[heights.argmax()], fine[int((heights >= heights.max() - 2).argmax())]
    found, tops, smallest = [], [], []
    for seed in range(DRAWS):
        part = ask(x, curve(x) + noise(seed, x.size)).dose
        found.append(part.shape == name or part.shape in as_good)
        good, top = part.curves[0].recommended, part.curves[0].optimum
        smallest.append(good.low <= enough <= good.high)
        if top is not None:
            tops.append((top.low is None or top.low <= best) and (top.high is None or best <= top.high))
    assert np.mean(found) >= 0.92
    # Twelve draws cannot tell 0.95 from 0.92: one miss is allowed, with 200 draws 8 %.
    assert np.mean(smallest) >= (0.92 if DRAWS >= 100 else 0.83)
    if SHAPES[name][0].turns:
        assert len(tops) >= 0.9 * DRAWS
        assert np.mean(tops) >= (0.92 if DRAWS >= 100 else 0.83)


@pytest.mark.parametrize("name", BENDING)
def test_every_bending_shape_answers_in_full_when_asked_for(name):
    truths = {**{key: value[:2] for key, value in TRUTHS.items()}}
    truths["saturation"] = (np.array([0, 0.25, 0.5, 1, 2, 4]), lambda x: 60 * x / (0.7 + x))
    truths["gompertz-4"] = (DOSES, lambda x: 25 + 40 * np.exp(-np.exp(-2 * (x - 1.2))))
    doses, curve = truths[name]
    x = np.repeat(doses, 3)
    family = ask(x, curve(x) + noise(3, x.size, 0.8), shape=name)
    part = family.dose
    assert part.shape == name
    one = part.curves[0]
    assert len(one.points) == 60
    assert all(point.low <= point.mean <= point.high for point in one.points)
    assert np.max(np.abs([point.mean - curve(point.dose) for point in one.points])) < 3
    assert [each.fraction for each in one.effective] == [0.1, 0.5, 0.9]
    for name_of, value in one.parameters.items():
        assert value.low <= value.estimate <= value.high, name_of
    # Half of the way really is half of the way.
    half = next(each for each in one.effective if each.fraction == 0.5)
    assert half.low < half.dose < half.high


RECOVERED = {  # name: doses (3 bakes each), true values of what is reported
    "gompertz-4": (
        np.array([0.2, 0.6, 1.0, 1.4, 2.0, 3.0]),
        lambda x: 25 + 40 * np.exp(-np.exp(-2 * (x - 1.1))),
        {"c": 25.0, "d": 65.0, "e": 1.1, "b": -2.0},
    ),
    "hormesis-4": (
        np.array([0, 0.6, 1.2, 2.0, 3.5]),
        lambda x: (50 + 30 * x) / (1 + (x / 1.8) ** 4),
        {"d": 50.0, "f": 30.0, "e": 1.8, "b": 4.0},
    ),
}


@pytest.mark.parametrize("name", RECOVERED)
def test_the_starts_reach_the_least_sum_and_recover_the_truth(name):
    """No curve from the truth, or from anywhere between the bounds, lies nearer to the bakes than the fit."""
    doses, curve, truth = RECOVERED[name]
    x = np.repeat(doses, 3)
    rng = np.random.Generator(np.random.PCG64(23))
    held: dict[str, list[bool]] = {key: [] for key in truth}
    for seed in range(DRAWS):
        frame = pd.DataFrame({"dose": x, "rise": curve(x) + noise(700 + seed, x.size)})
        layout = read_layout(frame, RISE, Question(factors=(), responses=(RISE,)), dose="dose", by=None)
        fit = fit_shape(layout, SHAPES[name])
        assert fit.rss <= ((layout.y - curve(x)) ** 2).sum()
        assert fit.rss <= _least_from_anywhere(layout, fit.shape, rng) * (1 + 1e-6)
        found = parameter_intervals(fit, 0, 0.95)
        for key, value in truth.items():
            held[key].append(found[key].low <= value <= found[key].high)
    assert np.mean(list(held.values())) >= (0.92 if DRAWS >= 100 else 0.85)


def _least_from_anywhere(layout, shape, rng, count=12):
    low, high = joint_bounds(layout, shape, shape.size)
    least = np.inf
    for _ in range(count):
        theta = low[: shape.q] + (high - low)[: shape.q] * rng.random(shape.q)
        columns = shape.basis(layout.parts[0].doses, theta, layout.centre)[layout.parts[0].which]
        beta = np.linalg.lstsq(columns, layout.y, rcond=None)[0]
        end = minimise(
            lambda p: layout.y - joint_mean(layout, shape, p),
            lambda p: joint_jacobian(layout, shape, p),
            np.concatenate([theta, beta]),
            lower=low,
            upper=high,
            max_iterations=100,
        )
        least = least if end is None else min(least, end.rss)
    return least


def test_the_dose_at_half_the_way_of_a_hormesis_is_read_off_its_curve():
    x = np.repeat(DOSES, 3)
    curve = TRUTHS["hormesis-5"][1]
    part = ask(x, curve(x) + noise(8, x.size, 0.2), shape="hormesis").dose
    fine = np.linspace(0, 6, 60001)
    heights = curve(fine)
    top = heights.argmax()
    want = fine[int((heights[: top + 1] >= (heights[0] + heights[top]) / 2).argmax())]
    half = next(each for each in part.curves[0].effective if each.fraction == 0.5)
    assert half.dose == pytest.approx(want, abs=0.02)
    assert part.curves[0].optimum.dose == pytest.approx(fine[top], abs=0.03)


def test_a_kind_may_be_asked_for_and_an_assumption_only_by_name():
    x = np.repeat([0.25, 0.5, 1, 1.5, 2, 3], 3)
    y = 60 * x / (0.7 + x) + noise(4, x.size)
    assert ask(x, y, shape="saturation").dose.shape == "saturation"
    assert "saturation" not in {one.shape for one in ask(x, y).dose.candidates}
    assert ask(x, y, shape="gompertz").dose.shape.startswith("gompertz")


def test_a_fall_without_a_rise_is_no_hormesis():
    x = np.repeat(DOSES, 3)
    with pytest.raises(NotPossible, match="does not turn"):
        ask(x, 20 + 30 / (1 + (x / 1.8) ** 3) - 4 * np.minimum(x, 0.5) + noise(1, x.size, 0.2), shape="hormesis-5")


def test_too_few_doses_refuse_in_words():
    x = np.repeat([0.0, 1.0, 2.0], 4)
    for name in BENDING:
        with pytest.raises(NotPossible, match="different doses"):
            ask(x, x + noise(2, x.size, 0.1), shape=name)
