"""Blends with weights, against R.

R 4.2.2: ``lm(y ~ 0 + a + b + c + a:b + a:c + b:c, weights = w)`` on the twelve bakes below, shares as parts of 1.
"""

import numpy as np
import pandas as pd
import pytest

from analysis.blends.family import blend_model
from analysis.engine import analyse
from analysis.errors import NotPossible
from analysis.questions import Factor, Question, Response

NAMES = ("wheat", "rye", "spelt")
RISE = Response(name="rise", unit="mm", goal="maximise", matters=2.0)
BLENDS = [(100, 0, 0), (0, 100, 0), (0, 0, 100), (50, 50, 0), (50, 0, 50), (0, 50, 50)]
Y = [41.2, 42.6, 36.1, 35.0, 30.4, 31.9, 44.8, 43.1, 38.7, 40.2, 34.9, 33.6]
W = [2, 1, 1, 3, 2, 1, 4, 1, 2, 2, 1, 3]
# estimate, standard error
FROM_R = [
    (41.6666666667, 0.728150879766),
    (35.2750000000, 0.630597159665),
    (30.9000000000, 0.728150879766),
    (23.9566666667, 2.966712234357),
    (12.6666666667, 3.256389730065),
    (3.3500000000, 3.173936100549),
]
SIGMA = 1.26119431933


def asked(**more):
    factors = tuple(Factor(name=name, kind="share", unit="%") for name in NAMES)
    return Question(factors=factors, responses=(RISE,), model="mixture quadratic", **more)


def bakes(weights=W):
    frame = pd.DataFrame(np.repeat(BLENDS, 2, axis=0).astype(float), columns=list(NAMES)).assign(rise=Y, area=weights)
    frame["area"] = frame["area"].astype(float)
    return frame.assign(bake=[str(i + 1) for i in range(len(frame))], order=range(len(frame)), readings=1)


def test_coefficients_and_errors_are_those_of_weighted_least_squares():
    found = blend_model(bakes(), RISE, asked(weights="area"))
    got = [(one.estimate, one.se) for one in found.coefficients]
    np.testing.assert_allclose(got, FROM_R, rtol=1e-9)
    assert found.residual.sd == pytest.approx(SIGMA, rel=1e-9)
    assert "area" in found.model.estimation
    assert sum(w * (p.residual or 0) ** 2 for w, p in zip(W, found.points, strict=True)) == pytest.approx(
        found.residual.sum_sq, rel=1e-9
    )


def test_equal_weights_change_nothing_and_whole_ones_only_the_scale():
    plain = blend_model(bakes(), RISE, asked())
    same = blend_model(bakes([3.0] * 12), RISE, asked(weights="area"))
    for one, other in zip(plain.coefficients, same.coefficients, strict=True):
        assert (one.estimate, one.low, one.high) == pytest.approx((other.estimate, other.low, other.high))
    assert same.residual.r_squared == pytest.approx(plain.residual.r_squared)


def test_the_engine_takes_the_weights_and_refuses_them_with_groups():
    table = bakes().drop(columns=["bake", "order", "readings"]).assign(day=["a", "b", "c"] * 4)
    answer = analyse(table, asked(weights="area")).responses[0]
    assert answer.family.coefficients[0].estimate == pytest.approx(FROM_R[0][0], rel=1e-9)
    with pytest.raises(NotPossible, match="takes no weights"):
        analyse(table, asked(weights="area", group=("day",)))
