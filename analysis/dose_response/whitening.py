"""How do bakes that share a day, or that scatter unequally, count in a least-squares fit?

The covariance of the bakes is taken as sigma² V with

    V = diag(1 / weight) + sum over groupings of ratio Z Z'

where Z marks which bakes share a group and ``ratio`` is the variance between groups over that
of one bake of weight 1. ``Errors.apply`` multiplies by a root of V^-1, after which ordinary
least squares is generalised least squares (Aitken 1935, Proc. R. Soc. Edinburgh 55:42).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Groups:
    """Bakes that share a random shift: ``codes`` (n,) from 0 to count - 1."""

    name: str
    codes: Ints

    @property
    def count(self) -> int:
        return int(self.codes.max()) + 1

    @property
    def own(self) -> float:
        """What its own bakes leave of doubt about a group's mean, in variances of one bake."""
        return float(np.mean(1 / np.bincount(self.codes)))

    @property
    def marks(self) -> Array:
        return np.eye(self.count)[self.codes]


@dataclass(frozen=True, kw_only=True, eq=False)
class Errors:
    """V as it is known: one ratio (>= 0) for each grouping, weights (n,) or None for equal ones.

    ``estimated`` is how many numbers behind the weights were found from the bakes.
    """

    groups: tuple[Groups, ...]
    ratios: tuple[float, ...]
    weights: Array | None = None
    estimated: int = 0

    @cached_property
    def _root(self) -> tuple[Array, Array]:
        """Left singular vectors (n, r) of the scaled marks, and 1 / sqrt(1 + s²) along each."""
        scaled = [np.sqrt(ratio) * g.marks for g, ratio in zip(self.groups, self.ratios, strict=True) if ratio > 0]
        if not scaled:
            return np.zeros((0, 0)), np.zeros(0)
        left, values, _ = np.linalg.svd(self._weigh(np.hstack(scaled)), full_matrices=False)
        keep = values > 1e-12 * values[0]
        return left[:, keep], 1 / np.sqrt(1 + values[keep] ** 2)

    def _weigh(self, columns: Array) -> Array:
        if self.weights is None:
            return columns
        root = np.sqrt(self.weights)
        return columns * (root if columns.ndim == 1 else root[:, None])

    def apply(self, columns: Array) -> Array:
        """A root of V^-1 times one column (n,) or several (n, m)."""
        out = self._weigh(columns)
        left, shrink = self._root
        if not shrink.size:
            return out
        along = left.T @ out
        kept = 1 - shrink
        return np.asarray(out - left @ (along * (kept if out.ndim == 1 else kept[:, None])))

    @cached_property
    def log_det(self) -> float:
        """Logarithm of the determinant of V."""
        own = 0.0 if self.weights is None else -float(np.log(self.weights).sum())
        return own - 2 * float(np.log(self._root[1]).sum())

    def shifts(self, left: Array) -> Array:
        """Best guess (n,) at the groups' shifts behind leftovers ``left`` (n,) of the curve."""
        inner = self.apply_twice(left)
        out = np.zeros(left.size)
        for group, ratio in zip(self.groups, self.ratios, strict=True):
            out += ratio * np.bincount(group.codes, inner)[group.codes]
        return out

    def apply_twice(self, columns: Array) -> Array:
        """V^-1 times columns; the root in ``apply`` is R diag(root of the weights), with R symmetric."""
        out = self.apply(columns)
        left, shrink = self._root
        if shrink.size:
            along = left.T @ out
            kept = 1 - shrink
            out = out - left @ (along * (kept if out.ndim == 1 else kept[:, None]))
        return self._weigh(np.asarray(out))
