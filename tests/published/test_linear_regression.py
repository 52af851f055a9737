"""Does least squares keep its digits where the data take them away?

Source: NIST Statistical Reference Datasets, Linear Regression, certified values (US government).
Lower difficulty is asked to eight digits or more, average to six, Longley to ten.
"""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.linear.least_squares import centred, least_squares
from analysis.linear.polynomials import orthogonal_polynomials

HERE = Path(__file__).parent / "regression"


def case(name):
    frame = pd.read_csv(HERE / f"nist_{name}.csv").astype(float)
    return frame, json.loads((HERE / f"nist_{name}.json").read_text())["expected"]


def test_longley(analyse):
    answer = analyse("regression/nist_longley", "y", amounts=[f"x{i}" for i in range(1, 7)], order=1)
    certified = answer.expected
    for i in range(7):
        found = answer.coefficients["intercept at zero" if i == 0 else f"x{i}"]
        assert found.estimate == pytest.approx(certified["coef"][f"B{i}"], rel=1e-10)
        assert found.se == pytest.approx(certified["se"][f"B{i}"], rel=1e-10)
    assert answer.result.residual.sd == pytest.approx(certified["resid_sd"], rel=1e-10)
    assert answer.result.residual.r_squared == pytest.approx(certified["r2"], rel=1e-12)


@pytest.mark.parametrize(("name", "digits"), [("wampler1", 1e-8), ("wampler3", 1e-8)])
def test_wampler_with_raw_powers(name, digits):
    frame, certified = case(name)
    x, y = frame["x"].to_numpy(), frame["y"].to_numpy()
    fit = least_squares(np.vander(x, 6, increasing=True), y)
    assert fit.coefficients == pytest.approx(np.ones(6), rel=digits, abs=digits)
    assert np.sqrt(fit.sum_sq / fit.df) == pytest.approx(certified["resid_sd"], rel=1e-9, abs=1e-6)
    errors = np.sqrt(fit.variance_factors(np.eye(6)) * fit.sum_sq / fit.df)
    assert errors == pytest.approx([certified["se"][f"B{i}"] for i in range(6)], rel=1e-8, abs=1e-5)


@pytest.mark.parametrize(("name", "degree"), [("filip", 10), ("wampler3", 5)])
def test_high_polynomials_by_orthogonal_columns(name, degree):
    frame, certified = case(name)
    y, _ = centred(frame["y"].to_numpy())
    columns = orthogonal_polynomials(frame["x"].to_numpy(), degree)
    fit = least_squares(np.hstack([np.ones((len(y), 1)), columns]), y)
    assert fit.df == len(y) - degree - 1
    assert np.sqrt(fit.sum_sq / fit.df) == pytest.approx(certified["resid_sd"], rel=1e-8)
    assert 1 - fit.sum_sq / (y @ y) == pytest.approx(certified["r2"], rel=1e-10)


def test_an_exact_fit_is_said_not_tested(analyse):
    # On the settings of Wampler1, readings that lie exactly on a line leave no scatter to judge by.
    answer = analyse("regression/nist_wampler1", "y", amounts=["x"], change=lambda f: f.assign(y=3 + 2 * f["x"]))
    assert answer.checks()["no scatter"].verdict == "do not rely"
    assert answer.tests["x"].p is None
    assert answer.coefficients["x"].estimate == pytest.approx(2, rel=1e-12)
    assert answer.result.reasons["tests"]
