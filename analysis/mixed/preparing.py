"""In which units is a mixed model fitted?

Readings as what the fixed part leaves of them, in units of its spread; the fixed part as orthonormal
columns (in the weighted sense); weights of mean 1; slopes centred and scaled. None of it changes an
answer, and with it huge offsets and tiny units cost no digits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.mixed.door import dependent_columns, no_scatter
from analysis.mixed.terms import FloatArray, RandomTerm

DEPENDENT = 1e-8  # of a unit column after the earlier ones, as in the linear models
MANY = 3_000_000  # numbers in X from which its cross-products are used when they are well conditioned
NOTHING = 1e-13  # scatter as a share of the largest reading, below which it is rounding


@dataclass(frozen=True, eq=False)
class Ready:
    """``x @ back`` has orthonormal columns; ``rest`` (n,) is what they leave of the readings over ``y_scale``;
    ``first`` (p,) are their least-squares coefficients in the readings' own unit; ``weight_mean`` was divided
    out of the weights."""

    rest: FloatArray
    y: FloatArray
    x: FloatArray
    back: FloatArray
    first: FloatArray
    y_scale: float
    weights: FloatArray | None
    weight_mean: float
    terms: tuple[RandomTerm, ...]
    originals: tuple[RandomTerm, ...]

    @property
    def n(self) -> int:
        return len(self.rest)

    @property
    def p(self) -> int:
        return self.x.shape[1]


def prepare(y: FloatArray, x: FloatArray, terms: Sequence[RandomTerm], weights: FloatArray | None) -> Ready:
    mean = 1.0
    if weights is not None:
        mean = float(np.mean(weights))
        weights = np.asarray(weights, dtype=np.float64) / mean
    back = _orthonormal(x, weights)
    first, rest = _project(x, back, y, weights)
    size = float(np.sqrt(np.mean(rest * rest)))
    if not size > NOTHING * float(np.abs(y).max()):
        raise no_scatter()
    scaled = tuple(_standard(term) for term in terms)
    return Ready(rest / size, y, x, back, first, size, weights, mean, scaled, tuple(terms))


def _orthonormal(x: FloatArray, weights: FloatArray | None) -> FloatArray:
    """back (p, p) with (X back)' W (X back) = I."""
    p = x.shape[1]
    if not p:
        return np.zeros((0, 0))
    root = None if weights is None else np.sqrt(weights)[:, None]
    rooted = x if root is None else x * root
    size = np.sqrt((rooted * rooted).sum(axis=0))
    if (size == 0).any():
        raise dependent_columns()
    r = _triangle(rooted, size, p)
    if np.abs(np.diag(r)).min() < DEPENDENT:
        raise dependent_columns()
    return np.asarray(np.linalg.solve(r, np.eye(p)) / size[:, None], dtype=np.float64)


def _triangle(rooted: FloatArray, size: FloatArray, p: int) -> FloatArray:
    """R of the QR decomposition of the columns scaled to length 1."""
    if rooted.size > MANY:
        gram = (rooted.T @ rooted) / np.outer(size, size)
        if np.linalg.eigvalsh(gram)[0] > 1e-6:  # half the digits are lost below 1e-8
            return np.asarray(np.linalg.cholesky(gram).T, dtype=np.float64)
    return np.asarray(np.linalg.qr(rooted / size, mode="r"), dtype=np.float64)


def _project(
    x: FloatArray, back: FloatArray, y: FloatArray, weights: FloatArray | None
) -> tuple[FloatArray, FloatArray]:
    """Coefficients on the turned columns and what is left of y; a second pass mends the rounding of the first."""
    total, rest = np.zeros(x.shape[1]), y
    for _ in range(2):
        step = back.T @ (x.T @ (rest if weights is None else rest * weights))
        total, rest = total + step, rest - x @ (back @ step)
    return total, rest


def _standard(term: RandomTerm) -> RandomTerm:
    if term.slope is None:
        return term
    spread = float(np.std(term.slope))
    return replace(term, slope=(term.slope - term.slope.mean()) / (spread or 1.0))


def untangled(term: RandomTerm) -> FloatArray:
    """T (2, 2) that leads from the effects on a centred and scaled slope to those on the slope itself."""
    assert term.slope is not None
    mean, spread = float(term.slope.mean()), float(np.std(term.slope)) or 1.0
    return np.array([[1.0, -mean / spread], [0.0, 1 / spread]])
