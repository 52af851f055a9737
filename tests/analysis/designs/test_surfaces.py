"""Response-surface designs are rotatable, orthogonal or in orthogonal blocks where they say so."""

import json
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from analysis.designs.composite import BLOCK_CENTRES, even_centres, orthogonal_block_distance, rotatable_distance
from analysis.designs.plan import lay_out
from analysis.designs.requests import DesignFactor, DesignRequest, DesignResponse
from analysis.designs.surfaces import doehlert_shell
from analysis.errors import PlanError

NAMES = ("water", "salt", "sugar", "soda", "powder", "butter", "milk", "yeast", "malt")
RISE = DesignResponse(name="rise", unit="mm", spread=2.0)


def surface(kind, count, **more):
    factors = tuple(DesignFactor(name=name, kind="amount", unit="g", low=3.7, high=9.2) for name in NAMES[:count])
    return DesignRequest(**{"kind": kind, "factors": factors, "seed": 7, "responses": (RISE,), **more})


def coded(plan):
    runs = sorted(plan.runs, key=lambda run: run.place_in_design)
    return np.array([list(run.coded.values()) for run in runs])


def quadratic(points):
    k = points.shape[1]
    seconds = [points[:, a] * points[:, b] for a in range(k) for b in range(a, k)]
    return np.column_stack([np.ones(len(points)), points, *seconds])


def variances(plan, radius, *, directions=200):
    """Variance of a prediction in random directions at one distance, by the whole quadratic model."""
    model = quadratic(coded(plan))
    k = len(plan.design.settings)
    rng = np.random.Generator(np.random.PCG64(3))
    points = rng.normal(size=(directions, k))
    points *= radius / np.linalg.norm(points, axis=1)[:, None]
    asked = quadratic(points)
    return np.einsum("ij,jk,ik->i", asked, np.linalg.inv(model.T @ model), asked)


@pytest.mark.parametrize("count", range(2, 9))
def test_a_rotatable_composite_predicts_as_surely_in_every_direction(count):
    plan = lay_out(surface("central composite", count))
    assert plan.design.properties["rotatable"] is True
    assert plan.design.model == "quadratic"
    assert not plan.design.judgement.cannot_tell
    for radius in (0.5, 1.0, 1.7):
        spread = variances(plan, radius)
        assert spread.max() == pytest.approx(spread.min(), rel=1e-5)  # doses are rounded to 1e-6 of the half range


@pytest.mark.parametrize("kind", ["face", 1.3])
def test_a_composite_at_another_distance_does_not_and_says_so(kind):
    plan = lay_out(surface("central composite", 3, axial=kind))
    assert plan.design.properties["rotatable"] is False
    spread = variances(plan, 1.0)
    assert spread.max() > 1.1 * spread.min()


@pytest.mark.parametrize(
    ("count", "cube", "centres"), [(2, 4, 5), (3, 8, 6), (4, 16, 7), (5, 16, 6), (6, 32, 9), (7, 64, 14)]
)
def test_centre_points_give_the_middle_the_certainty_of_distance_one(count, cube, centres):
    # Numbers of Box & Hunter 1957 for uniform precision (as usually tabulated; from memory).
    assert even_centres(count, cube) == centres
    chosen = surface("central composite", count)

    def gap(number):
        plan = lay_out(replace(chosen, centre_points=number))
        one = np.sqrt((coded(plan)[:, 0] ** 2).mean())
        return abs(variances(plan, one, directions=1)[0] - variances(plan, 0.0, directions=1)[0])

    assert lay_out(chosen).design.centre_points == centres
    assert gap(centres) < min(gap(centres - 1), gap(centres + 1))


@pytest.mark.parametrize("count", [2, 3, 4, 5])
def test_the_orthogonal_distance_makes_bends_independent(count):
    plan = lay_out(surface("central composite", count, axial="orthogonal"))
    assert plan.design.properties["orthogonal"] is True
    squares = coded(plan) ** 2
    correlation = np.corrcoef(squares.T)
    assert np.abs(correlation - np.eye(count)).max() < 1e-5
    assert lay_out(surface("central composite", count)).design.properties["orthogonal"] is False


