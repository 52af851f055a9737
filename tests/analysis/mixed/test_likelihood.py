"""Sums by group give what n x n matrices give: value and both derivatives, nested, crossed, sloped, weighted."""

import numpy as np
import pytest

from analysis.mixed.likelihood import SumJets
from analysis.mixed.parameters import Layout
from analysis.mixed.preparing import prepare
from analysis.mixed.terms import RandomTerm

STRUCTURES = [
    "one", "many", "nested", "nested, both many", "deep", "crossed", "nested and crossed", "slope", "slope and plot",
    "slope crossed",
]  # fmt: skip


def positive(layout, rng):
    theta = rng.uniform(0.1, 1.5, layout.size)
    return layout.gamma(theta)


def close(ours, theirs):
    scale = max(1.0, float(np.abs(theirs).max()))
    np.testing.assert_allclose(ours, theirs, rtol=1e-8, atol=1e-9 * scale)


@pytest.mark.parametrize("weighted", [False, True], ids=["plain", "weighted"])
@pytest.mark.parametrize("structure", STRUCTURES)
def test_every_piece_equals_the_dense_one(structure, weighted, dense, groups):
    rng = np.random.default_rng(sum(map(ord, structure)) + weighted)
    terms, n = groups(structure, rng)
    x = np.column_stack([np.ones(n), rng.normal(size=n), rng.integers(0, 2, n)])
    weights = rng.integers(1, 5, n) * 0.7 if weighted else None
    ready = prepare(rng.normal(size=n) + 5, x, terms, weights)
    oracle = dense(np.column_stack([x @ ready.back, ready.rest]), ready.terms, ready.weights)
    ours = SumJets(ready, ready.terms)
    layout = Layout(tuple(term.width for term in terms))
    for gamma in (positive(layout, rng), np.zeros(layout.size)):
        got, want = ours.at(gamma), oracle.at(gamma)
        for piece in ("log_det", "log_det_1", "log_det_2", "cross", "cross_1", "cross_2"):
            close(getattr(got, piece), getattr(want, piece))
        beta = rng.normal(size=3)
        for mine, theirs in zip(ours.effects(gamma, beta), oracle.effects(gamma, beta), strict=True):
            close(mine, theirs)


@pytest.mark.parametrize("coarse", [False, True])
def test_many_groups_that_cut_across_are_held_sparsely(coarse, dense):
    rng = np.random.default_rng(4)
    n, plot = 300, np.arange(300) // 3
    terms = [RandomTerm("oven", rng.permutation(np.arange(n) % 80)), RandomTerm("plot", plot)]
    terms += [RandomTerm("day", plot // 5)] if coarse else []
    ready = prepare(rng.normal(size=n), np.column_stack([np.ones(n), rng.normal(size=n)]), terms, None)
    ours, oracle = SumJets(ready, ready.terms), dense(np.column_stack([ready.x @ ready.back, ready.rest]), terms, None)
    assert not isinstance(ours.sums.fine, np.ndarray)
    gamma = rng.uniform(0.2, 2, len(terms))
    got, want = ours.at(gamma), oracle.at(gamma)
    for piece in ("log_det", "log_det_1", "log_det_2", "cross", "cross_1", "cross_2"):
        close(getattr(got, piece), getattr(want, piece))
    for mine, theirs in zip(ours.effects(gamma, np.ones(2)), oracle.effects(gamma, np.ones(2)), strict=True):
        close(mine, theirs)


@pytest.mark.parametrize("structure", ["nested and crossed", "slope and plot"])
def test_the_derivatives_are_those_of_the_values(structure, groups):
    """Central differences, so that the oracle itself is not taken on trust."""
    rng = np.random.default_rng(3)
    terms, n = groups(structure, rng)
    ready = prepare(rng.normal(size=n), np.ones((n, 1)), terms, None)
    ours, layout, h = SumJets(ready, ready.terms), Layout(tuple(term.width for term in terms)), 1e-5
    gamma = positive(layout, rng)
    at = ours.at(gamma)
    for a in range(layout.size):
        step = np.zeros(layout.size)
        step[a] = h
        up, down = ours.at(gamma + step), ours.at(gamma - step)
        assert (up.log_det - down.log_det) / (2 * h) == pytest.approx(at.log_det_1[a], rel=1e-6, abs=1e-6)
        np.testing.assert_allclose((up.cross - down.cross) / (2 * h), at.cross_1[a], rtol=1e-5, atol=1e-5)
        np.testing.assert_allclose((up.log_det_1 - down.log_det_1) / (2 * h), at.log_det_2[a], rtol=1e-5, atol=1e-5)
        np.testing.assert_allclose((up.cross_1 - down.cross_1) / (2 * h), at.cross_2[a], rtol=1e-5, atol=2e-5)
