"""Do the groups differ, and by how much at most?

Dyestuff and penicillin: R 4.2.2, lme4 1.1-31, confint(fit) of the maximum-likelihood fits (profile, interpolated by
splines, which is good to three or four digits); the carrots' test of the consumers from their json.
"""

import json
import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chi2

from analysis.errors import NotPossible
from analysis.mixed.likelihood_ratio import group_test, mixture_tail
from analysis.mixed.profile import profile_interval
from analysis.mixed.reml import fit_reml
from analysis.mixed.terms import RandomTerm

PUBLISHED = Path(__file__).parents[2] / "published"


def codes(column):
    return np.unique(column.astype(str), return_inverse=True)[1]


def read(name, folder="mixed_split_plot"):
    return pd.read_csv(PUBLISHED / folder / f"{name}.csv")


def dyestuff(method):
    data = read("dyestuff_one_random")
    return fit_reml(data.Yield, np.ones((30, 1)), [RandomTerm("Batch", codes(data.Batch))], method=method)


@pytest.mark.parametrize(("name", "low", "high"), [("Batch", 12.1985, 84.0630), ("residual", 38.2300, 67.6577)])
def test_profile_of_dyestuff(name, low, high):
    got = profile_interval(dyestuff("ml"), name)
    assert np.sqrt(got) == pytest.approx([low, high], rel=5e-4)


def test_profile_of_crossed_groups():
    data = read("penicillin_crossed")
    terms = [RandomTerm(name, codes(data[name])) for name in ("plate", "sample")]
    fit = fit_reml(data.diameter, np.ones((144, 1)), terms, method="ml")
    assert np.sqrt(profile_interval(fit, "plate")) == pytest.approx([0.63357, 1.18210], rel=5e-4)
    assert np.sqrt(profile_interval(fit, "sample")) == pytest.approx([1.09579, 3.55629], rel=5e-4)


def test_an_interval_from_zero_has_an_upper_end():
    day = np.repeat(np.arange(8), 4)
    y = np.random.default_rng(3).normal(size=32)
    y -= 0.9 * np.bincount(day, y)[day] / 4
    fit = fit_reml(y, np.ones((32, 1)), [RandomTerm("day", day)])
    assert fit.boundary == ("day",)
    low, high = profile_interval(fit, "day")
    assert low == 0
    assert 0 < high < fit.sigma2
    assert (fit.variances[0].low, fit.variances[0].high) == (0.0, None)


def test_the_profile_covers_what_is_true():
    """Six days of four bakes each, equal variances: the REML profile covers in about 95 % of the draws."""
    draws = 1000 if os.environ.get("CRUMBWISE_LARGE") else 40
    rng, covered, day = np.random.default_rng(20), 0, np.repeat(np.arange(6), 4)
    for _ in range(draws):
        y = rng.normal(size=6)[day] + rng.normal(size=24)
        low, high = profile_interval(fit_reml(y, np.ones((24, 1)), [RandomTerm("day", day)]), "day")
        covered += low <= 1 <= (np.inf if high is None else high)
    assert abs(covered / draws - 0.95) < 3.5 * np.sqrt(0.95 * 0.05 / draws)


def test_the_consumers_of_the_carrots():
    data = read("carrots_preference_share", "hedonic")
    want = json.loads((PUBLISHED / "hedonic" / "carrots_preference_share.json").read_text(encoding="utf-8"))
    product = codes(data.Product)
    fit = fit_reml(data.Preference, np.eye(product.max() + 1)[product], [RandomTerm("Consumer", codes(data.Consumer))])
    test = group_test(fit, "Consumer")
    assert test.value == pytest.approx(want["expected"]["lrt_consumer"], rel=1e-4)
    assert test.p == pytest.approx(chi2.sf(test.value, 1) / 2)


def test_a_slope_is_tested_alone_or_with_its_level():
    data = read("sleepstudy_random_slope")
    days = data.Days.to_numpy(float)
    terms = [RandomTerm("S", codes(data.Subject), days, "Days")]
    fit = fit_reml(data.Reaction, np.column_stack([np.ones(180), days]), terms)
    slope, whole = group_test(fit, "S:Days"), group_test(fit, "S")
    # R 4.2.2, lme4 1.1-31: REMLcrit 1786.46508 without the slope, 1743.62827 with it.
    assert slope.value == pytest.approx(1786.46508 - 1743.62827, abs=1e-3)
    assert (slope.df, whole.df) == (2, 3)
    assert slope.p == pytest.approx((chi2.sf(slope.value, 1) + chi2.sf(slope.value, 2)) / 2)
    assert whole.value > slope.value
    with pytest.raises(NotPossible, match="no profile interval"):
        profile_interval(fit, "S")
    with pytest.raises(NotPossible, match="no group"):
        group_test(fit, "oven")


def test_no_scatter_between_groups_is_no_evidence():
    assert mixture_tail(0.0, 1) == 1.0
    assert mixture_tail(2.7055, 1) == pytest.approx(0.05, abs=1e-4)
