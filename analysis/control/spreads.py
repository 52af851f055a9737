"""How much do pieces differ within a batch, between batches and over all, and how surely is that known?

Normal readings in batches: reading = mean + batch + piece. ``pivots`` are what the mean and the whole spread
may be, given the readings: each is the value that makes the data a draw of known chance (generalised
pivots; Weerahandi 1993, J. American Statistical Association 88:899; for batches Krishnamoorthy and
Mathew 2009, Statistical Tolerance Regions, ch. 5, from memory). Batches of unequal size go in by their
unweighted means and the harmonic mean of their sizes. Intervals of anything made from mean and spread
(an index, the share outside) are quantiles over the pivots.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

POINTS = 2**14
SURE_OF_BATCHES = 0.05  # F test of differences between batches


@dataclass(frozen=True, kw_only=True)
class Spreads:
    """Standard deviations in the unit of the response, with the degrees of freedom behind them.

    ``within`` is None where every batch has one reading. ``total`` = sqrt(between^2 + within^2) is that of a piece
    of any batch; ``overall`` takes the readings as if they were of one batch.
    """

    readings: int
    batches: int
    mean: float
    overall: float
    within: float | None
    within_df: int
    between: float
    total: float
    level: float  # mean of the batch means
    level_sd: float  # standard deviation of the batch means
    size: float  # harmonic mean of the batch sizes
    batches_differ: bool

    @property
    def several(self) -> bool:
        return self.within is not None


def spreads_of(values: Sequence[Sequence[float]]) -> Spreads:
    """The spreads of readings in batches, at least two batches and not all alike."""
    each = [np.sort(np.asarray(batch, dtype=float)) for batch in values]
    pooled = np.concatenate(each)
    means = np.array([batch.mean() for batch in each])
    sizes = np.array([float(len(batch)) for batch in each])
    size = len(each) / float(np.sum(1 / sizes))
    squares = float(sum(np.sum((batch - batch.mean()) ** 2) for batch in each))
    df = len(pooled) - len(each)
    within = math.sqrt(squares / df) if df else None
    level_sd = float(means.std(ddof=1))
    between = math.sqrt(max(level_sd**2 - (within or 0.0) ** 2 / size, 0.0))
    return Spreads(
        readings=len(pooled),
        batches=len(each),
        mean=float(pooled.mean()),
        overall=float(pooled.std(ddof=1)),
        within=within,
        within_df=df,
        between=between,
        total=math.sqrt(between**2 + (within or 0.0) ** 2),
        level=float(means.mean()),
        level_sd=level_sd,
        size=size,
        batches_differ=within is not None and _differ(means, sizes, within, df),
    )


def pivots(spreads: Spreads, *, points: int = POINTS) -> tuple[Floats, Floats]:
    """What mean and whole standard deviation may be: two arrays (points,), equally likely."""
    of_batches = spreads.batches - 1
    level_variance = spreads.level_sd**2 * _over_chi_square(of_batches, 0)[:points]
    mean = spreads.level - _normals()[:points] * np.sqrt(level_variance / spreads.batches)
    variance = level_variance
    if spreads.within is not None:
        within = spreads.within**2 * _over_chi_square(spreads.within_df, 2)[:points]
        variance = level_variance + (1 - 1 / spreads.size) * within
    return mean, np.sqrt(variance)


def share_outside(mean: Floats | float, sd: Floats | float, lower: float | None, upper: float | None) -> Floats:
    """Share of normal readings beyond the limits of the specification."""
    from scipy.special import ndtr

    below = ndtr((lower - np.asarray(mean)) / sd) if lower is not None else 0.0
    above = ndtr((np.asarray(mean) - upper) / sd) if upper is not None else 0.0
    return np.asarray(below + above, dtype=float)


def between_quantiles(values: Floats, confidence: float) -> tuple[float, float]:
    low, high = np.quantile(values, [(1 - confidence) / 2, (1 + confidence) / 2])
    return float(low), float(high)


@lru_cache(maxsize=4)
def even_points(dimensions: int) -> Floats:
    """Points spread evenly over the unit cube, (dimensions, POINTS): Sobol's sequence, so that an interval is the
    same every time without a seed. The first 1,024 and so on are even too."""
    from scipy.stats import qmc

    points = qmc.Sobol(dimensions, scramble=False).random(POINTS) + 0.5 / POINTS
    return np.asarray(points.T, dtype=float)


@lru_cache(maxsize=64)
def _over_chi_square(df: int, row: int) -> Floats:
    """df / chi-square with df, at the even points of one row."""
    from scipy.special import gammaincinv

    return np.asarray(df / (2 * gammaincinv(df / 2, even_points(3)[row])))


@lru_cache(maxsize=1)
def _normals() -> Floats:
    from scipy.special import ndtri

    return np.asarray(ndtri(even_points(3)[1]))


def _differ(means: Floats, sizes: Floats, within: float, df: int) -> bool:
    """Do batches differ by more than their pieces explain? F test of one-way analysis of variance."""
    from scipy import stats

    grand = float(sizes @ means / sizes.sum())
    between = float(sizes @ (means - grand) ** 2) / (len(means) - 1)
    if within <= 0:
        return between > 0
    return bool(stats.f.sf(between / within**2, len(means) - 1, df) < SURE_OF_BATCHES)
