"""With which numbers do the sums of nested groups enter, and how do these change with the variances?

Taking out fine groups of variance gamma_1 and weight s leaves, by the Woodbury identity,
V^-1 less k m m' with k = gamma_1 / (1 + gamma_1 s), and multiplies what the coarse groups see of them by
rho = 1 / (1 + gamma_1 s). The coarse groups are then taken out in the same way.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analysis.mixed.nesting import Nesting
from analysis.mixed.sufficient import Sums, kinds
from analysis.mixed.terms import FloatArray, IntArray

# Order of the derivatives: value, by 1, by 2, twice by 1, by both, twice by 2.
VALUE, ONE, TWO, ONE_ONE, ONE_TWO, TWO_TWO = range(6)
MOST_NUMBERS = 3_000_000  # numbers in all B together, beyond which group by group is as fast


@dataclass(frozen=True, eq=False)
class Levels:
    """``weight`` (t,) of each kind of fine group, ``count`` (t,) how many there are; ``made_of`` (k, t) the fine
    groups of each kind of coarse group, ``coarse_count`` (k,) how many. ``cross`` (b, c, c): first one for each
    kind of fine group, then one for each (``kind``, ``left``, ``right``)."""

    weight: FloatArray
    count: FloatArray
    made_of: FloatArray
    coarse_count: FloatArray
    kind: IntArray
    left: IntArray
    right: IntArray
    cross: FloatArray

    def log_det(self, one: float, two: float) -> FloatArray:
        """(6,): log|V| + sum log w with its derivatives."""
        out = np.zeros(6)
        d = 1 + one * self.weight
        share = self.weight / d
        out[VALUE] = self.count @ np.log(d)
        out[ONE], out[ONE_ONE] = self.count @ share, -self.count @ share**2
        if len(self.coarse_count):
            s, s1, s11 = self._coarse_weight(one)
            n, d = self.coarse_count, 1 + two * s
            k = two / d
            out[VALUE] += n @ np.log(d)
            out[ONE] += n @ (k * s1)
            out[ONE_ONE] += n @ (k * s11 - (k * s1) ** 2)
            out[TWO], out[TWO_TWO] = n @ (s / d), -n @ (s / d) ** 2
            out[ONE_TWO] = n @ (s1 / d**2)
        return out

    def moved(self, one: float, two: float) -> FloatArray:
        """(6, c, c): M'V^-1 M less M'WM, with its derivatives."""
        flat = self.cross.reshape(len(self.cross), -1)
        return -(self._factors(one, two) @ flat).reshape(6, *self.cross.shape[1:])

    def _factors(self, one: float, two: float) -> FloatArray:
        """(6, b): what each B is multiplied with."""
        out = np.zeros((6, len(self.cross)))
        t = len(self.weight)
        d = 1 + one * self.weight
        out[VALUE, :t], out[ONE, :t], out[ONE_ONE, :t] = one / d, 1 / d**2, -2 * self.weight / d**3
        if len(self.coarse_count):
            self._coarse_factors(one, two, out[:, t:])
        return out

    def _coarse_weight(self, one: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        share = self.weight / (1 + one * self.weight)
        return self.made_of @ share, self.made_of @ -(share**2), self.made_of @ (2 * share**3)

    def _coarse_factors(self, one: float, two: float, out: FloatArray) -> None:
        s, s1, s11 = (each[self.kind] for each in self._coarse_weight(one))
        d = 1 + two * s
        k = two / d
        k1, k11 = -(k**2) * s1, 2 * k**3 * s1**2 - k**2 * s11
        k2, k22, k12 = 1 / d**2, -2 * s / d**3, -2 * two * s1 / d**3
        a, b = self.weight[self.left], self.weight[self.right]
        p = 1 / ((1 + one * a) * (1 + one * b))
        slope = -(a / (1 + one * a) + b / (1 + one * b))
        p1 = p * slope
        p11 = p * (slope**2 + (a / (1 + one * a)) ** 2 + (b / (1 + one * b)) ** 2)
        out[VALUE], out[TWO], out[TWO_TWO] = k * p, k2 * p, k22 * p
        out[ONE] = k1 * p + k * p1
        out[ONE_ONE] = k11 * p + 2 * k1 * p1 + k * p11
        out[ONE_TWO] = k12 * p + k2 * p1


def levels(sums: Sums, nested: Nesting, coarse_groups: int) -> Levels | None:
    """None when so many kinds of groups occur that their B would not fit."""
    if not isinstance(sums.fine, np.ndarray):
        return None
    c = len(sums.whole)
    weight, which = kinds(sums.fine_weight)
    if len(weight) * c * c > MOST_NUMBERS:
        return None
    count = np.bincount(which, minlength=len(weight)).astype(np.float64)
    fine = _crosses(sums.fine, which, len(weight))
    empty = np.zeros(0, dtype=np.int64)
    if nested.parent is None:
        return Levels(weight, count, np.zeros((0, len(weight))), np.zeros(0), empty, empty, empty, np.array(fine))
    if coarse_groups * len(weight) > MOST_NUMBERS:
        return None
    made = np.bincount(nested.parent * len(weight) + which, minlength=coarse_groups * len(weight))
    made = made.reshape(coarse_groups, len(weight))
    made_of, member = _patterns(made)
    pairs = sum(int((row > 0).sum()) * (int((row > 0).sum()) + 1) // 2 for row in made_of)
    if pairs * c * c > MOST_NUMBERS:
        return None
    kind, left, right, coarse = _pairs(sums.fine, nested.parent, which, made_of, member)
    return Levels(
        weight, count, made_of.astype(np.float64), np.bincount(member).astype(np.float64),
        kind, left, right, np.array([*fine, *coarse]),
    )  # fmt: skip


def _crosses(rows: FloatArray, which: IntArray, count: int) -> list[FloatArray]:
    """Sum of products of the rows of each kind."""
    if count == 1:
        return [rows.T @ rows]
    order = np.argsort(which, kind="stable")
    rows, ends = rows[order], np.searchsorted(which[order], np.arange(count + 1))
    return [rows[a:b].T @ rows[a:b] for a, b in pairwise(ends)]


def _patterns(made: IntArray) -> tuple[IntArray, IntArray]:
    """Distinct rows and which of them each is."""
    base = int(made.max()) + 1
    if made.shape[1] * np.log2(base + 1) < 60:
        code = made @ (base ** np.arange(made.shape[1], dtype=np.int64))
        _, first, member = np.unique(code, return_index=True, return_inverse=True)
        return made[first], member.astype(np.int64)
    distinct, member = np.unique(made, axis=0, return_inverse=True)
    return distinct, member.reshape(-1).astype(np.int64)


def _pairs(
    fine: FloatArray, parent: IntArray, which: IntArray, made_of: IntArray, member: IntArray
) -> tuple[IntArray, IntArray, IntArray, list[FloatArray]]:
    """For each kind of coarse group and each pair of kinds of fine groups in it: the sum of products, both ways."""
    order = np.lexsort((which, parent, member[parent]))
    parent, which, fine = parent[order], which[order], fine[order]
    starts = np.flatnonzero(np.r_[True, (parent[1:] != parent[:-1]) | (which[1:] != which[:-1])])
    added = (
        np.add.reduceat(fine, starts, axis=0) if len(starts) < len(fine) else fine
    )  # one row for each (coarse, kind)
    at = member[parent[starts]]
    ends = np.searchsorted(at, np.arange(len(made_of) + 1))
    which_pair, cross = [], []
    for k, row in enumerate(made_of):
        there = np.flatnonzero(row)
        if not len(there):
            continue
        block = added[ends[k] : ends[k + 1]].reshape(-1, len(there), added.shape[1])
        for i in range(len(there)):
            for j in range(i, len(there)):
                product = block[:, i].T @ block[:, j]
                cross.append(product if i == j else product + product.T)
                which_pair.append((k, int(there[i]), int(there[j])))
    kind, left, right = np.array(which_pair, dtype=np.int64).T
    return kind, left, right, cross
