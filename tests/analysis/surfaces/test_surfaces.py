"""Points, shapes and best settings of surfaces whose truth is known, and what is said when there is none."""

from itertools import product

import numpy as np
import pytest

from analysis.errors import NotPossible
from analysis.linear.finite import numbers
from analysis.surfaces.quadratic import Coding, Quadratic, model_rows
from analysis.surfaces.region import baked_region, best_of
from analysis.surfaces.ridge import best_on_sphere, ridge
from analysis.surfaces.terms import real_from_coded


def composite(k, centre=5, alpha=None):
    """Corners, star points and centre points (n, k)."""
    alpha = 2 ** (k / 4) if alpha is None else alpha
    corners = np.array(list(product((-1.0, 1.0), repeat=k)))
    return np.vstack([corners, alpha * np.eye(k), -alpha * np.eye(k), np.zeros((centre, k))])


def part_of(family, key="surface"):
    return next((part for part in family.parts if part.key == key), None)


def quadratic(k, beta):
    return Quadratic(Coding(tuple(f"x{i}" for i in range(k)), np.zeros(k), np.ones(k)), beta, None, None, None)


def any_quadratics(k, count, seed=1):
    rng = np.random.Generator(np.random.PCG64(seed))
    size = 1 + 2 * k + k * (k - 1) // 2
    return [quadratic(k, rng.normal(size=size)) for _ in range(count)]


@pytest.mark.parametrize(("k", "design"), [(2, composite(2)), (3, composite(3)), (2, composite(2, alpha=1.0))])
def test_no_setting_inside_what_was_baked_is_better_than_the_best(k, design):
    region = baked_region(design)
    rng = np.random.Generator(np.random.PCG64(2))
    weights = rng.dirichlet(np.full(len(design), 0.3), 20000)
    inside = weights @ design  # every point of the hull is a mean of bakes
    assert region.inside(inside).all()
    for one in any_quadratics(k, 60):
        for sign in (1.0, -1.0):
            best = best_of(one, region, sign=sign)
            assert region.inside(best)[0]
            assert sign * one.mean(best)[0] >= (sign * one.mean(inside)).max() - 1e-9


def test_many_amounts_stay_between_their_corners():
    design = composite(6, alpha=2.0)
    region = baked_region(design)
    assert not region.hull
    for one in any_quadratics(6, 5):
        best = best_of(one, region, sign=1.0)
        corners = design[:64]
        assert (np.abs(best) <= 1 + 1e-9).all()
        assert one.mean(best)[0] >= one.mean(corners).max() - 1e-9


@pytest.mark.parametrize("k", [2, 3, 4])
def test_nothing_on_the_sphere_is_better_than_the_ridge(k):
    rng = np.random.Generator(np.random.PCG64(4))
    around = rng.normal(size=(20000, k))
    around /= np.linalg.norm(around, axis=1)[:, None]
    for one in any_quadratics(k, 20):
        for radius in (0.3, 1.0, 2.0):
            point = best_on_sphere(one, radius, sign=1.0)
            assert np.linalg.norm(point) == pytest.approx(radius, rel=1e-6)
            assert one.mean(point)[0] >= one.mean(radius * around).max() - 1e-9


def test_a_ridge_at_right_angles_to_the_slope_is_followed():
    # y = z1 - 5 z1^2 + z2^2: the steepest axis is z2, along which the slope is 0.
    one = quadratic(2, np.array([0.0, 1.0, 0.0, -5.0, 1.0, 0.0]))
    point = best_on_sphere(one, 1.0, sign=1.0)
    # On the circle y = z1 - 6 z1^2 + 1, largest at z1 = 1/12.
    assert point[0] == pytest.approx(1 / 12, abs=1e-6)
    assert abs(point[1]) == pytest.approx(np.sqrt(1 - 1 / 144), abs=1e-6)


def test_the_ridge_tells_where_it_leaves_what_was_baked():
    region = baked_region(composite(2, alpha=1.0))
    path = ridge(quadratic(2, np.array([0.0, 1.0, 0.0, 0.0, 0.0, 0.0]) + 1e-9), region, 0.95, sign=1.0)
    assert [point.inside for point in path] == [point.distance <= 1 + 1e-9 for point in path]


def test_coefficients_turn_into_the_bakers_units():
    coding = Coding(("soda", "oven"), np.array([1.5, 180.0]), np.array([0.5, 10.0]))
    beta = np.array([40.0, 2.0, -1.0, -3.0, 0.7, 1.1])
    one = Quadratic(coding, beta, None, None, None)
    settings = np.array([[1.2, 171.0], [2.3, 195.0]])
    assert model_rows(settings) @ (real_from_coded(one) @ beta) == pytest.approx(one.mean(coding.coded(settings)))