def block_means(plan):
    """Means of all terms of a quadratic in each block, and over the whole."""
    labels = [run.block for run in sorted(plan.runs, key=lambda run: run.place_in_design)]
    model = quadratic(coded(plan))
    return np.array([model[np.array(labels) == label].mean(axis=0) for label in sorted(set(labels))]), model.mean(
        axis=0
    )


@pytest.mark.parametrize(
    ("count", "size", "sizes"),
    [
        (2, None, [7, 7]),
        (3, None, [8, 12]),
        (3, 8, [6, 6, 8]),
        (4, None, [10, 20]),
        (4, 10, [10, 10, 10]),
        (5, None, [11, 22]),
        (6, 20, [14, 20, 20]),
        (7, 20, [18, 18, 18, 18, 18]),
    ],
)
def test_cube_and_star_stand_in_blocks_that_leave_every_effect_alone(count, size, sizes):
    # Block sizes: Box & Hunter 1957, as in Myers & Montgomery's table (from memory); the condition is computed here.
    plan = lay_out(surface("central composite", count, block="bake day", block_size=size))
    assert sorted(Counter(run.block for run in plan.runs).values()) == sizes
    assert plan.design.properties["orthogonal_blocks"] is True
    of_blocks, whole = block_means(plan)
    assert np.abs(of_blocks - whole).max() < 1e-5
    k = count
    assert plan.design.judgement.df_error == sum(sizes) - (k + 1) * (k + 2) // 2 - (len(sizes) - 1)


@pytest.mark.parametrize(("count", "cube"), BLOCK_CENTRES)
def test_centre_points_of_blocks_keep_the_star_at_the_rotatable_distance(count, cube):
    distance = orthogonal_block_distance(cube, count, *BLOCK_CENTRES[count, cube])
    assert distance == pytest.approx(rotatable_distance(cube), rel=0.03)
    exact = (count, cube) in {(2, 4), (4, 16), (5, 16), (6, 64), (7, 64), (8, 64), (8, 256)}
    assert (abs(distance - rotatable_distance(cube)) < 1e-9) == exact


def test_blocks_that_are_not_orthogonal_are_said_to_be():
    plan = lay_out(surface("central composite", 3, block="bake day", axial="face"))
    assert plan.design.properties["orthogonal_blocks"] is False
    of_blocks, whole = block_means(plan)
    assert np.abs(of_blocks - whole).max() > 0.1
    assert any("passes for a difference between bake days" in words for words in plan.warnings)


def test_replicates_repeat_every_block_or_the_whole_design_in_each():
    parts = lay_out(surface("central composite", 3, block="bake day", replicates=2))
    assert sorted(Counter(run.block for run in parts.runs).values()) == [8, 8, 12, 12]
    assert parts.design.centre_points == 12
    whole = lay_out(surface("central composite", 3, block="bake day", replicates=2, block_size=20))
    assert Counter(run.block for run in whole.runs) == {"1": 20, "2": 20}


def test_star_points_beyond_low_and_high_are_said():
    plan = lay_out(surface("central composite", 2))
    assert plan.design.settings["water"] == (2.560913, 3.7, 6.45, 9.2, 10.339087)
    assert '"water" goes beyond its low and high, from 2.561 to 10.34 g: make sure that these can be baked.' in (
        plan.warnings
    )
    face = lay_out(surface("central composite", 2, axial="face"))
    assert face.design.settings["water"] == (3.7, 6.45, 9.2)
    assert not any("beyond" in words for words in face.warnings)


