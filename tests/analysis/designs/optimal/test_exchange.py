"""Does the exchange find what is known to be best, and does it say when nothing can be found?"""

import os
import subprocess
import sys
from itertools import combinations, combinations_with_replacement, product

import numpy as np
import pytest

from analysis.designs.optimal import exchange
from analysis.designs.optimal.problem import require_told
from analysis.errors import PlanError


def two_level(factors, *, interactions=False):
    grid = np.array(list(product([-1.0, 1.0], repeat=factors)))
    pairs = [grid[:, a] * grid[:, b] for a, b in combinations(range(factors), 2)] if interactions else []
    return np.column_stack([np.ones(len(grid)), grid, *pairs])


def quadratic(points):
    points = np.asarray(points, dtype=float)
    k = points.shape[1]
    pairs = [points[:, a] * points[:, b] for a, b in combinations(range(k), 2)]
    return np.column_stack([np.ones(len(points)), points, points**2, *pairs])


def grid(levels, factors):
    return np.array(list(product(levels, repeat=factors)), dtype=float)


def centroid_blends(most):
    """Blends of three parts: pure, halves and, with ``most`` = 3, the thirds."""
    return np.array(
        [
            [1.0 / k if i in mix else 0.0 for i in range(3)]
            for k in range(1, most + 1)
            for mix in combinations(range(3), k)
        ]
    )


def log_det(rows):
    sign, value = np.linalg.slogdet(rows.T @ rows)
    return value if sign > 0 else -np.inf


def average_variance(rows, moments):
    return np.trace(np.linalg.inv(rows.T @ rows) @ moments) if log_det(rows) > -15 else np.inf


@pytest.mark.parametrize(("factors", "runs"), [(3, 4), (7, 8), (5, 8), (11, 12), (7, 12), (5, 20)])
def test_main_effects_reach_hadamards_bound(factors, runs):
    # Hadamard 1893: |X'X| <= n^p for entries within -1 and 1, reached where a Hadamard matrix of order n exists.
    found = exchange(two_level(factors), runs, seed=1, starts=200)
    assert found.d_efficiency == pytest.approx(100, abs=1e-9)
    assert found.log_det == pytest.approx((factors + 1) * np.log(runs))


def test_24_runs_for_all_interactions_of_six_factors():
    # 91.71 %: oapackage 2.7.21, a compiled exchange for two-level designs, 100 restarts.
    assert exchange(two_level(6, interactions=True), 24, seed=1).d_efficiency == pytest.approx(91.71, abs=0.005)


def test_a_quadratic_dose_is_baked_at_both_ends_and_the_middle():
    # Equal weights at -1, 0, 1: Smith 1918, Biometrika 12, 1; Fedorov 1972, table 2.1 (cited from memory).
    doses = np.linspace(-1, 1, 41)
    found = exchange(np.column_stack([np.ones(41), doses, doses**2]), 9, seed=1)
    assert doses[found.rows].tolist() == pytest.approx([-1] * 3 + [0] * 3 + [1] * 3)


def test_a_cubic_dose_is_baked_at_the_roots_of_legendres_polynomial():
    # -1, -1/sqrt 5, 1/sqrt 5, 1: Guest 1958, Annals of Mathematical Statistics 29, 294 (cited from memory).
    doses = np.sort(np.append(np.linspace(-1, 1, 41), [-(5**-0.5), 5**-0.5]))
    found = exchange(np.vander(doses, 4, increasing=True), 8, seed=1)
    assert doses[found.rows].tolist() == pytest.approx(np.repeat([-1, -(5**-0.5), 5**-0.5, 1], 2).tolist())


def test_six_runs_for_a_surface_of_two_factors():
    # Box and Draper 1971, Technometrics 13, 731 (cited from memory): with a = (4 - sqrt 13)/3 the best six
    # points of the square are (-1,-1) (1,-1) (-1,1) (-a,-a) (1,3a) (3a,1), up to its symmetries.
    a = (4 - 13**0.5) / 3
    best = log_det(quadratic([[-1, -1], [1, -1], [-1, 1], [-a, -a], [1, 3 * a], [3 * a, 1]]))
    candidates = quadratic(grid(np.linspace(-1, 1, 41), 2))
    found = exchange(candidates, 6, seed=1, starts=200)
    assert best - 0.02 < found.log_det <= best


def test_nine_runs_for_a_surface_of_two_factors_are_the_whole_grid():
    # Box and Draper 1971 (cited from memory): with nine runs the 3 by 3 factorial is D-optimal.
    points = grid(np.linspace(-1, 1, 21), 2)
    found = exchange(quadratic(points), 9, seed=1)
    assert points[found.rows].tolist() == pytest.approx(grid([-1, 0, 1], 2))