def truth(z):
    return 40 + 1.0 * z[:, 0] - 0.6 * z[:, 1] - 2.0 * z[:, 0] ** 2 - 1.2 * z[:, 1] ** 2 + 0.8 * z[:, 0] * z[:, 1]


def noisy(z, of=truth, sd=0.3, seed=5):
    return of(z) + np.random.Generator(np.random.PCG64(seed)).normal(0, sd, len(z))


def test_coded_and_real_settings_give_the_same_point(surface_of):
    z = composite(2)
    y = noisy(z)
    coded = part_of(surface_of(z, y))
    real = part_of(surface_of(np.column_stack([1.5 + 0.5 * z[:, 0], 180 + 10 * z[:, 1]]), y, names=["soda", "oven"]))
    grams = part_of(surface_of(np.column_stack([450 + 150 * z[:, 0], 356 + 18 * z[:, 1]]), y, names=["soda", "oven"]))
    back = [(real.stationary["soda"] - 1.5) / 0.5, (real.stationary["oven"] - 180) / 10]
    assert back == pytest.approx(list(coded.stationary.values()), rel=1e-8)
    assert real.eigenvalues == pytest.approx(coded.eigenvalues, rel=1e-8)
    assert grams.eigenvalues == pytest.approx(coded.eigenvalues, rel=1e-8)
    assert grams.stationary["soda"] == pytest.approx(300 * real.stationary["soda"], rel=1e-8)
    for one in (real, grams):
        assert (one.best_response, one.low, one.high) == pytest.approx((coded.best_response, coded.low, coded.high))
        assert one.shape == coded.shape == "maximum"


def test_a_larger_unit_of_the_response_scales_all_of_it(surface_of):
    z = composite(2)
    y = noisy(z)
    one, ten = part_of(surface_of(z, y)), part_of(surface_of(z, 10 * y))
    assert ten.stationary == pytest.approx(one.stationary)
    assert ten.eigenvalues == pytest.approx([10 * value for value in one.eigenvalues])
    assert ten.region["x1"].low == pytest.approx(one.region["x1"].low, abs=1e-5)


def test_goals_turn_the_same_surface_round(surface_of):
    z = composite(2)
    y = noisy(z)
    up = part_of(surface_of(z, y, response={"goal": "maximise"}))
    down = part_of(surface_of(z, -y, response={"goal": "minimise"}))
    assert down.best == pytest.approx(up.best, abs=1e-9)
    assert down.best_response == pytest.approx(-up.best_response)
    assert (down.shape, up.shape) == ("minimum", "maximum")
    met = part_of(surface_of(z, y, response={"goal": "target", "target": 38.0}))
    assert met.best_response == pytest.approx(38.0, abs=1e-6)
    beyond = part_of(surface_of(z, y, response={"goal": "target", "target": 99.0}))
    assert beyond.best == pytest.approx(up.best, abs=1e-9)


@pytest.mark.parametrize(
    ("of", "shape"),
    [
        (lambda z: 40 - 3 * z[:, 0] ** 2 - 2 * z[:, 1] ** 2, "maximum"),
        (lambda z: 40 + 3 * z[:, 0] ** 2 + 2 * z[:, 1] ** 2, "minimum"),
        (lambda z: 40 + 3 * z[:, 0] ** 2 - 2 * z[:, 1] ** 2, "saddle"),
        (lambda z: 40 + 2 * z[:, 1] - 3 * z[:, 0] ** 2, "rising ridge"),
        (lambda z: 40 - 3 * z[:, 0] ** 2, "stationary ridge"),
        (lambda z: 40 + 2 * z[:, 1] + 3 * z[:, 0] ** 2, "rising valley"),
        (lambda z: 40 + 3 * z[:, 0] ** 2, "stationary valley"),
        (lambda z: 40 + 0 * z[:, 0], "flat"),
    ],
)
def test_each_shape_is_called_by_its_name(surface_of, of, shape):
    z = composite(2)
    part = part_of(surface_of(z, noisy(z, of, 0.1, seed=7)))
    assert part.shape == shape


def test_an_optimum_outside_is_not_the_best(surface_of):
    z = composite(2)
    part = part_of(surface_of(z, noisy(z, lambda z: 40 - (z[:, 0] - 3) ** 2 - (z[:, 1] - 1) ** 2, 0.05)))
    assert part.stationary["x1"] == pytest.approx(3, abs=0.3)
    assert part.stationary_inside is False
    assert part.edge
    assert part.best["x1"] <= np.sqrt(2) + 1e-9


