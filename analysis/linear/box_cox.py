"""On which power of the response does the model fit best?

Box and Cox 1964, J. R. Stat. Soc. B 26:211: the profile likelihood of the power, of the model and not
of the raw readings, with the interval of all powers whose likelihood is not much lower.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.questions import Transform

Floats = NDArray[np.float64]

REACH = 3.0  # powers beyond this say nothing a baker could use
STEPS = 61
NAMED: dict[float, Transform] = {
    1.0: "none",
    0.5: "square root",
    0.0: "log",
    -0.5: "reciprocal square root",
    -1.0: "reciprocal",
}
NEARLY_ZERO = 1e-8
ZOOMS, FINE = 7, 21


@dataclass(frozen=True)
class Power:
    """The best power with its interval (an end is None where it lies beyond what was tried)."""

    best: float
    low: float | None
    high: float | None

    @property
    def named(self) -> Transform:
        """The nearest power that has a name, of those inside the interval; the nearest of all where none is."""
        low, high = self.low if self.low is not None else -REACH, self.high if self.high is not None else REACH
        inside = [power for power in NAMED if low <= power <= high]
        return NAMED[min(inside or NAMED, key=lambda power: abs(power - self.best))]

    @property
    def speaks_against_plain(self) -> bool:
        """Does the interval leave out 1, the readings as they are?"""
        return (self.low is not None and self.low > 1) or (self.high is not None and self.high < 1)


def best_power(y: Floats, q: Floats, confidence: float = 0.95, stretch: Floats | None = None) -> Power | None:
    """The power for readings ``y`` (n,), all above 0, and a model with orthonormal columns ``q`` (n, p).

    ``stretch`` (n,) are square roots of weights that ``q`` already holds. None where there is nothing to go
    by: no error degrees of freedom, a reading of 0 or less, or a model that fits without scatter.
    """
    if y.min() <= 0 or len(y) - q.shape[1] < 2:
        return None
    weights = np.ones(len(y)) if stretch is None else stretch
    logs = np.log(y)
    middle = float(logs.mean())
    around = logs - middle  # readings over their geometric mean: all powers on one scale
    if np.ptp(around) == 0 or np.abs(around).max() > 100:
        return None

    def likelihood(powers: Floats) -> Floats:
        """Of several powers at once (m,)."""
        column = powers[:, None]
        safe = np.where(np.abs(column) < NEARLY_ZERO, 1.0, column)
        z = np.where(np.abs(column) < NEARLY_ZERO, around, np.expm1(column * around) / safe) * weights
        left = z - (z @ q) @ q.T
        left = left - (left @ q) @ q.T
        return np.asarray(-len(y) / 2 * np.log(np.maximum((left * left).sum(axis=1), 1e-300)))

    grid = np.linspace(-REACH, REACH, STEPS)
    values = likelihood(grid)
    best, top = _highest(likelihood, float(grid[int(values.argmax())]), grid[1] - grid[0])
    if np.ptp(values) < NEARLY_ZERO or not np.isfinite(top):
        return None
    from scipy.special import chdtri

    floor = top - float(chdtri(1, 1 - confidence)) / 2
    below = values < floor
    return Power(
        best,
        _crossing(likelihood, floor, best, grid[(grid < best) & below].max(initial=-np.inf)),
        _crossing(likelihood, floor, best, grid[(grid > best) & below].min(initial=np.inf)),
    )


def _highest(likelihood: Callable[[Floats], Floats], best: float, reach: float) -> tuple[float, float]:
    """(power, likelihood) at the top, by ever finer looks around the best so far."""
    top = -np.inf
    for _ in range(ZOOMS):
        powers = np.clip(np.linspace(best - reach, best + reach, FINE), -REACH, REACH)
        values = likelihood(powers)
        best, top = float(powers[int(values.argmax())]), float(values.max())
        reach *= 2 / (FINE - 1)
    return best, top


def _crossing(likelihood: Callable[[Floats], Floats], floor: float, inside: float, outside: float) -> float | None:
    """Where the likelihood falls to ``floor`` between ``inside`` and ``outside``; None when that is not finite."""
    if not np.isfinite(outside):
        return None
    for _ in range(ZOOMS):
        powers = np.linspace(inside, outside, FINE)
        high = int(np.flatnonzero(likelihood(powers) >= floor).max(initial=0))
        inside, outside = float(powers[high]), float(powers[min(high + 1, FINE - 1)])
    return float(inside)
