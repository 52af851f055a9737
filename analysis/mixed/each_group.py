"""The same numbers group by group, where hardly two groups are alike: every bake has its own weight."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix

from analysis.mixed.levels import ONE, ONE_ONE, ONE_TWO, TWO, TWO_TWO, VALUE
from analysis.mixed.terms import FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class EachGroup:
    """``fine`` (g, c) sums of WM by fine group, sparse when many groups cut across; ``weight`` (g,); ``parent`` (g,)
    the coarse group of each."""

    fine: FloatArray | csr_matrix
    weight: FloatArray
    parent: IntArray | None

    def log_det(self, one: float, two: float) -> FloatArray:
        """(6,): log|V| + sum log w with its derivatives."""
        out = np.zeros(6)
        d = 1 + one * self.weight
        share = self.weight / d
        out[VALUE], out[ONE], out[ONE_ONE] = np.log(d).sum(), share.sum(), -(share @ share)
        if self.parent is not None:
            s, s1, s11 = self._coarse_weight(one)
            d = 1 + two * s
            k = two / d
            out[VALUE] += np.log(d).sum()
            out[ONE] += k @ s1
            out[ONE_ONE] += k @ s11 - (k * s1) @ (k * s1)
            out[TWO], out[TWO_TWO], out[ONE_TWO] = (s / d).sum(), -((s / d) ** 2).sum(), (s1 / d**2).sum()
        return out

    def moved(self, one: float, two: float) -> FloatArray:
        """(6, c, c): M'V^-1 M less M'WM, with its derivatives."""
        c = self.fine.shape[1]
        out = np.zeros((6, c, c))
        d = 1 + one * self.weight
        for place, k in ((VALUE, one / d), (ONE, 1 / d**2), (ONE_ONE, -2 * self.weight / d**3)):
            out[place] = -_weighted(self.fine, k)
        if self.parent is not None:
            self._coarse(one, two, out)
        return out

    def _coarse_weight(self, one: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        assert self.parent is not None
        share = self.weight / (1 + one * self.weight)
        return tuple(np.bincount(self.parent, each) for each in (share, -(share**2), 2 * share**3))  # type: ignore[return-value]

    def _coarse(self, one: float, two: float, out: FloatArray) -> None:
        s, s1, s11 = self._coarse_weight(one)
        d = 1 + two * s
        k = two / d
        k1, k11 = -(k**2) * s1, 2 * k**3 * s1**2 - k**2 * s11
        m, m1, m11 = self._coarse_sums(one)
        for place, factor in (
            (VALUE, k), (TWO, 1 / d**2), (TWO_TWO, -2 * s / d**3), (ONE, k1), (ONE_ONE, k11),
            (ONE_TWO, -2 * two * s1 / d**3),
        ):  # fmt: skip
            out[place] -= _weighted(m, factor)
        out[ONE] -= _both(m, k, m1)
        out[ONE_ONE] -= 2 * _both(m, k1, m1) + _both(m, k, m11) + 2 * _weighted(m1, k)
        out[ONE_TWO] -= _both(m, 1 / d**2, m1)

    def _coarse_sums(self, one: float) -> tuple[FloatArray | csr_matrix, ...]:
        """What a coarse group sees of its fine ones, with two derivatives."""
        assert self.parent is not None
        rho = 1 / (1 + one * self.weight)
        g, found = len(self.weight), []
        for factor in (rho, -self.weight * rho**2, 2 * self.weight**2 * rho**3):
            gather = csr_matrix((factor, (self.parent, np.arange(g))), shape=(int(self.parent.max()) + 1, g))
            found.append(gather @ self.fine)
        return tuple(found)


def _weighted(rows: FloatArray | csr_matrix, factor: FloatArray) -> FloatArray:
    return _product(rows, factor, rows)


def _both(rows: FloatArray | csr_matrix, factor: FloatArray, others: FloatArray | csr_matrix) -> FloatArray:
    half = _product(rows, factor, others)
    return np.asarray(half + half.T, dtype=np.float64)


def _product(rows: FloatArray | csr_matrix, factor: FloatArray, others: FloatArray | csr_matrix) -> FloatArray:
    if isinstance(rows, np.ndarray) and isinstance(others, np.ndarray):
        return np.asarray(rows.T @ (others * factor[:, None]), dtype=np.float64)
    return np.asarray((rows.T @ csr_matrix(others).multiply(factor[:, None]).tocsr()).toarray(), dtype=np.float64)


def nested_effects(
    left: FloatArray, weight: FloatArray, gamma: FloatArray, parent: IntArray | None
) -> tuple[FloatArray, FloatArray]:
    """Predicted effects of fine and coarse groups from the sums ``left`` (g,) of what is left of the readings."""
    rho = 1 / (1 + gamma[0] * weight)
    coarse = np.zeros(0)
    if parent is not None:
        seen = np.bincount(parent, left * rho)
        coarse = gamma[1] * seen / (1 + gamma[1] * np.bincount(parent, weight * rho))
        left = left - weight * coarse[parent]
    return gamma[0] * rho * left, coarse