def test_a_flat_surface_has_no_region_that_closes(surface_of):
    z = composite(2)
    part = part_of(surface_of(z, noisy(z, lambda z: 40 + 0 * z[:, 0], 1.0, seed=9)))
    assert part.shape == "flat"
    assert part.region_closed is False
    assert "open" in part.reasons["region"]
    assert all(np.isfinite(value) for _, value in numbers(part))


def test_a_direction_without_any_bend_has_no_turning_point(surface_of):
    z = composite(2, alpha=1.0, centre=2)
    part = part_of(surface_of(z, 40 + z[:, 0] - 2 * z[:, 1] ** 2))  # no scatter, and no bend along x1 at all
    assert part.stationary is None
    assert "no bend" in part.reasons["stationary"]
    assert part.reasons["region"] == part.reasons["stationary"]
    assert part.low is None
    assert part.shape is None
    assert part.best == pytest.approx({"x1": 1.0, "x2": 0.0}, abs=1e-9)


def test_fewer_bakes_than_terms_say_why(surface_of):
    z = composite(2)[[0, 1, 4, 8]]
    family = surface_of(z, noisy(z))
    assert part_of(family) is None
    assert "bakes enough to tell" in family.reasons["surface"]


def test_two_levels_of_everything_leave_a_reason(surface_of):
    z = np.repeat(composite(2)[:4], 3, axis=0)
    family = surface_of(z, noisy(z))
    assert part_of(family) is None
    assert "fewer than two amounts" in family.reasons["surface"]


def test_a_surface_that_was_not_asked_for_is_not_given(surface_of):
    z = composite(2)
    family = surface_of(z, noisy(z), asked={"kind": "factors"})
    assert part_of(family) is None
    assert "surface" not in family.reasons


def test_an_amount_at_two_settings_is_held_at_the_better_one(surface_of):
    z = np.vstack([np.column_stack([composite(2), np.full(13, side)]) for side in (-1.0, 1.0)])
    part = part_of(surface_of(z, noisy(z[:, :2]) + 2 * z[:, 2]))
    assert part.amounts == ("x1", "x2")
    assert part.at == {"x3": 1.0}
    assert [level.at for level in part.levels] == [{"x3": -1.0}, {"x3": 1.0}]


def test_what_was_set_by_the_oven_load_is_judged_between_loads(surface_of):
    rng = np.random.Generator(np.random.PCG64(6))
    z = np.array([(a, b) for a in (-1.0, 0.0, 1.0) for _ in range(3) for b in (-1.0, 0.0, 1.0, 0.0)])
    loads = np.repeat([f"load {i}" for i in range(9)], 4)
    y = truth(z) + np.repeat(rng.normal(0, 0.5, 9), 4) + rng.normal(0, 0.1, len(z))
    alone, plots = (surface_of(z, y, asked=asked, beside={"load": loads}) for asked in ({}, {"group": ("load",)}))
    one, other = part_of(alone), part_of(plots)
    assert other.stationary == pytest.approx(one.stationary, rel=1e-6)
    between = next(axis for axis in other.axes if abs(axis.direction["x1"]) > 0.9)
    within = next(axis for axis in other.axes if abs(axis.direction["x2"]) > 0.9)
    assert between.high - between.low > 2 * (within.high - within.low)


@pytest.mark.parametrize("seed", range(40))
def test_whatever_is_baked_no_number_is_broken(surface_of, seed):
    rng = np.random.Generator(np.random.PCG64(seed))
    k, n = int(rng.integers(2, 4)), int(rng.integers(5, 24))
    z = rng.integers(-1, 2, (n, k)).astype(float) * 10.0 ** rng.integers(-3, 4) + rng.choice([0.0, 50.0])
    y = np.round(rng.normal(50, 3, n), int(rng.integers(0, 3))) * 10.0 ** rng.integers(-6, 7)
    goal = [{}, {"goal": "minimise"}, {"goal": "target", "target": 50.0}, {"goal": "maximise", "matters": 1.0}][
        seed % 4
    ]
    try:
        family = surface_of(z, y, response=goal)
    except NotPossible as refused:
        told = [float(len(refused.try_this))]
    else:
        part = part_of(family)
        assert part is not None or family.reasons.get("surface") or family.residual is None
        told = [0.0, *(value for _, value in numbers(part))] if part else [0.0]
    assert all(np.isfinite(value) for value in told)
