"""Blends add up to the whole, keep their bounds, and are as many as the books say."""

from collections import Counter
from dataclasses import replace
from itertools import combinations
from math import comb

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from analysis.designs.mixtures import blend_points
from analysis.designs.plan import lay_out
from analysis.designs.polytope import polytope
from analysis.designs.requests import DesignFactor, DesignRequest, DesignResponse
from analysis.errors import PlanError

NAMES = ("wheat", "rye", "oat", "spelt", "rice", "corn")
RISE = DesignResponse(name="rise", unit="mm", spread=2.0, matters=6.0)
OVEN = DesignFactor(name="oven", kind="amount", unit="°C", low=180, high=220)
FREE = (None, None)


def blends(kind, bounds, *more_factors, unit="%", total=None, **more):
    shares = tuple(
        DesignFactor(name=name, kind="share", of="flour", unit=unit, total=total, low=low, high=high)
        for name, (low, high) in zip(NAMES, bounds, strict=False)
    )
    return DesignRequest(**{"kind": kind, "factors": (*shares, *more_factors), "seed": 7, "responses": (RISE,), **more})


def settings(plan):
    """Runs in standard order, shares only (n, q)."""
    runs = sorted(plan.runs, key=lambda run: run.place_in_design)
    return np.array([[value for name, value in run.settings.items() if name in NAMES] for run in runs])


def rank(plan, degree):
    parts = settings(plan) / 100
    q = parts.shape[1]
    columns = [
        parts[:, list(chosen)].prod(axis=1) for k in range(1, degree + 1) for chosen in combinations(range(q), k)
    ]
    return np.linalg.matrix_rank(np.column_stack(columns))


@pytest.mark.parametrize("q", [2, 3, 4, 5])
@pytest.mark.parametrize("degree", [1, 2, 3, 4])
def test_a_lattice_holds_every_blend_of_even_steps_once(q, degree):
    # Scheffé 1958: (q + m - 1 choose m) points.
    plan = lay_out(blends("mixture lattice", [FREE] * q, degree=degree, accept_few_df=True))
    points = settings(plan)
    assert len(points) == len({tuple(point) for point in points}) == comb(q + degree - 1, degree)
    steps = points * degree / 100
    assert np.abs(steps - steps.round()).max() < 1e-8
    assert points.sum(axis=1) == pytest.approx(100, abs=1e-6)
    model = {1: "mixture linear", 2: "mixture quadratic"}.get(degree, "mixture special cubic")
    assert plan.design.model == model
    spare = len(points) - rank(plan, min(degree, 3))
    if spare or degree == 1:
        assert not plan.design.judgement.cannot_tell
        assert plan.design.judgement.df_error == spare
    else:  # every blend baked once and a term for each: blends of two are given up for an error
        assert len(plan.design.judgement.cannot_tell) == comb(q, 2)
        assert plan.design.judgement.df_error == comb(q, 2)


def test_lows_shrink_the_lattice_into_its_corner():
    # Pseudo-components (Kurotori 1966): x = low + (whole - sum of lows) z.
    plan = lay_out(blends("mixture lattice", [(20, None), FREE, (10, None)], replicates=2))
    assert {tuple(point) for point in settings(plan)} == {
        (90, 0, 10),
        (55, 35, 10),
        (55, 0, 45),
        (20, 70, 10),
        (20, 35, 45),
        (20, 0, 80),
    }
    pure = next(run for run in plan.runs if run.settings["wheat"] == 90)
    assert pure.coded == {"wheat": 0.9, "rye": 0.0, "oat": 0.1}  # the part of the whole, not of what is free


@pytest.mark.parametrize("q", [2, 3, 4, 5, 6])
def test_a_centroid_blends_any_number_of_shares_evenly(q):
    # Scheffé 1963: 2^q - 1 points.
    plan = lay_out(blends("mixture centroid", [FREE] * q, unit="", accept_few_df=True))
    points = settings(plan)
    assert len(points) == 2**q - 1
    for size in range(1, q + 1):
        even = points[np.count_nonzero(points, axis=1) == size]
        assert len(even) == comb(q, size)
        assert even[even > 0] == pytest.approx(1 / size, abs=1e-8)
    assert plan.design.model == "mixture quadratic"


