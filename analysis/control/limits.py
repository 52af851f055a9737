"""Between which limits does a process stay that does nothing but what it always does?

``estimate`` makes the limits of a level chart from batches, by one of four methods. What a limit
needs to judge a further batch of any size stands in ``Limits.numbers``:

    mean     centre of the level
    spread   standard deviation of a single plotted level (methods with moving ranges)
    within   standard deviation of the readings of one batch (where batches have several)
    size     readings of the usual batch, to which ``lower`` and ``upper`` belong
    inverse  mean of 1 / size over the batches (between-batch method)

Sources: ASTM E2587 for the charts; Burr 1969, J. Quality Technology 1:163, for batches of unequal
size (from memory): each estimate of the spread is weighed by its sureness, which for equal sizes is
the mean range / d2 or the mean standard deviation / c4.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.control.constants import SIGMAS, Constants, constants
from analysis.control.results import BatchSeries, Limits
from analysis.errors import NotPossible

Floats = NDArray[np.float64]
Bounds = tuple[Floats, Floats, Floats]  # lower, centre, upper, each (batches,); NaN where there is none

BY_MOVING_RANGES = "moving ranges"
BY_RANGES = "ranges within batches"
BY_DEVIATIONS = "standard deviations within batches"
BETWEEN = "moving ranges of batch means"

FEW = 20  # limits from fewer batches are provisional
PROMISED = "expected"  # method of limits that a trial promised before there were batches
TINY = 1e-12  # a spread below this share of the level is rounding, not spread


def estimate(series: BatchSeries, method: str) -> Limits:
    """Limits of the level from every batch of the series. Raises NotPossible where there is no spread to see."""
    means = means_of(series)
    spans = _within(series, method, means)
    if len(series.batches) < 2:
        raise NotPossible(
            f"One batch of {series.response} has no spread from batch to batch; limits need two, good ones {FEW}.",
            where=f"batch {series.batches[0]}",
            try_this="log more batches, or freeze limits that are known",
        )
    sizes = sizes_of(series)
    size = usual_size(sizes)
    if method in (BY_MOVING_RANGES, BETWEEN):
        numbers = {"mean": float(means.mean()), "spread": _no_rounding(mean_moving_range(means), means)}
        if method == BETWEEN:
            numbers |= {"within": spans, "size": float(size), "inverse": float(np.mean(1 / sizes))}
    else:
        numbers = {"mean": float(sizes @ means / sizes.sum()), "within": spans, "size": float(size)}
    sd = float(level_sd(method, numbers, np.array([float(size)]))[0])
    reach = SIGMAS * sd
    centre = numbers["mean"]
    return Limits(
        lower=centre - reach if sd > 0 else None,
        centre=centre,
        upper=centre + reach if sd > 0 else None,
        sd=sd,
        method=method,
        batches=len(series.batches),
        first_batch=series.batches[0],
        last_batch=series.batches[-1],
        provisional=len(series.batches) < FEW,
        numbers=numbers,
    )


def level_sd(method: str, numbers: Mapping[str, float], sizes: Floats) -> Floats:
    """Standard deviation of the plotted level of batches of these sizes, (batches,)."""
    if method == BY_MOVING_RANGES:
        return np.full(sizes.shape, numbers["spread"])
    within = numbers["within"] ** 2
    if method != BETWEEN:
        return np.sqrt(within / sizes)
    total, inverse = numbers["spread"] ** 2, numbers["inverse"]
    between = total - within * inverse
    if between > 0:
        return np.sqrt(between + within / sizes)
    # Means scatter less than their own readings would have it: all the spread is then of the size's making.
    return np.sqrt(total / (inverse * sizes))


def level_bounds(limits: Limits, sizes: Floats) -> Bounds:
    """Limits of the level for batches of these sizes; stored limits stand as they are for the usual size."""
    lower, upper = (_or_nan(bound) for bound in (limits.lower, limits.upper))
    bounds = np.full(sizes.shape, lower), np.full(sizes.shape, limits.centre), np.full(sizes.shape, upper)
    usual = limits.numbers.get("size")
    if usual is None or limits.method == BY_MOVING_RANGES or limits.sd == 0:
        return bounds
    other = sizes != usual
    reach = SIGMAS * level_sd(limits.method, limits.numbers, sizes[other])
    bounds[0][other] = limits.centre - reach
    bounds[2][other] = limits.centre + reach
    return bounds


def level_sds(limits: Limits, bounds: Bounds) -> Floats:
    """Standard deviations of levels under these bounds, (batches,); those of the limits where one side is open."""
    lower, _, upper = bounds
    return np.where(np.isnan(lower) | np.isnan(upper), limits.sd, (upper - lower) / (2 * SIGMAS))


def moving_range_bounds(before: Floats, now: Floats) -> Bounds:
    """Limits of the distance between one level and the one before, from the standard deviations of both."""
    two = constants(2)
    sd = np.sqrt((before**2 + now**2) / 2)
    upper = np.where(sd > 0, (two.d2 + SIGMAS * two.d3) * sd, np.nan)
    return np.where(sd > 0, 0.0, np.nan), two.d2 * sd, upper


def range_bounds(limits: Limits, sizes: Floats) -> Bounds:
    """Limits of the range of batches of these sizes, each at least 2."""
    return _spread_bounds(limits.numbers.get("within", 0.0), sizes, lambda n: (constants(n).d2, constants(n).d3))


def deviation_bounds(limits: Limits, sizes: Floats) -> Bounds:
    """Limits of the standard deviation of batches of these sizes, each at least 2."""
    return _spread_bounds(limits.numbers.get("within", 0.0), sizes, lambda n: (constants(n).c4, constants(n).c5))


def spread_sd(kind: str, limits: Limits, size: int) -> float:
    """Standard deviation of a plotted spread ("moving range", "range" or "standard deviation")."""
    if kind == "moving range":
        return limits.numbers.get("spread", limits.sd) * constants(2).d3
    of = constants(size)
    return limits.numbers.get("within", 0.0) * (of.d3 if kind == "range" else of.c5)


def _spread_bounds(sd: float, sizes: NDArray[np.generic], mean_and_sd: Callable[[int], tuple[float, float]]) -> Bounds:
    each = {size: mean_and_sd(int(size)) for size in set(sizes.tolist())}
    centre = np.array([sd * each[size][0] for size in sizes.tolist()])
    reach = np.array([SIGMAS * sd * each[size][1] for size in sizes.tolist()])
    if sd <= 0:
        nothing = np.full(sizes.shape, np.nan)
        return nothing, centre, nothing
    return np.maximum(centre - reach, 0.0), centre, centre + reach


def _within(series: BatchSeries, method: str, means: Floats) -> float:
    """Standard deviation of the readings of one batch, put together over the batches that have several."""
    if method == BY_MOVING_RANGES:
        return 0.0
    several = [values for values in series.values if len(values) > 1]
    if not several:
        raise NotPossible(
            f"Every batch has one reading of {series.response}: there is no spread within a batch.",
            where=series.response,
            try_this="--kind individuals",
        )
    spread, sureness = (range_of, _range_sureness) if method == BY_RANGES else (deviation_of, _deviation_sureness)
    sizes = [len(values) for values in several]
    each = {size: sureness(constants(size)) for size in set(sizes)}
    factors, weights = np.array([each[size] for size in sizes]).T
    estimates = by_size(several, spread) / factors
    return _no_rounding(float(np.average(estimates, weights=weights)), means)


def by_size(readings: Sequence[Sequence[float]], spread: Callable[[Floats], Floats]) -> Floats:
    """The spread of each batch's readings, (batches,): all batches of one size, (batches, size), are asked at once."""
    sizes = np.array([len(values) for values in readings])
    found = np.empty(len(sizes))
    for size in np.unique(sizes):
        own = np.flatnonzero(sizes == size)
        found[own] = spread(np.array([readings[place] for place in own.tolist()], dtype=float))
    return found


