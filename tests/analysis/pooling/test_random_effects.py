"""Does the shared interval hold the truth as often as it says, from three to eight trials?

A small count here; CRUMBWISE_LARGE=1 draws enough to pin the coverage within a percent.
"""

from __future__ import annotations

import os

import numpy as np
import pytest

from analysis.errors import NotPossible
from analysis.pooling.random_effects import shared_effect

DRAWS = 4000 if os.environ.get("CRUMBWISE_LARGE") == "1" else 120


@pytest.mark.parametrize("trials", [3, 5, 8])
@pytest.mark.parametrize("tau", [0.0, 1.0])
def test_the_intervals_cover(trials, tau):
    chance = np.random.Generator(np.random.PCG64([trials, int(tau)]))
    held, foretold, spread = 0, 0, 0
    for _ in range(DRAWS):
        v = chance.uniform(0.3, 1.5, trials)
        y = 2.0 + tau * chance.standard_normal(trials) + np.sqrt(v) * chance.standard_normal(trials)
        found = shared_effect(y, v)
        held += found.low <= 2.0 <= found.high
        foretold += found.next_low <= 2.0 + tau * chance.standard_normal() <= found.next_high
        spread += found.tau2_low <= tau**2 <= found.tau2_high
    near = 3.5 * np.sqrt(0.05 * 0.95 / DRAWS)
    assert 0.945 - near <= held / DRAWS
    assert 0.935 - near <= foretold / DRAWS
    assert 0.95 - near <= spread / DRAWS
    if tau and trials == 8:  # fewer trials, or none of the spread, make them wider than need be
        assert held / DRAWS < 1.0


def test_one_trial_is_nothing_to_pool():
    with pytest.raises(NotPossible):
        shared_effect([1.0], [1.0])


@pytest.mark.parametrize("size", [1e-12, 1e12])
def test_units_fall_out(size):
    one = shared_effect([1.0, 4.0, 2.0, 8.0], [0.5, 1.0, 0.2, 2.0])
    other = shared_effect(np.array([1.0, 4.0, 2.0, 8.0]) * size, np.array([0.5, 1.0, 0.2, 2.0]) * size**2)
    for name in ("estimate", "se", "low", "high", "next_low", "next_high"):
        assert getattr(other, name) == pytest.approx(getattr(one, name) * size, rel=1e-6)
    assert other.tau2 == pytest.approx(one.tau2 * size**2, rel=1e-6)


def test_the_order_of_the_trials_is_nothing():
    y, v = np.array([1.0, 4.0, 2.0, 8.0]), np.array([0.5, 1.0, 0.2, 2.0])
    one, other = shared_effect(y, v), shared_effect(y[::-1], v[::-1])
    assert other.estimate == pytest.approx(one.estimate, rel=1e-6)
    assert other.weights[::-1] == pytest.approx(one.weights, rel=1e-6)