def test_degree_three_asks_for_blends_of_three():
    plan = lay_out(blends("mixture centroid", [FREE] * 3, degree=3, replicates=2))
    assert plan.design.model == "mixture special cubic"
    assert plan.design.judgement.df_error == 7
    assert "wheat:rye:oat" in plan.design.judgement.terms


def test_centre_points_repeat_the_even_blend_of_all():
    plan = lay_out(blends("mixture centroid", [FREE] * 3, centre_points=2))
    assert Counter(map(tuple, settings(plan)))[(33.3333333, 33.3333333, 33.3333333)] == 3
    assert (plan.design.centre_points, plan.design.judgement.df_error) == (2, 3)
    shifted = lay_out(blends("mixture lattice", [(40, None), FREE, FREE], centre_points=3))
    assert Counter(map(tuple, settings(shifted)))[(60, 20, 20)] == 3


@pytest.mark.parametrize("total", [1.0, 3.0, 100.0, 1250.0])
def test_shares_add_up_to_their_whole(total):
    for kind, bounds in (("mixture centroid", [FREE] * 6), ("constrained mixture", [(0, total / 3)] * 5)):
        points = settings(lay_out(blends(kind, bounds, total=total, accept_few_df=True)))
        assert np.abs(points.sum(axis=1) / total - 1).max() < 1e-8


def test_what_stands_beside_the_blend_is_crossed_with_it():
    acid = DesignFactor(name="acid", kind="category", levels=("yogurt", "lemon juice", "vinegar"))
    plan = lay_out(blends("mixture lattice", [FREE] * 3, OVEN, acid))
    assert plan.design.n_runs == 6 * 2 * 3
    assert {run.settings["oven"] for run in plan.runs} == {180, 220}
    assert set(Counter((run.settings["oven"], run.settings["acid"]) for run in plan.runs).values()) == {6}
    assert list(plan.runs[0].settings) == ["wheat", "rye", "oat", "oven", "acid"]
    assert {"oven", "acid", "wheat:rye"} <= set(plan.design.judgement.terms)
    with pytest.raises(PlanError, match='at which "oven"'):
        lay_out(blends("mixture lattice", [FREE] * 3, OVEN, centre_points=2))


def test_whole_sets_of_blends_stand_in_each_block():
    plan = lay_out(blends("mixture lattice", [FREE] * 3, replicates=3, block="bake day"))
    for day in ("1", "2", "3"):
        assert len({tuple(run.settings.values()) for run in plan.runs if run.block == day}) == 6
    assert plan.design.judgement.df_error == 18 - 6 - 2


FLARE = [(0.40, 0.60), (0.10, 0.50), (0.10, 0.50), (0.03, 0.08)]


def test_the_flare_of_mclean_and_anderson():
    # McLean & Anderson 1966, Technometrics 8:447: eight extreme vertices, six centroids of faces, the overall
    # centroid; limits and points from memory of the paper, corners also checked by hand.
    request = blends("constrained mixture", FLARE, unit="", degree=1)
    points = settings(lay_out(request))
    corners = {
        *((0.4, 0.1, 0.47, 0.03), (0.4, 0.1, 0.42, 0.08), (0.6, 0.1, 0.27, 0.03), (0.6, 0.1, 0.22, 0.08)),
        *((0.4, 0.47, 0.1, 0.03), (0.4, 0.42, 0.1, 0.08), (0.6, 0.27, 0.1, 0.03), (0.6, 0.22, 0.1, 0.08)),
    }
    assert {tuple(point) for point in points} == corners | {(0.5, 0.2225, 0.2225, 0.055)}
    faces = {
        *((0.4, 0.2725, 0.2725, 0.055), (0.6, 0.1725, 0.1725, 0.055), (0.5, 0.1, 0.345, 0.055)),
        *((0.5, 0.345, 0.1, 0.055), (0.5, 0.235, 0.235, 0.03), (0.5, 0.21, 0.21, 0.08)),
    }
    bent = lay_out(replace(request, degree=2))
    whole = {tuple(point) for point in settings(bent)}
    assert corners | faces <= whole
    assert (len(whole), bent.design.properties["corners"]) == (8 + 12 + 6 + 1, 8)
    assert not bent.design.judgement.cannot_tell


