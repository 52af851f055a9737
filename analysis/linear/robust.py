"""What do the bakes say when odd ones weigh less?

An M-estimate (Huber 1964, Ann. Math. Stat. 35:73): bakes far from their fellows pull only as hard as
those at ``BEND`` standard deviations. The scale is the median absolute residual, made larger for what
the model's own coefficients took out. Tests and intervals come from pseudo-values (Bickel 1976, Scand.
J. Stat. 3:145; Huber 1981, Robust Statistics, 7.6): readings for which least squares gives just the robust
coefficients, with the scatter that their covariance asks for.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.linear.least_squares import Fit

Floats = NDArray[np.float64]

BEND = 1.345  # 95 % efficient when the scatter is normal
NORMAL = 0.6744897501960817  # median of |z|
MOST_STEPS = 500
CLOSE = 1e-12


@dataclass(frozen=True)
class Robust:
    """``pseudo`` (n,) stand for the readings; ``weights`` (n,) say how much each bake counted (1: fully)."""

    coefficients: Floats
    scale: float
    pseudo: Floats
    weights: Floats


def huber_fit(fit: Fit, *, bend: float = BEND) -> Robust | None:
    """The M-estimate with the columns of ``fit``; None where it does not settle or leaves no scatter."""
    x, y = fit.x, fit.y
    n, p = x.shape
    if n - p < 1:
        return None
    widen = np.sqrt(n / (n - p))
    beta: Floats = fit.coefficients
    last = 0.0
    for _ in range(MOST_STEPS):
        left = y - x @ beta
        scale = float(np.median(np.abs(left))) / NORMAL * widen
        if not scale > CLOSE * float(np.ptp(y)):
            return None
        weights = _weights(left, scale, bend)
        root = np.sqrt(weights)
        fresh: Floats = np.asarray(np.linalg.lstsq(x * root[:, None], y * root, rcond=None)[0], dtype=np.float64)
        moved = float(np.abs(x @ (fresh - beta)).max())
        beta = fresh
        if moved <= CLOSE * scale and abs(scale - last) <= 1e-9 * scale:
            return _judged(x, y, beta, scale, bend)
        last = scale
    return None


def _weights(left: Floats, scale: float, bend: float) -> Floats:
    far = np.abs(left) / scale
    return np.where(far > bend, bend / np.maximum(far, bend), 1.0)


def _judged(x: Floats, y: Floats, beta: Floats, scale: float, bend: float) -> Robust | None:
    n, p = x.shape
    left = y - x @ beta
    free = float(np.mean(np.abs(left) <= bend * scale))  # mean slope of the bent residual
    if free <= p / n:
        return None
    widen = 1 + p / n * (1 - free) / free  # Huber's K: what estimating p coefficients costs
    bent = np.clip(left / scale, -bend, bend) * scale
    pseudo = x @ beta + widen / free * bent
    return Robust(beta, scale, pseudo, _weights(left, scale, bend))


def huber_location(values: Floats, *, bend: float = 1.5) -> tuple[float, float] | None:
    """(location, scale): Huber's estimate with the median absolute deviation as a fixed scale.

    None where more than half of the values are one and the same.
    """
    middle = float(np.median(values))
    scale = float(np.median(np.abs(values - middle))) / NORMAL
    if not scale > 0:
        return None
    for _ in range(MOST_STEPS):
        fresh = float(np.mean(np.clip(values, middle - bend * scale, middle + bend * scale)))
        if abs(fresh - middle) <= CLOSE * scale:
            break
        middle = fresh
    return fresh, scale
