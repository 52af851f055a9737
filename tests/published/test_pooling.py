"""Estimates of several trials put together, against R and against a case worked by hand.

Data: Colditz et al. (1994), JAMA 271, 698-702; figures from pooling/bcg_trials.R (R 4.2.2, base functions). The
same figures stand in the literature on random effects: tau^2 0.3132, log risk ratio -0.7145, Q 152.23 on 12 df.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.pooling.random_effects import shared_effect, shrunken

HERE = Path(__file__).parent / "pooling"
FIGURES = json.loads((HERE / "bcg_trials.json").read_text())


def log_risk_ratios() -> tuple[np.ndarray, np.ndarray]:
    d = pd.read_csv(HERE / "bcg_trials.csv")
    treated, control = d["tpos"] + d["tneg"], d["cpos"] + d["cneg"]
    y = np.log((d["tpos"] / treated) / (d["cpos"] / control))
    v = 1 / d["tpos"] - 1 / treated + 1 / d["cpos"] - 1 / control
    return y.to_numpy(), v.to_numpy()


def test_thirteen_trials_come_to_the_figures_of_r():
    y, v = log_risk_ratios()
    assert y == pytest.approx(FIGURES["y"], rel=1e-12)
    found = shared_effect(y, v)
    assert found.tau2 == pytest.approx(FIGURES["tau2"], rel=1e-6)
    assert (found.estimate, found.se) == pytest.approx((FIGURES["mu"], FIGURES["se"]), rel=1e-6)
    assert (found.low, found.high) == pytest.approx((FIGURES["low"], FIGURES["high"]), rel=1e-6)
    assert (found.tau2_low, found.tau2_high) == pytest.approx((FIGURES["tau2_low"], FIGURES["tau2_high"]), rel=1e-6)
    # With thirteen trials not knowing tau widens the interval of the next one a little, never narrows it.
    taken_as_known = FIGURES["next_high"] - FIGURES["next_low"]
    assert 1.0 <= (found.next_high - found.next_low) / taken_as_known <= 1.15
    assert found.q == pytest.approx(FIGURES["q"], rel=1e-9)
    assert round(found.tau2, 4) == 0.3132
    assert round(found.estimate, 4) == -0.7145
    assert round(found.q, 2) == 152.23


def test_equal_variances_by_hand():
    """4, 8, 9 with variance 2: mean 7; their variance 7 less 2 leaves tau^2 5; se sqrt(7/3) with t on 2 df.

    Drawn to the mean by 5/7: 4 becomes 7 - 15/7.
    """
    found = shared_effect([4.0, 8.0, 9.0], [2.0, 2.0, 2.0])
    assert found.estimate == pytest.approx(7)
    assert found.tau2 == pytest.approx(5, rel=1e-6)
    assert found.high - 7 == pytest.approx(4.302652729911275 * np.sqrt(7 / 3), rel=1e-6)
    assert found.q == pytest.approx(7)
    assert found.weights == pytest.approx([1 / 3] * 3)
    assert shrunken([4.0, 8.0, 9.0], [2.0] * 3, found, 0.95)[0][0] == pytest.approx(7 - 15 / 7, rel=1e-6)


def test_trials_that_agree_leave_no_spread_and_no_false_narrowness():
    """5.0 and 5.1 with errors of 1: the factor of Hartung and Knapp would be 0.0025 and is kept at 1."""
    found = shared_effect([5.0, 5.1], [1.0, 1.0])
    assert found.tau2 == 0
    assert found.se == pytest.approx(np.sqrt(0.5))
    assert found.factor < 0.01
    assert found.high - found.estimate == pytest.approx(12.706204736 * np.sqrt(0.5), rel=1e-6)
    assert found.next_low is None
