"""Does the measured pH fit the predicted one, bake by bake?

The model leaves out flour and egg, so that all bakes of a trial lie about the same way off.
A bake that lies far from its fellows was mis-weighed, or its leavener has lost strength.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.leavening.arrays import Array

NORMAL_MAD = 1.4826  # median absolute deviation to standard deviation, for normal scatter
FAR_SDS = 3.5  # Iglewicz & Hoaglin 1993, How to Detect and Handle Outliers
LEAST_GAP = 0.2  # pH: a closer bake is not worth a second look (common practice, no source)
FEWEST_BAKES = 5


@dataclass(frozen=True, kw_only=True)
class OddPh:
    """A bake whose measured pH lies ``gap`` above (+) or below (-) what its fellows would lead one to expect."""

    bake: str
    measured: float
    predicted: float
    gap: float


def odd_ph(bakes: Sequence[str], measured: Sequence[float], predicted: Sequence[float]) -> tuple[OddPh, ...]:
    """Bakes whose difference measured - predicted lies far from the straight line of the others.

    A line and not a constant, because a buffered dough answers less than water does. Fewer
    than five bakes give none.
    """
    y, x = np.asarray(measured, dtype=float), np.asarray(predicted, dtype=float)
    if len(y) < FEWEST_BAKES:
        return ()
    gap = y - _steady_line(x, y)
    centre = float(np.median(gap))
    spread = NORMAL_MAD * float(np.median(np.abs(gap - centre)))
    far = max(FAR_SDS * spread, LEAST_GAP)
    return tuple(
        OddPh(bake=bakes[i], measured=float(y[i]), predicted=float(x[i]), gap=float(gap[i] - centre))
        for i in range(len(y))
        if abs(gap[i] - centre) > far
    )


def _steady_line(x: Array, y: Array) -> Array:
    """Median of the pairwise slopes (Theil 1950, Sen 1968): one odd bake does not bend it."""
    first, second = np.triu_indices(len(x), k=1)
    apart = np.abs(x[second] - x[first]) > 1e-9
    if not apart.any():
        return np.full_like(y, float(np.median(y)))
    slope = float(np.median((y[second] - y[first])[apart] / (x[second] - x[first])[apart]))
    return slope * x + float(np.median(y - slope * x))