def test_three_shares_cut_on_all_sides_by_hand():
    # 0.1 to 0.7, 0 to 0.7, 0.1 to 0.6 of a whole, worked by hand: a hexagon.
    plan = lay_out(blends("constrained mixture", [(10, 70), (0, 70), (10, 60)], degree=1))
    corners = {(20, 70, 10), (70, 20, 10), (10, 30, 60), (40, 0, 60), (10, 70, 20), (70, 0, 30)}
    middle = tuple(np.round(np.mean(list(corners), axis=0), 7))
    assert {tuple(point) for point in settings(plan)} == corners | {middle}


def test_constraints_cut_further_corners():
    asked = blends(
        "constrained mixture", [FREE] * 3, degree=1, constraints=("wheat + rye <= 70", "oat <= 2 * wheat"), replicates=2
    )
    points = {tuple(np.round(point, 4)) for point in settings(lay_out(asked))}
    # by hand: oat >= 30 with rye = 0: wheat 70; oat = 2 wheat with rye = 0; oat = 30 = 2 wheat with rye 55
    corners = {(70, 0, 30), (33.3333, 0, 66.6667), (15, 55, 30)}
    assert points == corners | {tuple(np.round(np.mean(list(corners), axis=0), 4))}


def test_a_bound_that_the_others_keep_out_of_reach_is_said():
    plan = lay_out(blends("constrained mixture", [(40, None), (0, 30), (0, 20)], replicates=2))
    assert (
        'No blend comes to the low of "wheat" (40): 50 is the nearest, because of the bounds of the others.'
        in plan.warnings
    )
    tight = lay_out(blends("constrained mixture", [(50, None), (0, 30), (0, 20)], replicates=2))
    assert not any("No blend comes" in words for words in tight.warnings)


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("q", [3, 4, 5])
def test_corners_edges_and_faces_of_random_regions(seed, q):
    """Every blend found is allowed, the hull of the corners needs them all, and Euler's relation holds."""
    rng = np.random.Generator(np.random.PCG64(100 * q + seed))
    low = rng.uniform(0, 0.6 / q, q).round(3)
    high = (low + rng.uniform(0.3, 0.6, q)).round(3)
    cut = rng.normal(size=q).round(3)
    middle = low + (1 - low.sum()) * (high - low) / (high - low).sum()
    normals = np.vstack([np.eye(q), -np.eye(q), cut])
    bounds = np.concatenate([high, -low, [cut @ middle + 0.01]])
    region = polytope(normals, bounds)
    assert region.dimension == q - 1
    for points in (region.corners, region.middles(1), region.face_middles(), region.middle()):
        assert np.abs(points.sum(axis=1) - 1).max() < 1e-8
        assert (points @ normals.T <= bounds + 1e-8).all()
    hull = ConvexHull(region.corners[:, :-1])  # an independent engine (qhull)
    assert len(hull.vertices) == len(region.corners)
    planes: list[np.ndarray] = []  # qhull gives triangles; those of one face lie in one plane
    for plane in hull.equations:
        if not any(np.allclose(plane, other, atol=1e-4) for other in planes):
            planes.append(plane)
    faces = len(planes)
    assert len(region.face_middles()) == faces
    corners, edges = len(region.corners), len(region.middles(1))
    if q == 3:
        assert corners == edges
    elif q == 4:
        assert corners - edges + faces == 2
    else:
        assert corners - edges + len(region.middles(2)) - faces == 0


def test_a_few_of_many_blends_are_chosen_for_the_model():
    whole = lay_out(blends("constrained mixture", [(5, 40)] * 5))
    few = lay_out(blends("constrained mixture", [(5, 40)] * 5, runs=20))
    assert (whole.design.n_runs, few.design.n_runs) == (101, 20)
    assert few.design.judgement.df_error == 20 - 15
    allowed = {tuple(point) for point in settings(whole)}
    assert {tuple(point) for point in settings(few)} <= allowed
    rng = np.random.Generator(np.random.PCG64(1))
    best = few.design.judgement.d_efficiency
    parts = np.array(sorted(allowed)) / 100
    pairs = [parts[:, a] * parts[:, b] for a, b in combinations(range(5), 2)]
    model = np.column_stack([parts, *pairs])
    for _ in range(300):  # no random choice of as many comes near
        x = model[rng.choice(len(model), 20, replace=False)]
        sign, log = np.linalg.slogdet(x.T @ x / 20)
        assert sign <= 0 or 100 * np.exp(log / 15) < best


