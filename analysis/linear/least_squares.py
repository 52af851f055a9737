"""Which coefficients come closest to the readings?

Householder QR with one step of refinement; never normal equations, never a
pseudo-inverse. The caller hands in readings with a constant already taken off
(``centred``), which keeps the digits of readings that share many leading ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

DEPENDENT = 1e-8  # what is left of a unit column after the earlier ones, below which it adds nothing


@dataclass(frozen=True, eq=False)
class Fit:
    """Least squares of ``y`` (n,) on ``x`` (n, p) of full column rank.

    ``df`` are the error degrees of freedom, after ``absorbed`` ones that were
    taken out of the data before the fit.
    """

    x: Floats
    y: Floats
    q: Floats
    r: Floats
    coefficients: Floats
    residuals: Floats
    df: int

    @property
    def sum_sq(self) -> float:
        return float(self.residuals @ self.residuals)

    @property
    def mean_sq(self) -> float | None:
        return self.sum_sq / self.df if self.df > 0 else None

    @property
    def fitted(self) -> Floats:
        return self.y - self.residuals

    @property
    def leverage(self) -> Floats:
        return np.asarray((self.q * self.q).sum(axis=1), dtype=np.float64)

    def variance_factors(self, rows: Floats) -> Floats:
        """rows (m, p) -> (m,): variance of rows @ coefficients over the error variance."""
        half = rows @ self.inverse
        return np.asarray((half * half).sum(axis=1), dtype=np.float64)

    @cached_property
    def inverse(self) -> Floats:
        """R^-1, triangular: (X'X)^-1 is its product with its own transpose."""
        # LU of a triangular matrix is the matrix itself, so that this is plain back substitution;
        # it loads no further library.
        return np.asarray(np.linalg.solve(self.r, np.eye(len(self.r))), dtype=np.float64) if self.r.size else self.r


def centred(values: Floats) -> tuple[Floats, float]:
    """Values less a constant, and that constant. The first subtraction is exact for like values."""
    first = float(values[0])
    rest = values - first
    mean = float(rest.mean())
    return rest - mean, first + mean


def least_squares(x: Floats, y: Floats, *, absorbed: int = 0) -> Fit:
    """Fit ``y`` on the columns of ``x``, which must be independent (see ``independent_blocks``)."""
    n, p = x.shape
    if p == 0:
        return Fit(x, y, np.zeros((n, 0)), np.zeros((0, 0)), np.zeros(0), y.copy(), n - absorbed)
    q, r = np.linalg.qr(x)
    along = q.T @ y
    residuals = y - q @ along
    again = q.T @ residuals  # takes out what rounding left behind
    coefficients = np.linalg.solve(r, along + again)
    return Fit(x, y, q, r, coefficients, residuals - q @ again, n - p - absorbed)


def explained(first: Floats, then: Floats, y: Floats) -> float:
    """Sum of squares that the columns ``then`` add to ``first``: no difference of large numbers."""
    q = np.linalg.qr(np.hstack([first, then]))[0]
    along = q[:, first.shape[1] :].T @ y
    return float(along @ along)


class Basis:
    """Orthonormal columns that grow term by term; a term that adds too little is refused."""

    def __init__(self, rows: int, start: Floats | None = None) -> None:
        """``start`` are orthonormal columns to begin with (none by default)."""
        self.columns = np.zeros((rows, 0)) if start is None else start

    def adds(self, block: Floats) -> bool:
        """Take ``block`` in if each of its columns is new; say whether it was."""
        lengths = np.linalg.norm(block, axis=0)
        if block.shape[1] + self.columns.shape[1] > len(block) or not np.all(lengths > DEPENDENT):
            return False
        left = block / lengths
        for _ in range(2):  # twice is enough to be orthogonal to machine precision
            left = left - self.columns @ (self.columns.T @ left)
        if not left.shape[1]:
            return True
        new, sizes, _ = np.linalg.svd(left, full_matrices=False)
        if sizes[-1] <= DEPENDENT:
            return False
        for _ in range(2):  # a small remainder has lost digits: clean it once more
            new = np.linalg.qr(new - self.columns @ (self.columns.T @ new))[0]
        self.columns = np.hstack([self.columns, new])
        return True


def involved(block: Floats, others: Sequence[Floats]) -> list[int]:
    """Which of ``others`` (independent blocks) the dependent ``block`` is made of."""
    matrix = np.hstack(list(others))
    weights = np.linalg.lstsq(matrix, block, rcond=None)[0]
    weights = np.abs(weights) * np.linalg.norm(matrix, axis=0)[:, None] / max(float(np.linalg.norm(block)), 1e-300)
    found, start = [], 0
    for position, other in enumerate(others):
        stop = start + other.shape[1]
        if np.any(weights[start:stop] > 1e-6):
            found.append(position)
        start = stop
    return found