def test_inside_low_and_high_are_the_outermost_doses_and_the_shape_is_kept():
    plan = lay_out(surface("central composite", 3, inside=True))
    doses = plan.design.settings["water"]
    assert (doses[0], doses[2], doses[-1]) == (3.7, 6.45, 9.2)
    outside = lay_out(surface("central composite", 3))
    assert np.abs(coded(plan) - coded(outside)).max() < 2e-6
    assert not any("beyond" in words for words in plan.warnings)


@pytest.mark.parametrize("low", [0.5, 1e-4, 1000.0, -18.0])
@pytest.mark.parametrize("width", [0.003, 1.0, 77.7])
def test_doses_coded_again_are_where_the_design_wants_them(low, width):
    factors = tuple(DesignFactor(name=name, kind="amount", low=low, high=low + width) for name in NAMES[:4])
    alpha = 2.0
    points = coded(lay_out(replace(surface("central composite", 4), factors=factors)))
    near = np.array([-alpha, -1, 0, 1, alpha])
    assert np.abs(points[:, :, None] - near).min(axis=2).max() < 1e-6


def test_what_is_weighed_is_never_below_nothing():
    low = DesignFactor(name="soda", kind="amount", unit="g", low=0.2, high=3, weighed=True)
    request = surface("central composite", 2)
    request = replace(request, factors=(low, request.factors[1]))
    with pytest.raises(PlanError, match="below nothing") as caught:
        lay_out(request)
    assert 'axial = "face" or inside = true' in caught.value.try_this
    assert min(run.settings["soda"] for run in lay_out(replace(request, inside=True)).runs) == 0.2
    oven = replace(low, name="freezer", unit="°C", weighed=False)
    assert min(lay_out(replace(request, factors=(oven, request.factors[1]))).design.settings["freezer"]) < 0


@pytest.mark.parametrize(
    ("count", "rotatable", "parts"), [(3, False, 1), (4, True, 3), (5, False, 2), (6, False, 2), (7, True, 2)]
)
def test_box_behnken_designs(count, rotatable, parts):
    # Box & Behnken 1960: rotatable for 4 and 7 factors; orthogonal blocks from 4 on.
    plan = lay_out(surface("box-behnken", count))
    points = coded(plan)
    assert set(np.unique(points)) == {-1, 0, 1}
    assert set(np.count_nonzero(points, axis=1)) == {0, 2 if count < 6 else 3}
    assert np.abs(points.sum(axis=0)).max() == 0
    assert not plan.design.judgement.cannot_tell
    assert plan.design.properties["rotatable"] is rotatable
    spread = variances(plan, 1.0)
    assert bool(spread.max() < 1.00001 * spread.min()) is rotatable
    blocked = lay_out(surface("box-behnken", count, block="bake day"))
    assert blocked.design.blocks == parts
    if parts > 1:
        assert blocked.design.properties["orthogonal_blocks"] is True
        of_blocks, whole = block_means(blocked)
        assert np.abs(of_blocks - whole).max() < 1e-9
        assert blocked.design.judgement.df_error == plan.design.judgement.df_error - parts + 1


@pytest.mark.parametrize("count", range(2, 7))
def test_doehlert_points_lie_evenly_on_a_sphere(count):
    # Doehlert 1970: k^2 + k + 1 points, all at distance 1 from the middle and from their nearest neighbours.
    shell = doehlert_shell(count)
    assert len(shell) == count * (count + 1)
    assert np.linalg.norm(shell, axis=1) == pytest.approx(1)
    apart = np.linalg.norm(shell[:, None] - shell, axis=2) + 9 * np.eye(len(shell))
    assert apart.min(axis=1) == pytest.approx(1)
    plan = lay_out(surface("doehlert", count, centre_points=1, accept_few_df=True))
    assert plan.design.n_runs == count**2 + count + 1
    assert not plan.design.judgement.cannot_tell
    doses = [len(doses) for doses in plan.design.settings.values()]
    assert doses == [5, *[7] * (count - 2), 3]
    assert plan.design.properties["doses_of_each"] == ", ".join(map(str, doses))
    assert all((doses[0], doses[-1]) == (3.7, 9.2) for doses in plan.design.settings.values())


