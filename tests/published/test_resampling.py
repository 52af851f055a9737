"""Do bootstrap limits and permutation tests agree with figures we did not compute?

Sources stand in the JSON beside each data file: Efron & Tibshirani 1993 (law school, mouse data),
full enumeration and simulation in R 4.2.2, US patent 3,505,079 (premix, as used by Box, Hunter & Hunter).
"""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis import resampling as rs

HERE = Path(__file__).parent


def case(name, folder="bootstrap"):
    where = HERE / folder
    return pd.read_csv(where / f"{name}.csv"), json.loads((where / f"{name}.json").read_text())["expected"]


@pytest.mark.parametrize(("name", "statistic"), [("mean", np.mean), ("median", np.median)])
def test_all_resamples_of_five_loaves(name, statistic):
    data, expected = case("exact_enumeration_n5")
    want = expected[name]
    heights = data["height"].to_numpy(dtype=float)
    draws = statistic(heights[rs.every_resample(5)], axis=1)
    estimate = float(statistic(heights))
    assert draws.size == want["resamples"]
    assert estimate == pytest.approx(want["estimate"], rel=1e-12)
    assert draws.std() == pytest.approx(want["exact_se"], rel=1e-10)
    assert rs.percentile_limits(draws, 0.9) == pytest.approx(want["exact_percentile90"], rel=1e-12)
    jack = rs.jackknife(lambda rows: float(statistic(heights[rows])), 5)
    z0 = rs.bias_correction(np.round(draws, 10), round(estimate, 10))
    assert jack.acceleration == pytest.approx(want["acceleration"], rel=1e-9)
    assert z0 == pytest.approx(want["z0_half_ties"], rel=1e-9, abs=1e-12)
    assert rs.bca_levels(z0, jack.acceleration, 0.9) == pytest.approx(want["bca90_levels"], rel=1e-9)
    low, high = rs.bca_limits(np.round(draws, 10), round(estimate, 10), jack.acceleration, 0.9)
    assert [low, high] == pytest.approx(want["bca90"], rel=1e-10)


def test_the_law_schools():
    data, want = case("law_school_correlation")
    x = data.to_numpy(dtype=float)

    def correlation(rows):
        picked = x[rows] - x[rows].mean(axis=-2, keepdims=True)
        a, b = picked[..., 0], picked[..., 1]
        return (a * b).sum(-1) / np.sqrt((a**2).sum(-1) * (b**2).sum(-1))

    jack = rs.jackknife(lambda rows: float(correlation(rows)), 15)
    assert jack.se == pytest.approx(want["jackknife_se"], rel=1e-8)
    assert jack.bias == pytest.approx(want["jackknife_bias"], rel=1e-8)
    assert jack.acceleration == pytest.approx(want["acceleration"], rel=1e-8)
    draws = correlation(rs.resample_rows(15, 100_000, seed=4))
    assert draws.std() == pytest.approx(want["boot_se"], rel=0.01)
    assert rs.bias_correction(draws, want["r"]) == pytest.approx(want["z0"], abs=0.012)
    for share in (0.9, 0.95):
        key = f"{share * 100:.0f}"
        assert rs.percentile_limits(draws, share) == pytest.approx(want[f"percentile{key}"], abs=0.01)
        assert rs.bca_limits(draws, want["r"], jack.acceleration, share) == pytest.approx(want[f"bca{key}"], abs=0.012)


def test_the_mice():
    data, want = case("mouse_permutation")
    groups = [data[name].dropna().to_numpy() for name in ("treat", "control")]
    found = rs.permutation_test(*groups)
    assert (found.exact, found.splits) == (True, 11440)
    assert found.difference == pytest.approx(want["diff"], rel=1e-12)
    assert found.p_greater == pytest.approx(want["exact_p_one_sided"], rel=1e-12)
    assert found.p_two_sided == pytest.approx(want["exact_p_two_sided"], rel=1e-12)
    draws = [g[rs.resample_rows(g.size, 40_000, seed=number)].mean(axis=1) for number, g in enumerate(groups, start=1)]
    assert (draws[0] - draws[1]).std() == pytest.approx(want["plugin_se"], rel=0.015)


def test_too_many_splits_are_drawn_and_close_to_the_exact_share(monkeypatch):
    data, want = case("mouse_permutation")
    groups = [data[name].dropna().to_numpy() for name in ("treat", "control")]
    monkeypatch.setattr(rs, "MOST_ENUMERATED", 100)
    found = rs.permutation_test(*groups, draws=20_000)
    assert not found.exact
    assert found.p_greater == pytest.approx(want["exact_p_one_sided"], abs=0.01)


def test_five_pairs_of_cakes():
    data, want = case("premix_paired", "baking_trials")
    found = rs.sign_flip_test(data["A"] - data["B"])
    assert found.splits == 32
    assert found.p_two_sided == pytest.approx(want["permutation_p_two_sided"], rel=1e-12)
