"""Does the exchange of single settings find what the exchange of listed treatments finds?"""

from itertools import product

import numpy as np
import pytest

from analysis.designs.optimal import exchange, exchange_coordinates
from analysis.designs.optimal.coordinates import _Space, _Sweep, _Walk
from analysis.designs.optimal.problem import pose
from analysis.errors import PlanError


def surface(settings):
    """Full quadratic of factors at three levels, from level indexes (m, k)."""
    coded = settings - 1.0
    a, b = np.triu_indices(coded.shape[1], 1)
    return np.column_stack([np.ones(len(coded)), coded, coded**2, coded[:, a] * coded[:, b]])


def main_effects(settings):
    return np.column_stack([np.ones(len(settings)), 2.0 * settings - 1])


def listed(levels):
    return np.array(list(product(*(range(count) for count in levels))))


@pytest.mark.parametrize("runs", [7, 9, 14])
@pytest.mark.parametrize("criterion", ["D", "I"])
def test_it_is_as_good_as_the_exchange_of_listed_treatments(runs, criterion):
    terms = surface(listed([3] * 2))
    moments = terms.T @ terms / len(terms)
    listed_best = exchange(terms, runs, criterion=criterion, seed=1)
    found = exchange_coordinates([3] * 2, surface, runs, criterion=criterion, moments=moments, seed=1)
    assert found.rows.shape == (runs, 2)
    assert found.log_det == pytest.approx(np.linalg.slogdet(surface(found.rows).T @ surface(found.rows))[1])
    if criterion == "D":
        assert found.log_det == pytest.approx(listed_best.log_det)
    else:
        assert found.i_value == pytest.approx(listed_best.i_value)


def test_twenty_factors_reach_hadamards_bound_without_a_list_of_a_million_treatments():
    found = exchange_coordinates([2] * 20, main_effects, 24, seed=1, starts=8)
    assert found.d_efficiency > 90  # 100 is Hadamard's bound, which a search this short does not reach for sure
    few = exchange_coordinates([2] * 11, main_effects, 12, seed=1)
    assert few.d_efficiency == pytest.approx(100)


def test_constraints_and_blocks_are_kept():
    def allowed(settings):
        return settings.sum(axis=1) <= 5

    found = exchange_coordinates([3] * 4, surface, 20, allowed=allowed, blocks=(12, 8), seed=2, starts=20)
    assert allowed(found.rows).all()
    treatments = listed([3] * 4)
    best = exchange(surface(treatments[allowed(treatments)]), 20, blocks=(12, 8), seed=2)
    assert best.log_det - 0.1 < found.log_det <= best.log_det + 1e-9


def test_fixed_runs_count_and_the_seed_decides():
    fixed = surface(np.array([[0, 0, 0], [2, 2, 2]]))
    found = exchange_coordinates([3] * 3, surface, 8, fixed=fixed, seed=5, starts=20)
    again = exchange_coordinates([3] * 3, surface, 8, fixed=fixed, seed=5, starts=20)
    whole = np.vstack([fixed, surface(found.rows)])
    assert found.log_det == pytest.approx(np.linalg.slogdet(whole.T @ whole)[1])
    assert found.rows.tolist() == again.rows.tolist()
    assert found.i_value is None


@pytest.mark.parametrize("criterion", ["D", "I"])
def test_the_inverse_stays_that_of_the_runs(criterion):
    generator = np.random.Generator(np.random.PCG64(3))
    space = _Space(levels=(3, 3, 3), allowed=None)
    terms = surface(listed([3] * 3))
    problem = pose(
        terms, 14, criterion=criterion, moments=terms.T @ terms / 27, fixed=None, blocks=(8, 6), fixed_blocks=None
    )
    walk = _Walk(space=space, problem=problem, expand=lambda settings: surface(settings) @ problem.turn)
    chosen = walk.draw(generator, 5)
    before = problem.around.information(walk.terms(chosen)) + 1e-3 * np.eye(11)
    step = _Sweep(walk=walk, chosen=chosen.copy(), inverse=np.linalg.inv(before), moments=problem.scaled_moments)
    assert step.sweep().any()
    after = problem.around.information(walk.terms(step.chosen)) + 1e-3 * np.eye(11)
    np.testing.assert_allclose(step.inverse, np.linalg.inv(after), rtol=1e-6, atol=1e-9)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"levels": []}, "without levels"),
        ({"levels": [3, 0]}, "without levels"),
        ({"runs": 5}, "6 terms need at least 6 runs"),
        ({"criterion": "I"}, "region it is averaged over"),
        ({"allowed": lambda settings: settings.sum(axis=1) > 9}, "next to none"),
        ({"allowed": lambda settings: settings[:, 0] == 0}, "tell only 3 of the model's 6 terms"),
    ],
)
def test_what_cannot_be_asked_is_said(asked, words):
    with pytest.raises(PlanError) as said:
        exchange_coordinates(**{"levels": [3, 3], "expand": surface, "runs": 8, "seed": 1, **asked})
    assert words in said.value.what
    assert said.value.try_this
