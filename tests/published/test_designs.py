"""Are the designs those of the books, column for column or property for property?

Plackett & Burman 1946, Biometrika 33:305 (12 runs and their alias matrix, 8 and 16 runs); Box & Tyssedal 1996,
Biometrika 83:950 (what three columns project to); Jones & Nachtsheim 2011, J. Quality Technology 43:1 (definitive
screening); NIST/SEMATECH e-Handbook 5.3.3.6.1 and 5.3.3.6.2, Box & Behnken 1960 (surface designs); Scheffé 1958, 1963
(mixtures). Sources stand in the JSON beside each case; digits there by R 4.2.2.
"""

import json
from collections import Counter
from itertools import combinations
from math import sqrt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.designs.composite import rotatable_distance
from analysis.designs.plan import lay_out
from analysis.designs.requests import DesignFactor, DesignRequest

HERE = Path(__file__).parent


def expected(case):
    return json.loads((HERE / f"{case}.json").read_text())["expected"]


def matrix(case):
    return pd.read_csv(HERE / f"{case}.csv")


def plan(kind, count, **more):
    factors = tuple(DesignFactor(name=f"x{n}", kind="amount", low=-1, high=1) for n in range(1, count + 1))
    return lay_out(DesignRequest(**{"kind": kind, "factors": factors, "seed": 1, "accept_few_df": True, **more}))


def coded(laid):
    runs = sorted(laid.runs, key=lambda run: run.place_in_design)
    return np.array([list(run.coded.values()) for run in runs])


@pytest.mark.parametrize("runs", [8, 12, 16])
def test_plackett_burman_runs_are_the_published_ones_in_their_order(runs):
    case = f"screening_designs/plackett_burman_{runs}"
    laid = plan("plackett-burman", runs - 1, runs=runs)
    assert np.array_equal(coded(laid), matrix(case).to_numpy())
    first = "".join("+" if sign > 0 else "-" for sign in coded(laid)[0])
    assert first == expected(case)["generating_row"]
    assert laid.design.mixed_in.largest == pytest.approx(expected(case)["max_abs_alias_with_2fi"])
    assert laid.design.judgement.d_efficiency == pytest.approx(100, abs=1e-6)  # orthogonal and balanced


def test_plackett_burman_12_is_mixed_as_its_published_alias_matrix_says():
    case = "screening_designs/plackett_burman_12_aliases"
    mixed = plan("plackett-burman", 11, runs=12).design.mixed_in
    published = matrix(f"{case}__alias_times_3").set_index("twofi") / 3
    ours = pd.DataFrame(mixed.share.T, index=mixed.left_out, columns=mixed.terms)
    assert np.abs(ours.loc[published.index, published.columns] - published).to_numpy().max() < 1e-12
    assert ours.shape == published.shape
    assert (ours.abs() > 1e-9).sum().to_dict() == expected(case)["nonzero_per_main"]
    assert np.sign(ours["x1"].round(9)).sum() == expected(case)["sum_signs_x1"]


def test_any_three_columns_of_plackett_burman_12_are_a_whole_cube_and_a_half():
    case = expected("screening_designs/plackett_burman_12_aliases")
    runs = coded(plan("plackett-burman", 11, runs=12))
    projections = list(combinations(range(11), 3))
    assert len(projections) == case["three_column_projections"]
    for three in projections:
        counts = Counter(map(tuple, runs[:, three]))
        assert sorted(counts.values()) == [1, 1, 1, 1, 2, 2, 2, 2]
        twice = [corner for corner, count in counts.items() if count == 2]
        assert len({np.prod(corner) for corner in twice}) == 1  # the repeated ones are a half fraction


def test_definitive_screening_of_six_amounts_has_the_published_properties():
    case = expected("screening_designs/dsd_6")
    laid = plan("definitive screening", 6)
    runs, told = coded(laid), laid.design.properties
    assert len(runs) == case["runs"]
    half = runs[:6]
    assert np.array_equal(half.T @ half, case["conference_gram"] * np.eye(6))
    assert np.array_equal(runs.T @ runs, case["main_gram_diag"] * np.eye(6))
    assert told["main_with_second_order"] == case["main_vs_2fi_max_abs"] == case["main_vs_quadratic_max_abs"]
    assert told["bend_with_bend"] == pytest.approx(case["quadratic_column_correlation"], abs=1e-9)
    assert told["pair_with_pair"] == pytest.approx(case["max_abs_2fi_2fi_correlation"], abs=1e-9)
    assert told["pair_with_bend"] == pytest.approx(case["quad_2fi_max_abs_correlation"], abs=1e-9)
    # Mirrored pairs and the middle, as in the published matrix; that is unique only up to signs and order.
    assert np.array_equal(runs[6:12], -half)
    assert not runs[12].any()
    assert sorted(Counter(map(abs, row))[0] for row in runs) == sorted(
        Counter(map(abs, row))[0] for row in matrix("screening_designs/dsd_6").to_numpy()
    )


def test_star_distances_and_run_counts_are_the_published_ones():
    case = expected("response_surface/design_constants")
    for key, alpha in case["rotatable_alpha"].items():
        count, part = int(key[1]), key[3:]
        laid = plan("central composite", count, **({"resolution": 6} if part == "full" else {}))
        if key == "k5_full":
            assert laid.design.properties["cube_points"] == 32
        assert laid.design.properties["alpha"] == pytest.approx(alpha, rel=1e-9), key
    for key, count in case["runs_ccd_without_centre"].items():
        laid = plan("central composite", int(key[1]))
        assert laid.design.n_runs - laid.design.centre_points == count
    for key, alpha in case["spherical_alpha"].items():
        laid = plan("central composite", int(key[1]), axial=sqrt(int(key[1])))
        outer = coded(laid)[np.abs(coded(laid)).max(axis=1) > 0]
        assert laid.design.properties["alpha"] == pytest.approx(alpha)
        assert np.linalg.norm(outer, axis=1) == pytest.approx(alpha, abs=1e-5)
    for key, count in case["bbd_runs_without_centre"].items():
        laid = plan("box-behnken", int(key[1]))
        assert laid.design.n_runs - laid.design.centre_points == count
    assert rotatable_distance(16) == 2


def test_lattices_and_centroids_have_the_published_numbers_of_blends():
    case = expected("mixture/simplex_design_counts")

    def blends(kind, count, **more):
        shares = tuple(DesignFactor(name=f"x{n}", kind="share", total=1) for n in range(1, count + 1))
        request = DesignRequest(kind=kind, factors=shares, seed=1, accept_few_df=True, **more)
        return len({tuple(run.settings.values()) for run in lay_out(request).runs})

    for key, count in case["lattice"].items():
        assert blends("mixture lattice", int(key[1]), degree=int(key[3])) == count, key
    for key, count in case["centroid"].items():
        assert blends("mixture centroid", int(key[1])) == count, key
