"""Does what is kept up to date stay what would be computed afresh?"""

import numpy as np
import pytest

from analysis.designs.optimal.lanes import Across, Field, Lanes
from analysis.designs.optimal.setting import Surroundings, centred_blocks, slices
from analysis.designs.optimal.settle import settle

RANDOM = np.random.Generator(np.random.PCG64(11))
TERMS = RANDOM.normal(size=(40, 5))
AROUND = {
    "plain": Surroundings(blocks=np.zeros((9, 0)), held=np.zeros((5, 5))),
    "held": Surroundings(blocks=np.zeros((9, 0)), held=np.eye(5)),
    "blocks": Surroundings(blocks=centred_blocks([5, 4]), held=np.zeros((6, 6))),
    "whole plots": Surroundings(blocks=np.zeros((9, 0)), held=np.zeros((5, 5)), plots=slices([3, 2, 4]), ratio=2.0),
    "both": Surroundings(blocks=centred_blocks([5, 4]), held=np.zeros((6, 6)), plots=slices([3, 2, 4]), ratio=0.5),
}


def moments_for(size):
    root = RANDOM.normal(size=(size, size))
    return root @ root.T


@pytest.mark.parametrize("name", AROUND)
@pytest.mark.parametrize("criterion", ["D", "I"])
def test_after_a_sweep_the_state_is_that_of_the_runs(name, criterion):
    around = AROUND[name]
    moments = None if criterion == "D" else moments_for(len(around.held))
    field = Field(terms=TERMS, around=around, moments=moments)
    lanes = Lanes(field, RANDOM.integers(0, 40, (7, 9)), np.full(7, 1e-3))
    before = lanes.chosen.copy()
    for at in range(9):
        lanes.improve(at)
    afresh = Lanes(field, lanes.chosen.copy(), np.full(7, 1e-3))
    assert (lanes.chosen != before).any()
    np.testing.assert_allclose(lanes.inverse, afresh.inverse, rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(lanes.spread, afresh.spread, rtol=1e-6, atol=1e-9)
    if criterion == "I":
        np.testing.assert_allclose(lanes.seen, afresh.seen, rtol=1e-6, atol=1e-9)


@pytest.mark.parametrize("name", AROUND)
@pytest.mark.parametrize("criterion", ["D", "I"])
def test_no_single_exchange_improves_a_settled_design(name, criterion):
    """Every place, every candidate, computed from the definition."""
    around = AROUND[name]
    moments = None if criterion == "D" else moments_for(len(around.held))
    field = Field(terms=TERMS, around=around, moments=moments)
    settled, merit = settle(field, RANDOM.integers(0, 40, (4, 9)))

    def worth(chosen):
        held = around.information(TERMS[chosen][None])[0]
        return np.linalg.slogdet(held)[1] if moments is None else -np.log(np.trace(np.linalg.inv(held) @ moments))

    for design, best in zip(settled, merit, strict=True):
        assert worth(design) == pytest.approx(best)
        for at in range(9):
            for candidate in range(40):
                other = design.copy()
                other[at] = candidate
                assert worth(other) <= best + 2e-6


def test_sums_over_candidates_are_the_same_in_small_parts_and_large():
    terms, vectors, matrices = RANDOM.normal(size=(3000, 6)), RANDOM.normal(size=(50, 8)), RANDOM.normal(size=(2, 8, 8))
    np.testing.assert_allclose(Across(terms)(vectors), vectors[:, :6] @ terms.T)
    np.testing.assert_allclose(Across(TERMS)(vectors), vectors[:, :5] @ TERMS.T)
    expected = np.einsum("np,spq,nq->sn", terms, matrices[:, :6, :6], terms)
    np.testing.assert_allclose(Across(terms).squares(matrices), expected, atol=1e-9)
