"""How desirable is a value, from 0 (not acceptable) to 1 (as good as can be wished)?

Derringer & Suich (1980), "Simultaneous optimization of several response variables", Journal of
Quality Technology 12, 214-219: a power of the way from what is not acceptable to what is wished
for, and the weighted geometric mean over the responses.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.errors import TrialDataError

Floats = NDArray[np.float64]


def larger_is_better(y: ArrayLike, *, low: float, full: float, weight: float = 1.0) -> Floats:
    """((y - low) / (full - low)) ** weight: 0 up to ``low``, 1 from ``full`` on."""
    _in_order(low, full)
    return np.asarray(np.clip((np.asarray(y, dtype=np.float64) - low) / (full - low), 0.0, 1.0) ** weight)


def smaller_is_better(y: ArrayLike, *, full: float, high: float, weight: float = 1.0) -> Floats:
    """((high - y) / (high - full)) ** weight: 1 up to ``full``, 0 from ``high`` on."""
    _in_order(full, high)
    return np.asarray(np.clip((high - np.asarray(y, dtype=np.float64)) / (high - full), 0.0, 1.0) ** weight)


def target_is_best(
    y: ArrayLike, *, low: float, target: float, high: float, weight: float = 1.0, weight_above: float | None = None
) -> Floats:
    """1 on the target, falling to 0 at ``low`` and ``high``; ``weight`` holds below, ``weight_above`` above."""
    _in_order(low, target)
    _in_order(target, high)
    values = np.asarray(y, dtype=np.float64)
    below = larger_is_better(values, low=low, full=target, weight=weight)
    above = smaller_is_better(values, full=target, high=high, weight=weight if weight_above is None else weight_above)
    return np.asarray(np.where(values <= target, below, above))


def overall(desirabilities: Sequence[Floats] | Floats, importance: Sequence[float] | None = None) -> Floats:
    """Geometric mean (m,) over responses (k, m) weighted by importance; 0 where one of them is 0."""
    each = np.atleast_1d(np.asarray(desirabilities, dtype=np.float64))
    weights = np.ones(len(each)) if importance is None else np.asarray(importance, dtype=np.float64)
    zero = (each <= 0.0).any(axis=0)
    logs = np.log(np.where(each > 0.0, each, 1.0))
    return np.asarray(np.where(zero, 0.0, np.exp(np.tensordot(weights / weights.sum(), logs, axes=1))))


def _in_order(first: float, second: float) -> None:
    if not first < second:
        raise TrialDataError(
            f"What is acceptable reaches from {first:g} to {second:g}, which leaves no room.",
            where="goals",
            try_this="Give the smaller number first.",
        )
