"""Which sizes of an effect would the data still allow, everything else adjusted to it?

Limits of the profile likelihood: where twice the loss of log-likelihood reaches the square of
``quantile`` (of a normal, or of t with few readings). A side on which it never does is open (None).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from analysis.scores.climbing import Likelihood, climb

Floats = NDArray[np.float64]
OPEN = 40.0  # a limit farther than this (in units of the starting step) is taken as none


def profile_limits(
    likelihood: Likelihood,
    params: Floats,
    value: float,
    at: int,
    se: float,
    quantile: float,
    endless: float = 0.0,
) -> tuple[float | None, float | None]:
    """Both limits of one parameter around the top ``params`` with log-likelihood ``value``.

    The side that ``endless`` points to (its sign) is known to be open.
    """
    drop = quantile**2 / 2
    found = []
    for side in (-1.0, 1.0):
        known = side * endless > 0
        found.append(None if known else _limit(_loss(likelihood, params, value, at), params[at], side, se, drop))
    return found[0], found[1]


def _loss(likelihood: Likelihood, params: Floats, value: float, at: int) -> Callable[[float], float]:
    """Loss of log-likelihood with one parameter held; each call starts from the one before."""
    free = np.arange(len(params)) != at
    last = {"params": params.copy()}

    def loss(number: float) -> float:
        start = last["params"].copy()
        start[at] = number
        top = climb(likelihood, start, free=free, steps=25)
        if not np.isfinite(top.value):
            start = params.copy()
            start[at] = number
            top = climb(likelihood, start, free=free, steps=25)
        if np.isfinite(top.value):
            last["params"] = top.params
            return value - top.value
        return np.inf

    return loss


def _limit(loss: Callable[[float], float], centre: float, side: float, se: float, drop: float) -> float | None:
    """Walk outward until the loss is reached, then close in by secants on its root (which is nearly straight)."""
    inner, outer = 0.0, se * np.sqrt(2 * drop)
    low, high = 0.0, np.sqrt(max(loss(centre + side * outer), 0.0))
    goal = np.sqrt(drop)
    while high < goal:
        inner, low = outer, high
        outer *= 1.6
        if outer > OPEN * se:
            return None
        high = np.sqrt(max(loss(centre + side * outer), 0.0))
    for _ in range(60):
        if not np.isfinite(high):
            middle = (inner + outer) / 2
        else:
            middle = inner + (outer - inner) * (goal - low) / (high - low)
            middle = min(max(middle, inner + 0.01 * (outer - inner)), outer - 0.01 * (outer - inner))
        found = np.sqrt(max(loss(centre + side * middle), 0.0))
        if abs(found - goal) < 1e-9:
            break
        if found < goal:
            inner, low = middle, found
        else:
            outer, high = middle, found
        if outer - inner < 1e-10 * (abs(centre) + se):
            break
    return float(centre + side * middle)
