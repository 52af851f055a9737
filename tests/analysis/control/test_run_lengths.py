"""Do the computed run lengths agree with charts that were simulated, and is a wish that cannot be met refused?"""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.control.run_lengths import sums_limit, sums_run_length, weighted_run_length, weighted_width
from analysis.errors import TrialDataError

CHARTS = 10_000


def simulated_weighted(weight, width, shift, *, exact, seed):
    random = np.random.Generator(np.random.PCG64(seed))
    lengths, z, alive, t = np.zeros(CHARTS), np.zeros(CHARTS), np.arange(CHARTS), 0
    while len(alive):
        t += 1
        z = weight * (shift + random.standard_normal(len(alive))) + (1 - weight) * z
        grown = 1 - (1 - weight) ** (2 * t) if exact else 1.0
        out = np.abs(z) > width * math.sqrt(weight / (2 - weight) * grown)
        lengths[alive[out]] = t
        alive, z = alive[~out], z[~out]
    return lengths.mean()


def simulated_sums(k, h, shift, *, seed):
    random = np.random.Generator(np.random.PCG64(seed))
    lengths, alive, t = np.zeros(CHARTS), np.arange(CHARTS), 0
    up = down = np.zeros(CHARTS)
    while len(alive):
        t += 1
        z = shift + random.standard_normal(len(alive))
        up, down = np.maximum(0, up + z - k), np.maximum(0, down - z - k)
        out = (up > h) | (down > h)
        lengths[alive[out]] = t
        alive, up, down = alive[~out], up[~out], down[~out]
    return lengths.mean()


@pytest.mark.parametrize("shift", [0, 0.5, 1, 2])
@pytest.mark.parametrize("exact", [True, False])
def test_weighted_means_as_simulated(shift, exact):
    width = weighted_width(0.1, 200, exact=exact)
    computed = weighted_run_length(0.1, width, shift=shift, exact=exact)
    assert computed == pytest.approx(simulated_weighted(0.1, width, shift, exact=exact, seed=4), rel=0.03)


@pytest.mark.parametrize("shift", [0, 0.5, 1, 2])
def test_sums_as_simulated(shift):
    h = sums_limit(0.5, 200)
    assert sums_run_length(0.5, h, shift=shift) == pytest.approx(simulated_sums(0.5, h, shift, seed=5), rel=0.03)


def test_limits_that_open_up_see_an_early_shift_sooner():
    settled, opening = (weighted_width(0.1, 370, exact=exact) for exact in (False, True))
    assert opening > settled
    assert weighted_run_length(0.1, opening, shift=1) < weighted_run_length(0.1, settled, shift=1, exact=False)


@pytest.mark.parametrize(
    "wish",
    [
        lambda: weighted_width(0, 370),
        lambda: weighted_width(1.2, 370),
        lambda: weighted_width(math.nan, 370),
        lambda: weighted_width(0.2, 2),
        lambda: sums_limit(0.5, 1e9),
        lambda: sums_limit(0, 370),
        lambda: sums_limit(0.5, math.nan),
    ],
)
def test_a_wish_that_cannot_be_met_is_refused_with_a_way_out(wish):
    with pytest.raises(TrialDataError) as refused:
        wish()
    assert refused.value.where
    assert any(digit in refused.value.try_this for digit in "0123456789")
