"""The likelihood of mixed models once more, written out with n x n matrices, and groups to try it on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from analysis.mixed.jets import Jet
from analysis.mixed.terms import FloatArray, RandomTerm


def patterns(terms: Sequence[RandomTerm]) -> list[FloatArray]:
    """V_a (n, n) of each parameter: variance; with a slope level, covariance, slope."""
    out: list[FloatArray] = []
    for term in terms:
        same = (term.codes[:, None] == term.codes[None, :]).astype(float)
        out.append(same)
        if term.slope is not None:
            a = term.slope
            out += [same * (a[:, None] + a[None, :]), same * np.outer(a, a)]
    return out


class DenseJets:
    """``at(gamma)`` for M (n, c)."""

    def __init__(self, m: FloatArray, terms: Sequence[RandomTerm], weights: FloatArray | None) -> None:
        self.m, self.terms, self.patterns = m, terms, patterns(terms)
        self.weights = np.ones(len(m)) if weights is None else weights

    def at(self, gamma: FloatArray) -> Jet:
        v = np.diag(1 / self.weights)
        for g, pattern in zip(gamma, self.patterns, strict=True):
            v = v + g * pattern
        inverse = np.linalg.inv(v)
        count, c, im = len(gamma), self.m.shape[1], inverse @ self.m
        iv = [inverse @ pattern for pattern in self.patterns]
        cross_1 = np.zeros((count, c, c))
        cross_2 = np.zeros((count, count, c, c))
        log_2 = np.zeros((count, count))
        for a in range(count):
            cross_1[a] = -im.T @ self.patterns[a] @ im
            for b in range(count):
                half = im.T @ self.patterns[a] @ iv[b] @ im
                cross_2[a, b] = half + half.T
                log_2[a, b] = -np.sum(iv[a] * iv[b].T)
        log_1 = np.array([np.trace(each) for each in iv])
        log_det = float(np.linalg.slogdet(v)[1])
        return Jet(log_det, log_1, log_2, self.m.T @ im, cross_1, cross_2, len(self.m))

    def effects(self, gamma: FloatArray, coefficients: FloatArray) -> list[FloatArray]:
        """Predicted effects (g, width) of each term: G Z'V^-1 e."""
        left = self.m @ np.append(-coefficients, 1.0)
        v = np.diag(1 / self.weights)
        for g, pattern in zip(gamma, self.patterns, strict=True):
            v = v + g * pattern
        solved, out, place = np.linalg.solve(v, left), [], 0
        for term in self.terms:
            level = np.bincount(term.codes, solved, term.groups)
            if term.slope is None:
                out.append((gamma[place] * level)[:, None])
            else:
                slope = np.bincount(term.codes, solved * term.slope, term.groups)
                a, b, c = gamma[place : place + 3]
                out.append(np.column_stack([a * level + b * slope, b * level + c * slope]))
            place += 1 if term.slope is None else 3
        return out


@pytest.fixture
def dense():
    """The oracle's class: ``dense(m, terms, weights).at(gamma)``."""
    return DenseJets


def layout_for(name: str, rng: np.random.Generator) -> tuple[list[RandomTerm], int]:
    """Random groups of one structure, with gaps."""
    n = 90
    keep = rng.random(n) > 0.2
    plot, day = np.arange(n) // 3, np.arange(n) // 15
    assessor, oven = rng.integers(0, 5, n), rng.integers(0, 40, n)
    amount = rng.normal(size=n) + 2
    terms = {
        "one": [RandomTerm("day", day)],
        "many": [RandomTerm("plot", plot)],
        "nested": [RandomTerm("day", day), RandomTerm("plot", plot)],
        "nested, both many": [RandomTerm("pair", np.arange(n) // 2 // 2 * 2), RandomTerm("half", np.arange(n) // 2)],
        "deep": [RandomTerm("day", day), RandomTerm("load", np.arange(n) // 6), RandomTerm("plot", plot)],
        "crossed": [RandomTerm("oven", oven), RandomTerm("assessor", assessor)],
        "nested and crossed": [RandomTerm("assessor", assessor), RandomTerm("plot", plot), RandomTerm("day", day)],
        "slope": [RandomTerm("day", day, amount, "water")],
        "slope and plot": [RandomTerm("day", day, amount, "water"), RandomTerm("plot", plot)],
        "slope crossed": [RandomTerm("assessor", assessor), RandomTerm("day", day, amount), RandomTerm("plot", plot)],
    }[name]
    out = [
        RandomTerm(t.name, np.unique(t.codes[keep], return_inverse=True)[1], None if t.slope is None else t.slope[keep])
        for t in terms
    ]
    return out, int(keep.sum())


@pytest.fixture
def groups():
    """``groups(name, rng)`` gives terms and the number of rows."""
    return layout_for
