"""On which scale do lopsided readings scatter alike to both sides?

A power (Box and Cox 1964, J. Royal Statistical Society B 26:211; the logarithm is power 0) for
readings above 0, chosen by its likelihood and rounded to a familiar one where the data allow it; else
the logarithm of the distance from a floor, or below a ceiling, that gives the readings' own
skewness (three-parameter lognormal, by moments). Both do the same whatever the unit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FEWEST = 20  # readings; a scale chosen from fewer is a guess
SURE_OF_SKEW = 0.01  # chance of calling even readings lopsided
FAMILIAR = (-1.0, -0.5, 0.0, 0.5)
STRONGEST = 2.0  # a power beyond this bends by its distance from nothing, not by its own shape
_HALF_CHI = 1.9207  # half the 95 % point of chi-square with 1 df


class Scale(Protocol):
    """A scale and its way back to the unit; ``back`` gives NaN beyond what readings can be."""

    @property
    def name(self) -> str: ...
    def forth(self, x: Floats) -> Floats: ...
    def back(self, y: Floats) -> Floats: ...


@dataclass(frozen=True, kw_only=True)
class Power:
    """y = ((x / middle)^power - 1) / power; ``low`` to ``high`` the 95 % interval of the power."""

    power: float
    middle: float
    low: float
    high: float

    @property
    def name(self) -> str:
        known = {0.0: "logarithm", 0.5: "square root", -1.0: "reciprocal", -0.5: "reciprocal root", 1.0: "as read"}
        return known.get(self.power, f"power {self.power:.2f}")

    def forth(self, x: Floats) -> Floats:
        ratio = np.asarray(x, dtype=float) / self.middle
        ratio = np.where(ratio > 0, ratio, np.nan)
        return np.log(ratio) if self.power == 0 else (ratio**self.power - 1) / self.power

    def back(self, y: Floats) -> Floats:
        y = np.asarray(y, dtype=float)
        if self.power == 0:
            return self.middle * np.exp(y)
        inside = 1 + self.power * y
        return self.middle * np.where(inside > 0, inside, np.nan) ** (1 / self.power)


@dataclass(frozen=True, kw_only=True)
class ShiftedLog:
    """y = log((x - floor) / size) for a long upper tail (``side`` 1), -log((ceiling - x) / size) for a lower one."""

    edge: float
    size: float
    side: int

    @property
    def name(self) -> str:
        return "logarithm above a floor" if self.side > 0 else "logarithm below a ceiling"

    def forth(self, x: Floats) -> Floats:
        away = self.side * (np.asarray(x, dtype=float) - self.edge) / self.size
        return self.side * np.log(np.where(away > 0, away, np.nan))

    def back(self, y: Floats) -> Floats:
        return self.edge + self.side * self.size * np.exp(self.side * np.asarray(y, dtype=float))


AS_READ = Power(power=1.0, middle=1.0, low=1.0, high=1.0)


def is_skewed(values: Floats) -> bool:
    """Is it beyond chance that the readings reach further to one side? Also without the furthest of them.

    D'Agostino 1970, Biometrika 57:679. One wild batch is for the chart to find, not for the scale to hide.
    """
    from scipy import stats

    if len(values) < FEWEST or np.ptp(values) <= 1e-12 * float(np.abs(values).max()):
        return False
    without = np.delete(values, int(np.argmax(np.abs(values - np.median(values)))))
    tests = [stats.skewtest(part) for part in (values, without)]
    same = tests[0].statistic * tests[1].statistic > 0
    return bool(same and all(test.pvalue < SURE_OF_SKEW for test in tests))


def fit_scale(values: Floats) -> Scale:
    """The scale that suits the readings (n,), not all alike; as read where a power of 1 is as good."""
    if values.min() > 0:
        power = fit_power(values)
        if abs(power.power) <= STRONGEST:
            return power
    return fit_shifted_log(values)


def fit_power(values: Floats) -> Power:
    """The likeliest power of readings above 0, rounded to 1 or a familiar one within its 95 % interval."""
    from scipy.optimize import brentq, minimize_scalar

    middle = float(np.exp(np.log(values).mean()))
    logs = np.log(values / middle)

    def loss(power: float) -> float:
        y = logs if abs(power) < 1e-8 else np.expm1(power * logs) / power
        return len(logs) / 2 * math.log(float(np.var(y)))

    reach = min(40.0, 8 / float(np.abs(logs).max()))  # further, the largest reading is all there is
    best = minimize_scalar(loss, bounds=(-reach, reach), method="bounded")
    at, least = float(best.x), float(best.fun)

    def beyond(power: float) -> float:
        return loss(power) - least - _HALF_CHI

    low = float(brentq(beyond, -2 * reach, at)) if beyond(-2 * reach) > 0 else -math.inf
    high = float(brentq(beyond, at, 2 * reach)) if beyond(2 * reach) > 0 else math.inf
    return Power(power=_familiar(at, low, high), middle=middle, low=low, high=high)


def _familiar(at: float, low: float, high: float) -> float:
    if low <= 1 <= high:
        return 1.0
    inside = [power for power in FAMILIAR if low <= power <= high]
    return min(inside, key=lambda power: abs(power - at)) if inside else at


def fit_shifted_log(values: Floats) -> Scale:
    """The lognormal with the mean, spread and skewness of the readings; as read where they have none.

    skewness = (w + 2) sqrt(w - 1) and variance = m^2 w (w - 1) with w = exp(sd of logs, squared).
    """
    from scipy import stats

    skew = float(stats.skew(values, bias=False))
    if abs(skew) < 1e-6:
        return AS_READ
    half = abs(skew) / 2
    root = (math.sqrt(1 + half**2) + half) ** (1 / 3)
    omega = (root - 1 / root) ** 2 + 1  # w, the real root of (w + 2)^2 (w - 1) = skewness^2
    side = 1 if skew > 0 else -1
    size = float(values.std(ddof=1)) / math.sqrt(omega * (omega - 1))
    edge = float(values.mean()) - side * size * math.sqrt(omega)
    nearest = float(values.min() if side > 0 else values.max())
    room = 0.01 * float(values.std(ddof=1))
    edge = min(edge, nearest - room) if side > 0 else max(edge, nearest + room)
    return ShiftedLog(edge=edge, size=size, side=side)
