"""What can counts be, and how far does chance alone scatter them?

Binomial for shares of pieces, Poisson for faults of which a piece may have several.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from analysis.control.results import CountSeries
from analysis.errors import TrialDataError

Floats = NDArray[np.float64]
Bounds = tuple[Floats, Floats, Floats]

SHARE, COUNT, RATE = "share", "count", "rate"
TAIL = 0.001349898  # of a normal point beyond three standard deviations, one side
JUDGE_SPREAD_FROM = 8  # batches; fewer tell nothing about their scatter
PIECES = "pieces"


def check_counts(series: object) -> CountSeries:
    """Whole counts on whole numbers of pieces. Raises TrialDataError."""
    if not isinstance(series, CountSeries):
        raise TrialDataError(
            "This kind of chart takes counts.", where="kind", try_this="--kind auto, or give counts and sizes"
        )
    for batch, count, size in zip(series.batches, series.counts, series.sizes, strict=True):
        check_count(count, size, of=series.of, batch=batch)
    return series


def check_count(count: float, size: float, *, of: str, batch: str) -> None:
    where = f"batch {batch}"
    if not (math.isfinite(count) and math.isfinite(size)):
        raise TrialDataError(f"A count of batch {batch} is not a number.", where=where, try_this="leave it out")
    if count < 0 or size <= 0:
        raise TrialDataError(
            f"Batch {batch} counts {count:g} on a size of {size:g}.",
            where=where,
            try_this="counts are 0 or more, sizes above 0",
        )
    if count != round(count) or (of == PIECES and size != round(size)):
        raise TrialDataError(
            f"Batch {batch} counts {count:g} of {size:g}: counts are whole numbers.",
            where=where,
            try_this="give how many there were, not their share or mean",
        )
    if of == PIECES and count > size:
        raise TrialDataError(
            f"Batch {batch} counts {count:g} of {size:g} pieces: more than there were.",
            where=where,
            try_this="swap count and size, or say that a piece may have several",
        )


def kind_of(series: CountSeries) -> str:
    if series.of == PIECES:
        return SHARE
    return COUNT if len(set(series.sizes)) == 1 else RATE


def scatter_of(x: Floats, n: Floats, rate: float, of: str) -> float | None:
    """How many times the scatter of chance, from the moving ranges of the standardised points; None for few batches.

    1 is chance alone. Source: Laney 2002.
    """
    if len(x) < JUDGE_SPREAD_FROM or not rate > 0 or (of == PIECES and rate >= 1):
        return None
    z = (x / n - rate) / chance_sd(rate, n, of)
    return float(np.abs(np.diff(z)).mean() * math.sqrt(math.pi) / 2)


def sureness_of_scatter(batches: int) -> float:
    """Standard deviation of ``scatter_of`` under chance alone, for normal points.

    Var |x1 - x2| = 2 - 4/pi and Cov(|x1 - x2|, |x2 - x3|) = 1/3 + 2 sqrt(3)/pi - 4/pi, over d2^2 = 4/pi.
    """
    ranges = batches - 1
    own, neighbours = 2 - 4 / math.pi, 1 / 3 + 2 * math.sqrt(3) / math.pi - 4 / math.pi
    return math.sqrt((ranges * own + 2 * (ranges - 1) * neighbours) / ranges**2 * math.pi / 4)


def exact_bounds(rate: float, n: Floats, counted: str) -> Bounds:
    """The counts that chance passes in at most ``TAIL`` of batches to either side, over their sizes."""
    from scipy import stats

    chance = stats.binom(n, rate) if counted == PIECES else stats.poisson(n * rate)
    upper = chance.isf(TAIL)  # the smallest count with so little beyond it
    lower = chance.ppf(TAIL)
    lower = np.where(chance.cdf(lower) <= TAIL, lower + 1, lower)
    upper = np.where(upper >= n, np.nan, upper) if counted == PIECES else upper
    return np.where(lower <= 0, np.nan, lower) / n, np.full(n.shape, rate), upper / n


def chance_sd(rate: float, n: Floats, counted: str) -> Floats:
    """Standard deviation of a share or rate by chance alone."""
    return np.sqrt((rate * (1 - rate) if counted == PIECES else rate) / n)
