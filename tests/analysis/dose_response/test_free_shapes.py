"""Are curves without a formula right, and do they take part only when they should?"""

from contextlib import suppress

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import isotonic_regression

from analysis.dose_response import dose_model
from analysis.dose_response.free_shapes import FREE, isotonic, roughness
from analysis.errors import AnalysisError, NotPossible
from analysis.questions import Question, Response

RISE = Response(name="rise", unit="mm", goal="maximise", matters=2.0)
X = np.repeat(np.linspace(0, 3, 9), 3)


def noise(seed, size=X.size, spread=1.0):
    return spread * np.random.Generator(np.random.PCG64([23, seed])).standard_normal(size)


def ask(x, y, *, blocks=(), by=None, more=None, **wanted):
    frame = pd.DataFrame({"dose": x, "rise": y, **(more or {})})
    return dose_model(frame, RISE, Question(factors=(), responses=(RISE,), blocks=blocks, **wanted), dose="dose", by=by)


def test_heights_never_turn_and_are_those_of_another_isotonic_regression():
    rng = np.random.Generator(np.random.PCG64(2))
    values, weights = rng.standard_normal((30, 8)), rng.integers(1, 5, 8).astype(float)
    found = isotonic(values, weights)
    assert np.all(np.diff(found, axis=1) >= -1e-12)
    for row, mine in zip(values, found, strict=True):
        assert mine == pytest.approx(isotonic_regression(row, weights=weights).x, abs=1e-12)


def test_roughness_is_the_integral_of_the_squared_bend():
    # x² has second derivative 2, but a natural spline is straight at its ends: use its own heights.
    knots = np.array([0, 0.5, 1.2, 2, 3.0])
    assert roughness(knots) @ (3 + 2 * knots) == pytest.approx(0, abs=1e-10)  # a line is not rough
    assert np.linalg.eigvalsh(roughness(knots))[0] > -1e-9


@pytest.mark.parametrize("shape", FREE)
def test_days_are_taken_out_and_the_band_holds_the_curve(shape):
    day = np.tile(["mon", "tue", "wed"], 9)
    shift = np.tile([-4.0, 0.0, 4.0], 9)
    family = ask(X, 30 + 20 * np.minimum(X, 1.6) + shift + noise(4), blocks=("day",), more={"day": day}, shape=shape)
    one = family.dose.curves[0]
    assert family.dose.shape == shape
    assert all(point.low <= point.mean <= point.high for point in one.points)
    assert np.sqrt(family.residual.mean_sq) < 2
    assert one.recommended.low <= 1.5 <= one.recommended.high


def test_they_take_part_only_when_no_formula_fits():
    assert not {c.shape for c in ask(X, 40 + 5 * X + noise(1)).dose.candidates} & set(FREE)
    twice = ask(X, 40 + 6 * np.sin(4.2 * X) + noise(2, spread=0.4)).dose
    assert {c.shape for c in twice.candidates} >= {"smooth"}
    assert twice.shape == "smooth"


def test_too_few_doses_refuse_in_words():
    with pytest.raises(NotPossible, match="different doses"):
        ask(np.repeat([1.0, 2.0], 4), noise(3, 8), shape="monotone")
    with pytest.raises(NotPossible, match="different doses"):
        ask(np.repeat([1.0, 2.0, 3.0, 4.0], 3), noise(3, 12), shape="smooth")


@pytest.mark.parametrize("intervals", ["profile", "bootstrap"])
def test_hostile_bakes_are_answered_or_refused_in_words(intervals):
    answered = 0
    names = ["hormesis", "gompertz", "biphasic", "saturation", *FREE, "logistic", "hump", "plateau", "quadratic"]
    for seed, name in enumerate(names):
        rng = np.random.Generator(np.random.PCG64([31, seed]))
        x = np.repeat(np.array([0, 0, 1, 2, 3, 4, 5, 6, 8.0]) * 10.0 ** rng.integers(-6, 9), 2)
        y = rng.choice(
            [np.round(rng.standard_normal(x.size)), np.tile([1.0, 2.0], 9), x / x.max() + rng.random(x.size)]
        )
        with suppress(AnalysisError):  # in words; anything else is our own mistake
            family = ask(x, y * 10.0 ** rng.integers(-6, 9), shape=name, intervals=intervals)
            answered += 1
            for curve in family.dose.curves:
                for value in curve.parameters.values():
                    ends = [end for end in (value.estimate, value.low, value.high) if end is not None]
                    assert np.isfinite(ends).all()
    assert answered > 0