def range_of(readings: Floats) -> Floats:
    return np.asarray(np.ptp(readings, axis=-1))


def deviation_of(readings: Floats) -> Floats:
    return np.asarray(readings.std(ddof=1, axis=-1))


def _range_sureness(of: Constants) -> tuple[float, float]:
    return of.d2, (of.d2 / of.d3) ** 2


def _deviation_sureness(of: Constants) -> tuple[float, float]:
    return of.c4, (of.c4 / of.c5) ** 2


def mean_moving_range(levels: Floats) -> float:
    """Mean distance from one level to the next, over d2: the standard deviation of one level."""
    return float(np.abs(np.diff(levels)).mean()) / constants(2).d2


def means_of(series: BatchSeries) -> Floats:
    """Mean of the readings of each batch; the order of the readings does not change a bit of it."""
    return np.array(list(map(mean_of, series.values)))


def mean_of(values: Sequence[float]) -> float:
    """Rounded once only, so that 43.1 and 43.2 make 43.15 and not a digit beside it."""
    return math.fsum(values) / len(values)


def sizes_of(series: BatchSeries) -> Floats:
    return np.array([float(len(values)) for values in series.values])


def usual_size(sizes: Sequence[float] | Floats) -> int:
    """The most frequent size; of equally frequent ones the largest."""
    counted = Counter(int(size) for size in sizes)
    return max(counted, key=lambda size: (counted[size], size))


def _no_rounding(spread: float, levels: Floats) -> float:
    return 0.0 if spread <= TINY * float(np.abs(levels).max()) else spread


def _or_nan(bound: float | None) -> float:
    return float("nan") if bound is None else bound
