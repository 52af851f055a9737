"""Are the doses on the limits found, and do they keep the limits?"""

import numpy as np
import pytest
from scipy.spatial import HalfspaceIntersection

from analysis.designs.constraints import read_constraints
from analysis.designs.optimal import exchange
from analysis.designs.optimal.candidates import limit_points
from analysis.designs.region import region_of
from analysis.designs.requests import DesignFactor, DesignRequest


def points(ranges, *texts):
    return limit_points(ranges, read_constraints(texts, dict.fromkeys(ranges, ())))


def as_pairs(found):
    return {(point["soda"], point["powder"]) for point in found}


def test_a_corner_cut_off_leaves_five_corners_their_middles_and_the_centre():
    found = as_pairs(points({"soda": (0.0, 2.0), "powder": (0.0, 2.0)}, "soda + powder <= 3"))
    corners = {(0, 0), (2, 0), (0, 2), (2, 1), (1, 2)}
    middles = {(1, 0), (0, 1), (2, 0.5), (0.5, 2), (1.5, 1.5)}
    assert found == corners | middles | {(1, 1)}


def test_a_limit_off_the_grid_is_met_to_the_last_digit():
    ranges = {"soda": (0.5, 2.5), "powder": (0.0, 4.0), "egg": (10.0, 30.0)}
    (tie,) = read_constraints(["3 * soda + powder <= 7"], dict.fromkeys(ranges, ()))
    found = limit_points(ranges, [tie])
    assert set(found[0]) == {"soda", "powder"}  # the egg is not tied
    weight = [3 * point["soda"] + point["powder"] for point in found]
    assert max(weight) == pytest.approx(7, abs=1e-10)
    assert sum(abs(each - 7) < 1e-10 for each in weight) >= 3  # two corners and the middle of their edge
    assert all(0.5 <= point["soda"] <= 2.5 and 0 <= point["powder"] <= 4 for point in found)


@pytest.mark.parametrize("seed", range(5))
def test_the_corners_are_those_that_qhull_finds(seed):
    generator = np.random.Generator(np.random.PCG64(seed))
    names, low = ["a", "b", "c"], np.array([0.0, -1.0, 100.0])
    high = low + np.array([1.0, 5.0, 50.0])
    weights = generator.uniform(0.5, 1.5, (2, 3)) / (high - low)
    limits = weights @ (low + 0.6 * (high - low))
    texts = [
        " + ".join(f"{w:.6f} * {name}" for w, name in zip(row, names, strict=True)) + f" <= {limit:.6f}"
        for row, limit in zip(weights, limits, strict=True)
    ]
    found = points(dict(zip(names, zip(low, high, strict=True), strict=True)), *texts)
    ours = np.array([list(point.values()) for point in found])
    span = high - low
    rows = np.vstack([np.round(weights, 6) * span, np.eye(3), -np.eye(3)])
    bounds = np.concatenate([np.round(limits, 6) - np.round(weights, 6) @ low, np.ones(3), np.zeros(3)])
    theirs = HalfspaceIntersection(np.column_stack([rows, -bounds]), np.full(3, 0.05)).intersections
    scaled = (ours - low) / span
    away = np.abs(scaled[None] - np.unique(np.round(theirs, 9), axis=0)[:, None]).max(axis=2)
    assert away.min(axis=1) == pytest.approx(0, abs=1e-7)  # each of theirs is one of ours
    assert (scaled @ rows.T <= bounds + 1e-9).all()  # and none of ours lies outside


@pytest.mark.parametrize(
    ("ranges", "texts"),
    [
        ({"soda": (0.0, 2.0)}, []),
        ({"soda": (0.0, 2.0)}, ["soda ^ 2 <= 3"]),
        ({"soda": (0.0, 2.0), "powder": (0.0, 2.0)}, ["soda + powder <= 1 or soda <= 1"]),
        ({"soda": (0.0, 2.0), "powder": (0.0, 2.0)}, ["soda + powder <= -1"]),
        ({f"x{n}": (0.0, 1.0) for n in range(14)}, [" + ".join(f"x{n}" for n in range(14)) + " <= 7"]),
    ],
)
def test_what_has_no_corners_is_left_to_the_grid(ranges, texts):
    assert points(ranges, *texts) == ()


@pytest.mark.parametrize(
    ("texts", "gain"),
    [(("soda + powder <= 4.3",), 1.05), (("soda + powder <= 4.3", "powder >= 2 * soda - 1.3"), 1.3)],
)
def test_doses_on_the_limits_make_a_better_design_than_the_grid_alone(texts, gain):
    factors = tuple(
        DesignFactor(name=name, kind="amount", low=0.0, high=high)
        for name, high in [("soda", 2.5), ("powder", 4.0), ("egg", 30.0)]
    )
    asked = DesignRequest(kind="optimal", factors=factors, seed=1, constraints=texts)
    free, grid = (region_of(DesignRequest(**{**vars(asked), "levels": n}), "quadratic") for n in (None, 5))
    known = read_constraints(texts, {factor.name: () for factor in factors})
    for point in free.points:
        at = {name: np.array([dose]) for name, dose in point.items()}
        assert all(each.holds(at).all() for each in known)
    assert {tuple(point.items()) for point in grid.points} < {tuple(point.items()) for point in free.points}
    best = exchange(free.terms, 16, seed=1)
    assert best.d_efficiency > gain * exchange(grid.terms, 16, seed=1).d_efficiency