def test_two_amounts_make_doehlerts_hexagon():
    # Doehlert 1970, table for two factors.
    expected = {(1, 0), (0.5, 0.866), (0.5, -0.866), (-1, 0), (-0.5, -0.866), (-0.5, 0.866)}
    assert {tuple(np.round(point, 3) + 0.0) for point in doehlert_shell(2)} == expected
    assert lay_out(surface("doehlert", 2)).design.properties["rotatable"] is True


@pytest.mark.parametrize(
    ("kind", "count", "change", "match", "way_out"),
    [
        ("central composite", 1, {}, "2 to 8 amounts", "dose ladder"),
        ("central composite", 9, {}, "2 to 8 amounts", "definitive screening"),
        ("central composite", 3, {"axial": "far"}, '"far"', '"rotatable", "face", "orthogonal"'),
        ("central composite", 3, {"axial": -1.0}, "cannot be baked", "a number from 0.1 to 10"),
        ("central composite", 5, {"resolution": 3}, "resolution 3", "resolution = 5"),
        ("central composite", 3, {"block": "day", "block_size": 6}, "star has 8 runs", "block_size = 8"),
        ("central composite", 3, {"replicates": 2, "centre_points": 5}, "share out", "centre_points = 4"),
        ("box-behnken", 2, {}, "3 to 7 amounts", "central composite"),
        ("box-behnken", 3, {"block": "day", "block_size": 8}, "no orthogonal parts", "block_size = 15"),
        ("box-behnken", 4, {"block": "day", "block_size": 8}, "3 orthogonal blocks hold 9", "block_size = 9"),
        ("box-behnken", 4, {"block": "day", "centre_points": 4}, "evenly", "centre_points = 3"),
        ("doehlert", 7, {}, "2 to 6 amounts", "optimal"),
        ("doehlert", 3, {"centre_points": 0}, "Without centre points", "centre_points = 3"),
        ("box-behnken", 4, {"centre_points": 0}, "Without centre points", "centre_points = 3"),
        ("central composite", 2, {"centre_points": 0}, "Without centre points", "centre_points = 3"),
    ],
)
def test_what_is_not_on_offer_says_what_is(kind, count, change, match, way_out):
    with pytest.raises(PlanError, match=match) as caught:
        lay_out(surface(kind, count, **change))
    assert way_out in caught.value.try_this
    assert caught.value.where


def test_without_centre_points_the_faces_of_a_cube_still_tell_bends():
    plan = lay_out(surface("central composite", 3, axial="face", centre_points=0))
    assert (plan.design.n_runs, plan.design.judgement.df_error) == (14, 4)
    assert not plan.design.judgement.cannot_tell


@pytest.mark.parametrize("kind", ["central composite", "box-behnken", "doehlert"])
@pytest.mark.parametrize("block", [None, "bake day"])
def test_json_tells_what_the_design_promises(kind, block):
    plan = lay_out(surface(kind, 4, block=block))
    told = json.loads(json.dumps(plan.to_json(), allow_nan=False))["design"]
    assert told["model"] == "quadratic"
    assert {"rotatable", "orthogonal"} <= set(told["properties"])
    assert told["strata"][-1]["df_error"] == told["df_error"] == plan.design.n_runs - 15 - (told["blocks"] - 1)
    assert sum(1 for run in plan.runs if not any(run.coded.values())) == told["centre_points"]


@pytest.mark.parametrize("kind", ["central composite", "box-behnken", "doehlert"])
def test_a_category_is_refused_by_name(kind):
    request = surface(kind, 3)
    acid = DesignFactor(name="acid", kind="category", levels=("yogurt", "lemon juice"))
    with pytest.raises(PlanError, match='"acid" is a category') as caught:
        lay_out(replace(request, factors=(*request.factors, acid)))
    assert "optimal" in caught.value.try_this
