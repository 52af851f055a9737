"""On which scale is the response analysed, and how does one come back from it?

Each scale has its way there, its way back and the slope of the way back. All rise with the response
(reciprocals are taken with a minus), so that more stays more.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.errors import NotPossible
from analysis.questions import Transform

Floats = NDArray[np.float64]

PERCENT = 100.0


@dataclass(frozen=True, eq=False)
class Scale:
    """``back`` gives NaN where a value of the scale belongs to no reading; callers turn that into None.

    ``power`` is Box and Cox's lambda (None for the logit). ``largest`` is what a logit counts as all.
    """

    name: Transform
    power: float | None
    there: Callable[[Floats], Floats]
    back: Callable[[Floats], Floats]
    slope: Callable[[Floats], Floats]
    largest: float = 1.0


def _square_back(x: Floats) -> Floats:
    return np.where(x >= 0, x * x, np.nan)


def _minus_over(power: float) -> Callable[[Floats], Floats]:
    """The way back from -y^(-1/power): y = (-x)^(-power)."""

    def back(x: Floats) -> Floats:
        return np.where(x < 0, np.power(np.abs(x) + (x >= 0), -power), np.nan)

    return back


def _minus_over_slope(power: float) -> Callable[[Floats], Floats]:
    def slope(x: Floats) -> Floats:
        return np.where(x < 0, power * np.power(np.abs(x) + (x >= 0), -power - 1), np.nan)

    return slope


def _power_scales() -> dict[Transform, Scale]:
    return {
        "square root": Scale("square root", 0.5, np.sqrt, _square_back, lambda x: np.where(x >= 0, 2 * x, np.nan)),
        "log": Scale("log", 0.0, np.log, np.exp, np.exp),
        "reciprocal square root": Scale(
            "reciprocal square root", -0.5, lambda y: -1 / np.sqrt(y), _minus_over(2.0), _minus_over_slope(2.0)
        ),
        "reciprocal": Scale("reciprocal", -1.0, lambda y: -1 / y, _minus_over(1.0), _minus_over_slope(1.0)),
    }


POWERS: dict[Transform, Scale] = _power_scales()


def _logit(largest: float) -> Scale:
    def back(x: Floats) -> Floats:
        return np.asarray(largest / (1 + np.exp(-x)))

    def slope(x: Floats) -> Floats:
        return np.asarray(back(x) * (1 - back(x) / largest))

    return Scale("logit", None, lambda y: np.log(y / (largest - y)), back, slope, largest)


def scale_of(name: Transform, raw: Floats, response: str, unit: str) -> Scale:
    """The named scale for these readings. Raises NotPossible where a reading has no place on it."""
    if name == "logit":
        return _logit_for(raw, response, unit)
    low = float(raw.min())
    if low < 0 or (low == 0 and name != "square root"):
        needs = "0 or more" if name == "square root" else "above 0"
        raise NotPossible(
            f"The {name} needs every {response} to be {needs}; the lowest is {low:g}.",
            where=response,
            try_this="analyse without a transformation, or leave out that bake for a reason found at the bench",
        )
    return POWERS[name]


def _logit_for(raw: Floats, response: str, unit: str) -> Scale:
    percent = unit.strip().startswith("%")
    largest = PERCENT if percent else 1.0
    if raw.min() <= 0 or raw.max() >= largest:
        raise NotPossible(
            f"The logit needs every {response} to lie between 0 and {largest:g}, the ends left out; the readings "
            f"go from {raw.min():g} to {raw.max():g}.",
            where=response,
            try_this="give shares from 0 to 1, or per cent with the unit %",
        )
    return _logit(largest)
