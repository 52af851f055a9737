"""On which power of the response does the model fit best?

Box and Cox 1964, J. R. Stat. Soc. B 26:211: the profile likelihood of the power, of the model and not
of the raw readings, with the interval of all powers whose likelihood is not much lower.
"""

from __future__ import annotations

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

    def likelihood(power: float) -> float:
        z = around if abs(power) < NEARLY_ZERO else np.expm1(power * around) / power
        z = weights * z
        left = z - q @ (q.T @ z)
        left = left - q @ (q.T @ left)
        return -len(y) / 2 * float(np.log(max(float(left @ left), 1e-300)))

    grid = np.linspace(-REACH, REACH, STEPS)
    values = np.array([likelihood(power) for power in grid])
    at = int(values.argmax())
    best = _highest(likelihood, grid[max(at - 1, 0)], grid[min(at + 1, STEPS - 1)])
    top = max(likelihood(best), float(values[at]))
    if np.ptp(values) < NEARLY_ZERO or not np.isfinite(top):
        return None
    from scipy.special import chdtri

    floor = top - float(chdtri(1, 1 - confidence)) / 2
    return Power(best, _crossing(likelihood, floor, best, -REACH), _crossing(likelihood, floor, best, REACH))


def _highest(function, low: float, high: float) -> float:  # type: ignore[no-untyped-def]
    """Golden section search between two powers."""
    ratio = (np.sqrt(5) - 1) / 2
    for _ in range(60):
        one, other = high - ratio * (high - low), low + ratio * (high - low)
        if function(one) < function(other):
            low = one
        else:
            high = other
    return float((low + high) / 2)


def _crossing(function, floor: float, inside: float, end: float) -> float | None:  # type: ignore[no-untyped-def]
    """Where the likelihood falls to ``floor`` between ``inside`` and ``end``; None when it does not."""
    if function(end) >= floor:
        return None
    outside = end
    for _ in range(60):
        middle = (inside + outside) / 2
        if function(middle) >= floor:
            inside = middle
        else:
            outside = middle
    return float(inside)