def test_points_for_a_search_keep_bounds_and_leave_other_constraints_to_it():
    asked = blends("optimal", [(5, 60)] * 3, OVEN, constraints=("wheat <= 30", "oven < 200 or rye > 20"))
    points = blend_points(asked)
    assert {tuple(point) for point in points} == {("wheat", "rye", "oat")}
    assert all(point["wheat"] <= 30 and sum(point.values()) == pytest.approx(100) for point in points)
    assert len({tuple(point.values()) for point in points}) == len(points)
    assert blend_points(replace(asked, factors=(OVEN,))) == ()


@pytest.mark.parametrize(
    ("kind", "bounds", "change", "match", "way_out"),
    [
        ("mixture lattice", [FREE], {}, "at least two shares", "what is left over"),
        ("mixture lattice", [FREE] * 3, {"degree": 11}, "degree 11", "degree = 2"),
        ("mixture lattice", [FREE] * 3, {"degree": -1}, "degree -1", "degree = 2"),
        ("mixture lattice", [FREE] * 6, {"degree": 9}, "at most 865", "lower degree"),
        ("mixture lattice", [(20, 50), FREE, FREE], {}, r'high of "wheat" \(50\) cuts off', "constrained mixture"),
        ("mixture centroid", [(0, 50), FREE, FREE], {}, "it could be 100", "constrained mixture"),
        ("mixture centroid", [FREE] * 3, {"degree": 4}, "1, 2 or 3, not 4", "degree = 3"),
        ("constrained mixture", [FREE] * 3, {"degree": 4}, "1, 2 or 3, not 4", "degree = 2"),
        ("constrained mixture", [(60, None), (50, None), FREE], {}, r"lows 60 \(wheat\) \+ 50 \(rye\)", "lower a low"),
        ("constrained mixture", [(0, 20), (0, 30), (0, 40)], {}, r"highs 20 \(wheat\) \+ 30", "raise a high"),
        ("constrained mixture", [(50, 20), FREE, FREE], {}, '"wheat" has no room', "low below the high"),
        ("constrained mixture", [(-5, 20), FREE, FREE], {}, "-5 is no share of 100", "from 0 to 100"),
        ("constrained mixture", [(0, 120), FREE, FREE], {}, "120 is no share", "from 0 to 100"),
        (
            "constrained mixture",
            [FREE] * 3,
            {"constraints": ("wheat + rye <= 70", "wheat + rye >= 80")},
            '"wheat \\+ rye <= 70" and "wheat \\+ rye >= 80" leave no room',
            "looser",
        ),
        (
            "constrained mixture",
            [FREE] * 3,
            {"constraints": ("rye <= 50", "wheat + rye + oat <= 70")},
            '"wheat \\+ rye \\+ oat <= 70" leaves no room',
            "looser",
        ),
        ("constrained mixture", [FREE] * 3, {"constraints": ("wheat * rye <= 9",)}, "no single bound", "optimal"),
        ("constrained mixture", [FREE] * 3, {"runs": 4}, "4", "runs"),
    ],
)
def test_what_cannot_be_blended_says_why(kind, bounds, change, match, way_out):
    with pytest.raises(PlanError, match=match) as caught:
        lay_out(blends(kind, bounds, **change))
    assert way_out in caught.value.try_this
    assert caught.value.where


def test_shares_of_two_wholes_are_refused():
    request = blends("mixture lattice", [FREE] * 3)
    other = replace(request.factors[0], name="soda", of="leavener")
    with pytest.raises(PlanError, match='"soda" and "wheat" are shares of different wholes'):
        lay_out(replace(request, factors=(*request.factors, other)))
    with pytest.raises(PlanError, match='"soda" is a share of 50, "wheat" of 100'):
        lay_out(replace(request, factors=(*request.factors, replace(other, of="flour", total=50))))


def test_too_few_blends_to_judge_the_error_are_not_judged_by_small_effects():
    with pytest.raises(PlanError, match="6 runs leave 0 degrees of freedom") as caught:
        lay_out(blends("mixture lattice", [FREE] * 3))
    assert "Lenth" not in str(caught.value)
    assert "replicates = 2" in caught.value.try_this
