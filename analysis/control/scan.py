"""Is there a change at all, and how much does each pattern in the log speak for it?

Batch means follow y = A b + s x + noise, where A holds the mean and the changes already found, x is
one pattern and the noise may hang over from one batch to the next (first-order autoregression,
its correlation estimated with each pattern anew). Each pattern gets twice the gain in log
likelihood; the statistic of the scan is the log of their prior-weighted average likelihood ratio
(Andrews and Ploberger 1994, Econometrica 62, 1383). How often chance alone reaches it is counted
on series of the same log without the change: whitened residuals of the fit without the pattern
are put in random order and coloured again, so that neither a normal law nor independence is taken
for granted, and the number of patterns tried is paid for.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CORRELATIONS = (-0.4, -0.2, 0.0, 0.2, 0.4, 0.6, 0.8, 0.9)
RESHUFFLES = 399
_KEPT_BYTES = 256 * 2**20
_STILL = 1e-10  # share of a length below which the rest is rounding: of a pattern, of the series
_TIE = 1e-9


@dataclass(frozen=True, kw_only=True)
class Scan:
    """``gains`` (members,): twice the log likelihood gained; -inf where the base says it all already."""

    gains: Array
    weights: Array
    statistic: float
    p_value: float | None
    correlation: float


def whiten(columns: Array, correlation: float) -> Array:
    """Rows of a first-order autoregression made independent with equal variance; shape kept."""
    made = columns.copy()
    made[1:] -= correlation * columns[:-1]
    made[0] *= np.sqrt(1 - correlation**2)
    return made


def colour(noise: Array, correlation: float) -> Array:
    """The inverse of ``whiten``, for columns of independent noise."""
    made = noise.copy()
    made[0] /= np.sqrt(1 - correlation**2)
    for row in range(1, len(made)):
        made[row] += correlation * made[row - 1]
    return made


class Patterns:
    """Columns (n, members) to be tried and their priors (members,), whitened once for every correlation."""

    def __init__(self, columns: Array, priors: Array, *, root_weights: Array) -> None:
        self.columns, self.log_priors, self.root_weights = columns, np.log(priors / priors.sum()), root_weights
        wide = columns * root_weights[:, None]
        keeps = wide.nbytes * len(CORRELATIONS) <= _KEPT_BYTES
        self._wide = wide
        self._white = [_Whitened.of(wide, each) for each in CORRELATIONS] if keeps else None

    def whitened(self) -> Iterator[_Whitened]:
        """One after the other; made anew each time where all together would take too much memory."""
        if self._white is not None:
            yield from self._white
        else:
            yield from (_Whitened.of(self._wide, each) for each in CORRELATIONS)


@dataclass(frozen=True, kw_only=True)
class _Whitened:
    correlation: float
    columns: Array
    lengths: Array

    @staticmethod
    def of(wide: Array, correlation: float) -> _Whitened:
        columns = whiten(wide, correlation)
        return _Whitened(correlation=correlation, columns=columns, lengths=np.einsum("ij,ij->j", columns, columns))


def scan(y: Array, base: Array, patterns: Patterns, *, seed: int | None = None) -> Scan:
    """``y`` (n,), ``base`` (n, p). With a ``seed`` the p-value is counted; without, only gains and weights are told."""
    base, ours = base * patterns.root_weights[:, None], (y * patterns.root_weights)[:, None]
    floor = _STILL * float(np.sum((ours - ours.mean()) ** 2))
    null, gains = _gains(ours, base, patterns, floor)
    best = CORRELATIONS[int(null[0])]
    statistic, weights = _averaged(gains, patterns.log_priors)
    p = None
    if seed is not None:
        fake = _without_change(ours[:, 0], base, best, seed)
        chance, _ = _averaged(_gains(fake, base, patterns, floor)[1], patterns.log_priors, shares=False)
        p = float((1 + np.sum(chance >= statistic[0] - _TIE)) / (1 + len(chance)))
    return Scan(gains=gains[:, 0], weights=weights[:, 0], statistic=float(statistic[0]), p_value=p, correlation=best)


def _gains(series: Array, base: Array, patterns: Patterns, floor: float) -> tuple[NDArray[np.intp], Array]:
    """``series`` (n, s). Returns the place of the best correlation without a pattern (s,) and gains (members, s).

    A pattern's part that the base does not say already is c - Q Q'c; its gain needs only its length and its
    product with what the base leaves of the series, so the patterns themselves are never rewritten.
    ``floor`` is a sum of squares that is nothing but rounding; where only that is left, nothing is gained.
    """
    n = len(series)
    without: list[Array] = []
    with_it: Array | None = None
    hidden = np.zeros(patterns.columns.shape[1], dtype=bool)
    for white in patterns.whitened():
        frame, _ = np.linalg.qr(whiten(base, white.correlation))
        left = whiten(series, white.correlation)
        left = left - frame @ (frame.T @ left)
        rest = np.einsum("ij,ij->j", left, left)
        length = white.lengths - np.sum((frame.T @ white.columns) ** 2, axis=0)
        still = length <= _STILL * np.maximum(white.lengths, 1e-300)
        hidden |= still
        level = np.log(1 - white.correlation**2)
        without.append(level - n * np.log(rest + floor))
        scaled = white.columns / np.sqrt(np.where(still, np.inf, length))
        product = scaled.T @ left
        product *= product
        np.subtract(rest, product, out=product)
        np.maximum(product, 0.0, out=product)
        product += floor
        np.log(product, out=product)
        product *= -n
        product += level
        with_it = product if with_it is None else np.maximum(with_it, product, out=with_it)
    stacked = np.array(without)
    assert with_it is not None
    with_it -= stacked.max(axis=0)
    np.maximum(with_it, 0.0, out=with_it)
    with_it[hidden] = -np.inf
    return np.argmax(stacked, axis=0), with_it


def _averaged(gains: Array, log_priors: Array, *, shares: bool = True) -> tuple[Array, Array]:
    """Log of the average likelihood ratio (s,), and each member's share of it (members, s; else as it comes)."""
    halves = gains / 2
    halves += log_priors[:, None]
    top = halves.max(axis=0)
    halves -= top
    np.exp(halves, out=halves)
    total = halves.sum(axis=0)
    if shares:
        halves /= total
    return top + np.log(total), halves


def _without_change(y: Array, base: Array, correlation: float, seed: int) -> Array:
    """Series (n, RESHUFFLES) as the log would give without a change: noise of ours in random order."""
    n, p = base.shape
    white = whiten(base, correlation)
    ours = whiten(y[:, None], correlation)[:, 0]
    frame, _ = np.linalg.qr(white)
    noise = ours - frame @ (frame.T @ ours)
    noise = (noise - noise.mean()) * np.sqrt(n / max(n - p, 1))
    # An estimated correlation is too small by about (1 + 3 r) / n (Marriott and Pope 1954, Biometrika 41, 390).
    lifted = min(correlation + (1 + 3 * max(correlation, 0.0)) / n, 0.95)
    chance = np.random.Generator(np.random.PCG64(seed))
    shuffled = chance.permuted(np.tile(noise[:, None], (1, RESHUFFLES)), axis=0)
    return colour(shuffled, lifted)
