"""On which scale do lopsided readings scatter alike to both sides?

A power (Box and Cox 1964, J. Royal Statistical Society B 26:211; the logarithm is power 0) for
readings above 0, chosen by its likelihood and rounded to a familiar one where the data allow it; else
the logarithm of the distance from a floor, or below a ceiling, that gives the readings' own
skewness (three-parameter lognormal, by moments). Both do the same whatever the unit.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FEWEST = 20  # readings; a scale chosen from fewer is a guess
SURE_OF_SKEW = 0.01  # chance of calling even readings lopsided
FAMILIAR = (-1.0, -0.5, 0.0, 0.5)
STRONGEST = 2.0  # a power beyond this bends by its distance from nothing, not by its own shape
_ROOM = 0.95  # the floor stays this side of the lowest reading, where the likelihood has no end
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
        if self.power == 1:  # as read: what lies below 0 is read too
            return ratio - 1
        ratio = np.where(ratio > 0, ratio, np.nan)
        return np.log(ratio) if self.power == 0 else (ratio**self.power - 1) / self.power

    def back(self, y: Floats) -> Floats:
        y = np.asarray(y, dtype=float)
        if self.power == 0:
            return self.middle * np.exp(y)
        if self.power == 1:
            return self.middle * (1 + y)
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
    without = np.delete(values, int(np.argmax(np.abs(values - np.median(values)))))
    parts = (values, without)
    if len(values) < FEWEST or any(np.ptp(part) <= 1e-9 * float(np.abs(part).max()) for part in parts):
        return False
    found = [skewness_z(part) for part in parts]
    return found[0] * found[1] > 0 and all(math.erfc(abs(z) / math.sqrt(2)) < SURE_OF_SKEW for z in found)


def skewness_z(values: Floats) -> float:
    """How far the skewness of n >= 8 readings, not all alike, lies from 0, as a standard normal number.

    D'Agostino's transformation, as above; written out, because loading what has it takes half a second of every log.
    """
    n, away = len(values), values - values.mean()
    skewness = float((away**3).mean() / (away**2).mean() ** 1.5)
    y = skewness * math.sqrt((n + 1) * (n + 3) / (6 * (n - 2)))
    kurtosis = 3 * (n * n + 27 * n - 70) * (n + 1) * (n + 3) / ((n - 2) * (n + 5) * (n + 7) * (n + 9))
    spread = math.sqrt(2 * (kurtosis - 1)) - 1
    return math.asinh(y / math.sqrt(2 / (spread - 1))) / math.sqrt(math.log(spread) / 2)


def fit_scale(values: Floats) -> Scale:
    """The scale that suits the readings (n,), not all alike; as read where a power of 1 is as good."""
    if values.min() > 0 and abs(likeliest_power(values)[0]) <= STRONGEST:
        return fit_power(values)
    return fit_shifted_log(values)


def fit_power(values: Floats) -> Power:
    """The likeliest power of readings above 0, rounded to 1 or a familiar one within its 95 % interval."""
    at, low, high = likeliest_power(values)
    middle = float(np.exp(np.log(values).mean()))
    return Power(power=_familiar(at, low, high), middle=middle, low=low, high=high)


def likeliest_power(values: Floats) -> tuple[float, float, float]:
    """The power of readings above 0 with the largest likelihood, unrounded, and its 95 % interval."""
    from scipy.optimize import brentq, minimize_scalar

    loss, reach = _loss_of(values)
    best = minimize_scalar(loss, bounds=(-reach, reach), method="bounded")
    at, least = float(best.x), float(best.fun)

    def beyond(power: float) -> float:
        return loss(power) - least - _HALF_CHI

    low = float(brentq(beyond, -2 * reach, at)) if beyond(-2 * reach) > 0 else -math.inf
    high = float(brentq(beyond, at, 2 * reach)) if beyond(2 * reach) > 0 else math.inf
    return at, low, high


def likely_powers(values: Floats, count: int) -> tuple[Floats, Floats]:
    """``count`` powers about the likeliest, and the likelihood of each as a weight (they sum to 1)."""
    at, low, high = likeliest_power(values)
    loss, reach = _loss_of(values)
    ends = max(at - 2 * (at - low), -2 * reach), min(at + 2 * (high - at), 2 * reach)
    powers = np.linspace(*ends, count)
    losses = np.array([loss(float(power)) for power in powers])
    weights = np.exp(losses.min() - losses)
    return powers, weights / weights.sum()


def _loss_of(values: Floats) -> tuple[Callable[[float], float], float]:
    """Minus the log-likelihood of a power, with mean and spread at their best, and how far powers make sense."""
    logs = np.log(values) - np.log(values).mean()

    def loss(power: float) -> float:
        y = logs if abs(power) < 1e-8 else np.expm1(power * logs) / power
        return len(logs) / 2 * math.log(float(np.var(y)))

    return loss, min(40.0, 8 / float(np.abs(logs).max()))  # further, the largest reading is all there is


def _familiar(at: float, low: float, high: float) -> float:
    if low <= 1 <= high:
        return 1.0
    inside = [power for power in FAMILIAR if low <= power <= high]
    return min(inside, key=lambda power: abs(power - at)) if inside else at


def fit_shifted_log(values: Floats) -> Scale:
    """The floor or ceiling with the largest likelihood; as read where straight is within its 95 % interval."""
    bends, losses = _bends(values, 401)
    best = int(np.argmin(losses))
    straight = float(losses[int(np.argmin(np.abs(bends)))])
    return AS_READ if straight - float(losses[best]) < _HALF_CHI else _bent(values, float(bends[best]))


def likely_shifted_logs(values: Floats, count: int) -> tuple[list[Scale], Floats]:
    """About ``count`` floors and ceilings that the readings allow, and their likelihoods as weights (sum 1)."""
    bends, losses = _bends(values, 401)
    allowed = np.flatnonzero(losses - losses.min() < 4 * _HALF_CHI)
    chosen = np.unique(np.linspace(allowed[0], allowed[-1], count).astype(int))
    weights = np.exp(losses.min() - losses[chosen])
    return [_bent(values, float(bends[at])) for at in chosen], weights / weights.sum()


def _bends(values: Floats, count: int) -> tuple[Floats, Floats]:
    """y = log(1 + bend z) / bend for standardised readings z: bends from ceiling to floor, and the loss of each."""
    z = (values - values.mean()) / values.std()
    bends = np.linspace(-_ROOM / float(z.max()), _ROOM / -float(z.min()), count)
    bends = np.where(np.abs(bends) < 1e-6, 1e-6, bends)  # straight, but for rounding
    logs = np.log1p(bends[:, None] * z)
    return bends, len(z) / 2 * np.log(np.var(logs / bends[:, None], axis=1)) + logs.sum(axis=1)


def _bent(values: Floats, bend: float) -> ShiftedLog:
    size = float(values.std()) / abs(bend)
    side = 1 if bend > 0 else -1
    return ShiftedLog(edge=float(values.mean()) - side * size, size=size, side=side)