@pytest.mark.parametrize(("most", "cubic"), [(2, False), (3, True)])
def test_blends_of_three_parts_are_the_lattice_and_the_centroid(most, cubic):
    # {3,2} lattice for the quadratic: Kiefer 1961; centroid design for the special cubic: Uranisi 1964 (from memory).
    steps = np.array([(i, j, 12 - i - j) for i in range(13) for j in range(13 - i)]) / 12
    terms = [steps, *(steps[:, [a]] * steps[:, [b]] for a, b in combinations(range(3), 2))]
    terms += [steps.prod(axis=1, keepdims=True)] if cubic else []
    expected = centroid_blends(most)
    found = exchange(np.hstack(terms), len(expected), seed=1)
    assert np.sort(steps[found.rows], axis=0).tolist() == pytest.approx(np.sort(expected, axis=0))
    assert {tuple(np.round(row, 6)) for row in steps[found.rows]} == {tuple(np.round(row, 6)) for row in expected}


def test_the_average_variance_of_a_dose_wants_half_the_bakes_in_the_middle():
    # 1/4, 1/2, 1/4 at -1, 0, 1: Atkinson, Donev and Tobias 2007, Optimum Experimental Designs (from memory).
    doses = np.linspace(-1, 1, 41)
    terms = np.column_stack([np.ones(41), doses, doses**2])
    moments = np.array([[1, 0, 1 / 3], [0, 1 / 3, 0], [1 / 3, 0, 1 / 5]])  # averages of powers over -1 … 1
    found = exchange(terms, 8, criterion="I", moments=moments, seed=1)
    assert doses[found.rows].tolist() == pytest.approx([-1] * 2 + [0] * 4 + [1] * 2)
    assert found.i_value == pytest.approx(np.trace(np.linalg.inv(terms[found.rows].T @ terms[found.rows]) @ moments))


@pytest.mark.parametrize("criterion", ["D", "I"])
@pytest.mark.parametrize("seed", range(4))
def test_no_set_of_runs_is_better_than_the_one_found(criterion, seed):
    """Against every multiset of seven out of ten random candidates, with two fixed runs for odd seeds."""
    generator = np.random.Generator(np.random.PCG64(seed))
    candidates = np.column_stack([np.ones(10), generator.normal(size=(10, 3))])
    fixed = generator.normal(size=(2, 4)) if seed % 2 else np.zeros((0, 4))
    moments = candidates.T @ candidates / 10
    found = exchange(candidates, 7, criterion=criterion, fixed=fixed, seed=seed, starts=60)
    every = [np.vstack([candidates[list(rows)], fixed]) for rows in combinations_with_replacement(range(10), 7)]
    ours = np.vstack([candidates[found.rows], fixed])
    assert found.log_det == pytest.approx(log_det(ours))
    assert found.i_value == pytest.approx(average_variance(ours, moments))
    assert found.d_efficiency == pytest.approx(100 * np.exp(log_det(ours) / 4) / len(ours))
    if criterion == "D":
        assert found.log_det == pytest.approx(max(map(log_det, every)))
    else:
        assert found.i_value == pytest.approx(min(average_variance(rows, moments) for rows in every))


@pytest.mark.parametrize("criterion", ["D", "I"])
@pytest.mark.parametrize("sizes", [(3, 3), (4, 2), (2, 2, 2)])
def test_no_two_sets_of_runs_are_better_in_blocks(criterion, sizes):
    """Against every way to fill the blocks from six candidates."""
    generator = np.random.Generator(np.random.PCG64(len(sizes)))
    candidates = np.column_stack([np.ones(6), generator.normal(size=(6, 2))])
    moments = candidates.T @ candidates / 6
    labels = np.repeat(np.arange(len(sizes)), sizes)
    dummies = (labels[:, None] == np.arange(1, len(sizes))).astype(float)
    dummies -= dummies.mean(axis=0)
    padded = np.zeros((3 + dummies.shape[1],) * 2)
    padded[:3, :3] = moments
    fillings = product(*(combinations_with_replacement(range(6), size) for size in sizes))
    every = [np.hstack([candidates[np.concatenate(rows)], dummies]) for rows in fillings]
    found = exchange(candidates, sum(sizes), criterion=criterion, blocks=sizes, seed=3, starts=80)
    if criterion == "D":
        # The block columns are others than the engine's: the determinants differ by a factor that is the same for all.
        ours = log_det(np.hstack([candidates[found.rows], dummies]))
        assert ours == pytest.approx(max(map(log_det, every)))
    else:
        assert found.i_value == pytest.approx(min(average_variance(rows, padded) for rows in every))


@pytest.mark.parametrize("sizes", [(8, 8, 8), (12, 12), (6, 6, 6, 6)])
def test_blocks_of_even_size_cost_a_two_level_design_nothing(sizes):
    found = exchange(two_level(5), 24, blocks=sizes, seed=2)
    assert found.d_efficiency == pytest.approx(100)
    terms = two_level(5)[found.rows]
    for at, size in zip(np.cumsum(sizes) - sizes, sizes, strict=True):
        assert terms[at : at + size, 1:].sum(axis=0).tolist() == [0] * 5


