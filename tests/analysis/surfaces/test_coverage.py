"""How often do regions and intervals of a surface hold the truth?

200 draws here; with CRUMBWISE_LARGE=1 2,000, held to 93.5 to 96.5 %.
"""

import os
from itertools import product

import numpy as np
import pytest

from analysis.surfaces.canonical import canonical_axes, shape
from analysis.surfaces.quadratic import Coding, Quadratic, model_rows
from analysis.surfaces.region import baked_region, best_of, turning_point
from analysis.surfaces.turning import bound, distance, turning_region

LARGE = os.environ.get("CRUMBWISE_LARGE") == "1"
DRAWS = 2000 if LARGE else 200


def composite(k, centre=5, alpha=None):
    """Corners, star points and centre points (n, k)."""
    alpha = 2 ** (k / 4) if alpha is None else alpha
    corners = np.array(list(product((-1.0, 1.0), repeat=k)))
    return np.vstack([corners, alpha * np.eye(k), -alpha * np.eye(k), np.zeros((centre, k))])


def within(share, wanted=0.95, slack=0.015):
    """Inside the promised band; the small run is allowed three standard errors."""
    return abs(share - wanted) <= (slack if LARGE else 3 * (wanted * (1 - wanted) / DRAWS) ** 0.5)


def fits(z, beta, sd, seed=11):
    """Least squares of draws of noise around a known surface."""
    rng = np.random.Generator(np.random.PCG64(seed))
    x = model_rows(z)
    inverse = np.linalg.inv(x.T @ x)
    df = len(z) - x.shape[1]
    coding = Coding(tuple(f"x{i}" for i in range(z.shape[1])), np.zeros(z.shape[1]), np.ones(z.shape[1]))
    for _ in range(DRAWS):
        y = x @ beta + rng.normal(0, sd, len(z))
        found = inverse @ x.T @ y
        mean_sq = float(((y - x @ found) ** 2).sum() / df)
        yield Quadratic(coding, found, mean_sq * inverse, float(df), mean_sq**0.5)


HILL = np.array([40.0, 1.0, -0.6, -2.0, -1.2, 0.8])
HILL3 = np.array([40.0, 1.0, -0.6, 0.4, -2.0, -1.2, -1.5, 0.8, 0.3, -0.2])
SADDLE = np.array([40.0, 1.0, -0.6, 0.8, -1.2, 0.8])


@pytest.mark.parametrize(("k", "beta", "sd"), [(2, HILL, 0.3), (2, HILL, 1.5), (2, SADDLE, 1.0), (3, HILL3, 0.6)])
def test_the_region_of_the_turning_point_covers_it(k, beta, sd):
    z = composite(k)
    truth = turning_point(Quadratic(Coding(("a",) * k, np.zeros(k), np.ones(k)), beta, None, None, None))
    covered = [float(distance(one, truth)[0]) <= bound(one, 0.95) for one in fits(z, beta, sd)]
    assert within(float(np.mean(covered))), np.mean(covered)


def test_the_ends_of_the_region_cover_each_amount_at_least_as_often():
    z = composite(2)
    truth = turning_point(Quadratic(Coding(("a", "b"), np.zeros(2), np.ones(2)), HILL, None, None, None))
    covered = []
    for one in list(fits(z, HILL, 0.5))[: DRAWS // 4]:
        region = turning_region(one, turning_point(one), 0.95)
        covered.append(bool(((region.low <= truth) & (truth <= region.high)).all()))
    assert np.mean(covered) >= 0.93


@pytest.mark.parametrize(("k", "beta", "sd"), [(2, HILL, 0.3), (3, HILL3, 0.3)])
def test_the_interval_of_the_best_response_covers_it(k, beta, sd):
    z = composite(k)
    region = baked_region(z)
    true = Quadratic(Coding(("a",) * k, np.zeros(k), np.ones(k)), beta, None, None, None)
    covered = []
    for one in fits(z, beta, sd, seed=12):
        best = best_of(one, region, sign=1.0)
        _, low, high = one.interval(model_rows(best)[0], 0.95)
        covered.append(low <= float(true.mean(best)[0]) <= high)
    assert within(float(np.mean(covered))), np.mean(covered)


@pytest.mark.parametrize("sd", [0.3, 1.0, 2.0])
def test_a_saddle_is_seldom_called_a_maximum(sd):
    called = [shape(canonical_axes(one, 0.95)) == "maximum" for one in fits(composite(2), SADDLE, sd, seed=13)]
    assert np.mean(called) <= 0.05


def test_a_level_ridge_is_seldom_called_a_maximum():
    # No bend along x2 at all: at most one in twenty may be told to bend either way.
    ridge = np.array([40.0, 0.5, 0.0, -2.0, 0.0, 0.0])
    called = [shape(canonical_axes(one, 0.95)) for one in fits(composite(2), ridge, 0.3, seed=14)]
    assert np.mean([one == "maximum" for one in called]) <= 0.025 + 3 * (0.025 * 0.975 / DRAWS) ** 0.5
    assert np.mean([one == "stationary ridge" for one in called]) >= 0.85


def test_intervals_of_eigenvalues_cover_them():
    covered = np.zeros(2)
    true = np.sort(
        np.linalg.eigvalsh(Quadratic(Coding(("a", "b"), np.zeros(2), np.ones(2)), HILL, None, None, None).bends)
    )
    for one in fits(composite(2), HILL, 0.2, seed=15):
        axes = sorted(canonical_axes(one, 0.95), key=lambda axis: axis.eigenvalue)
        covered += [axis.low <= value <= axis.high for axis, value in zip(axes, true, strict=True)]
    assert all(within(share) for share in covered / DRAWS), covered / DRAWS
