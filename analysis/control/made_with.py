"""Is a log fit to be asked for causes, and what are its batch means and their weights?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.control.results import BatchSeries
from analysis.control.why_results import MadeWith
from analysis.errors import NotPossible, TrialDataError

Array = NDArray[np.float64]

# Below this a step cannot be told from chance by any method that keeps its error rate.
FEWEST_BATCHES = 12
ROUNDING = 1e-9


@dataclass(frozen=True, kw_only=True)
class BatchMeans:
    """Shape (n,): the mean of each batch and the square root of its weight (1 for an average batch)."""

    means: Array
    root_weights: Array


def check_log(log: MadeWith) -> None:
    """Raises TrialDataError for columns of other length and NotPossible for a log too short or still."""
    n = len(log.series.batches)
    for kind in (log.lots, log.settings, log.beside):
        for name, column in kind.items():
            if len(column) != n:
                raise TrialDataError(
                    f"{name} has {len(column)} entries for {n} batches.", where=name, try_this="one for each batch"
                )
    where = log.series.response
    if n < FEWEST_BATCHES:
        raise NotPossible(
            f"{n} {'batch tells' if n == 1 else 'batches tell'} too little: what changed can be asked "
            f"from {FEWEST_BATCHES} batches on.",
            where=where,
            try_this="log more batches, and compare two or three of them by eye until then",
        )
    means = np.array([np.mean(values) for values in log.series.values])
    if np.ptp(means) <= ROUNDING * max(1.0, float(np.abs(means).max())):
        raise NotPossible(
            f"Every batch has the same {where}: nothing moved, so there is no change to explain.",
            where=where,
            try_this="check that the readings are not copied from one batch to the next",
        )


def batch_means(series: BatchSeries) -> BatchMeans:
    """Means, and weights from the pieces in each: a batch of one piece tells less than one of six.

    Variance of a mean: between + within / pieces. Within is pooled over the batches; between comes
    from differences of neighbours, which steps and drifts hardly touch.
    """
    values = [np.asarray(each, dtype=float) for each in series.values]
    means = np.array([each.mean() for each in values])
    pieces = np.array([len(each) for each in values], dtype=float)
    free = float(np.sum(pieces - 1))
    within = sum(float(np.sum((each - each.mean()) ** 2)) for each in values) / free if free > 0 else 0.0
    between = max(float(np.mean(np.diff(means) ** 2)) / 2 - within * float(np.mean(1 / pieces)), 0.0)
    variance = between + within / pieces
    if np.ptp(pieces) == 0 or not np.all(variance > 0):
        return BatchMeans(means=means, root_weights=np.ones(len(means)))
    weights = (1 / variance) / np.mean(1 / variance)
    return BatchMeans(means=means, root_weights=np.sqrt(weights))
