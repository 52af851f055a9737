"""At which batch did the level begin to change, and by how much?

The beginning is tried at every batch. A beginning belongs to the interval when its log likelihood
is within a limit of the best: for a step the limit of a break (the likelihood ratio has the law
P(LR <= x) = (1 - exp(-x / 2))^2: Hansen 2000, Econometrica 68, 575, Table I: 5.94, 7.35, 10.59 at 90,
95, 99 %), for a drift, which bends but does not break, that of chi-squared with one degree of freedom. The size's
interval is the profile over the same beginnings.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.control.scan import Patterns, scan, whiten

Array = NDArray[np.float64]


# Intervals rest on batches that hang together or do not: by chance alone an estimate falls below zero in
# half of the logs, and taken at its word it would make intervals too narrow (77 % for 95 % in the demo's log).
HANGING = tuple(step / 10 for step in range(10))


@dataclass(frozen=True, kw_only=True)
class Onset:
    """Places from 0; ``drops`` maps each place of the interval to its distance from the best (twice log likelihood)."""

    best: int
    low: int
    high: int
    drops: dict[int, float]


@dataclass(frozen=True, kw_only=True)
class Size:
    """What one unit of a pattern is worth, with its interval, and the correlation it was found with."""

    size: float
    low: float
    high: float
    error: float
    free: int


@dataclass(frozen=True, kw_only=True)
class Joint:
    """Every column of a model at once: values and covariance of (p,) columns, spread and correlation of the noise."""

    values: Array
    covariance: Array
    sd: float
    correlation: float
    free: int


def limit_of_break(confidence: float) -> float:
    """How far below the best a step's beginning may lie: -2 ln(1 - sqrt(confidence))."""
    return float(-2 * np.log1p(-np.sqrt(confidence)))


def limit_of_bend(confidence: float) -> float:
    """The same where the level bends and does not break: chi-squared with one degree of freedom."""
    from scipy.special import chdtri

    return float(chdtri(1, 1 - confidence))


def onset_of(
    y: Array,
    base: Array,
    starting: Callable[[int], Array],
    starts: list[int],
    *,
    root_weights: Array,
    breaks: bool,
    confidence: float,
) -> Onset:
    """Where a pattern begins, tried at ``starts``; ``starting(a)`` is its column when it begins at place a."""
    columns = np.column_stack([starting(a) for a in starts])
    gains = scan(y, base, Patterns(columns, np.ones(len(starts)), root_weights=root_weights)).gains
    limit = limit_of_break(confidence) if breaks else limit_of_bend(confidence)
    drops = gains.max() - gains
    inside = [at for at in range(len(starts)) if drops[at] <= limit]
    return Onset(
        best=starts[int(np.argmax(gains))],
        low=starts[inside[0]],
        high=starts[inside[-1]],
        drops={starts[at]: float(drops[at]) for at in inside},
    )


def joint_fit(y: Array, columns: Array, *, root_weights: Array) -> Joint:
    """Least squares on all columns at once, at the correlation that explains the rest best."""
    ours, wide = y * root_weights, columns * root_weights[:, None]
    n, p = columns.shape
    best: tuple[float, float, Array, Array, float] | None = None
    for correlation in HANGING:
        a, b = whiten(wide, correlation), whiten(ours[:, None], correlation)[:, 0]
        values: Array = np.linalg.lstsq(a, b, rcond=None)[0].astype(float)
        left = float(np.sum((b - a @ values) ** 2))
        fits = float(np.log(1 - correlation**2)) - n * np.log(left + 1e-300)
        if best is None or fits > best[0]:
            best = float(fits), correlation, values, a, left
    assert best is not None
    _, correlation, values, a, left = best
    free = max(n - p - 1, 1)  # the correlation was estimated too
    innovation = left / free
    return Joint(
        values=values,
        covariance=np.linalg.pinv(a.T @ a) * innovation,
        sd=float(np.sqrt(innovation / (1 - correlation**2))),
        correlation=correlation,
        free=free,
    )


def size_of(
    y: Array,
    others: Array,
    starting: Callable[[int], Array],
    onset: Onset | None,
    start: int,
    *,
    root_weights: Array,
    confidence: float,
) -> Size:
    """The size of a pattern that is 1 at its largest; over all beginnings of ``onset``, when it has one.

    Profile: a size s belongs to the interval when for some beginning a the drop of a and
    ((s - size at a) / error at a)^2 together stay within t squared.
    """
    from scipy.special import stdtrit

    def one(a: int) -> tuple[float, float, int]:
        column = starting(a)
        joint = joint_fit(y, np.column_stack([others, column / column.max()]), root_weights=root_weights)
        return float(joint.values[-1]), float(np.sqrt(joint.covariance[-1, -1])), joint.free

    size, error, free = one(start)
    limit = float(stdtrit(free, 0.5 + confidence / 2)) ** 2
    low, high = size - np.sqrt(limit) * error, size + np.sqrt(limit) * error
    for a, drop in (onset.drops if onset else {}).items():
        if drop < limit and a != start:
            other, its, _ = one(a)
            half = np.sqrt(limit - drop) * its
            low, high = min(low, other - half), max(high, other + half)
    return Size(size=size, low=float(low), high=float(high), error=error, free=free)