def test_further_runs_keep_those_baked_and_may_stand_in_a_session_of_their_own():
    terms = two_level(4, interactions=True)
    fixed = terms[exchange(two_level(4), 8, seed=1).rows]
    found = exchange(terms, 8, fixed=fixed, blocks=(8,), seed=1)
    session = np.r_[-np.ones(8), np.ones(8)]
    whole = np.column_stack([np.vstack([fixed, terms[found.rows]]), session])
    random = np.random.Generator(np.random.PCG64(1)).integers(0, 16, (2000, 8))
    tried = [log_det(np.column_stack([np.vstack([fixed, terms[rows]]), session])) for rows in random]
    assert log_det(whole) > max(tried)
    assert log_det(whole) == pytest.approx(found.log_det + 2 * np.log(2))  # session coded -1/2 and 1/2 in the engine


def test_more_starts_are_never_worse_and_the_same_seed_gives_the_same_design():
    terms = quadratic(grid([-1, 0, 1], 3))
    few, many = exchange(terms, 12, seed=4, starts=1), exchange(terms, 12, seed=4, starts=200)
    again = exchange(terms, 12, seed=4, starts=200)
    assert many.log_det >= few.log_det - 1e-9
    assert many.rows.tolist() == again.rows.tolist() == sorted(many.rows.tolist())
    assert few.starts_used == 1
    assert 1 <= many.reached <= many.starts_used <= 200


def test_the_design_is_the_same_with_other_kernels_of_the_matrix_library():
    script = (
        "import numpy as np, itertools; from analysis.designs.optimal import exchange;"
        "g = np.array(list(itertools.product([-1.0, 0, 1], repeat=3)));"
        "x = np.column_stack([np.ones(27), g, g**2, g[:, 0] * g[:, 1], g[:, 0] * g[:, 2], g[:, 1] * g[:, 2]]);"
        "print(*(exchange(x, 14, seed=9, starts=40, criterion=c).rows.tolist() for c in 'DI'))"
    )
    said = {
        subprocess.run(
            [sys.executable, "-c", script],
            env={**os.environ, "OPENBLAS_CORETYPE": kernel},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for kernel in ("Prescott", "Haswell", "")
    }
    assert len(said) == 1


def test_terms_on_very_different_scales_change_nothing():
    terms = quadratic(grid([-1, 0, 1], 2))
    scale = np.array([1, 1e-6, 1e5, 1e3, 1, 1e-4])
    plain, scaled = exchange(terms, 8, seed=1), exchange(terms * scale, 8, seed=1)
    assert scaled.rows.tolist() == plain.rows.tolist()
    assert scaled.log_det == pytest.approx(plain.log_det + 2 * np.log(scale).sum())


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"runs": 27}, "28 terms need at least 28 runs; 27 are asked for."),
        ({"runs": 29, "blocks": (10, 10, 9)}, "28 terms and 2 differences between blocks need at least 30"),
        ({"runs": 10, "fixed": np.ones((3, 28))}, "10 are asked for beside the 3 already baked"),
        ({"runs": 0}, "0 runs cannot"),
        ({"runs": 40, "blocks": (20, 19)}, "do not add up to 40 runs"),
        ({"runs": 40, "starts": 0}, "0 starts"),
        ({"runs": 40, "seed": -1}, "seed -1"),
        ({"runs": 40, "criterion": "Q"}, '"Q" is no criterion'),
        ({"runs": 40, "moments": np.eye(3)}, "28 by 28 are wanted"),
        ({"runs": 40, "fixed": np.ones((3, 5))}, "28 terms are wanted"),
        ({"runs": 40, "fixed": np.full((3, 28), np.nan)}, "not finite"),
    ],
)
def test_what_cannot_be_asked_is_said(asked, words):
    terms = quadratic(grid([-1, 0, 1], 6))
    with pytest.raises(PlanError) as said:
        exchange(terms, **{"seed": 1, **asked})
    assert words in said.value.what
    assert said.value.try_this


@pytest.mark.parametrize("candidates", [np.ones((6, 2)), np.zeros((4, 2)), np.array([[1.0, 2, 3]] * 2)])
def test_candidates_that_cannot_tell_the_terms_are_refused(candidates):
    with pytest.raises(PlanError, match="tell only"):
        exchange(candidates, 8, seed=1)


def test_no_candidates_and_no_design_are_said():
    with pytest.raises(PlanError, match="nothing that may be baked"):
        exchange(np.zeros((0, 2)), 8, seed=1)
    with pytest.raises(PlanError, match="No design was found"):
        require_told(-np.inf)


def test_fixed_runs_may_tell_what_the_candidates_cannot():
    found = exchange(np.array([[1.0, -1]]), 2, fixed=np.array([[1.0, 1]]), seed=1)
    assert found.rows.tolist() == [0, 0]
    assert found.log_det == pytest.approx(np.log(8))
