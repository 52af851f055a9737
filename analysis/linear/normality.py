"""Are the leftovers shaped like normal scatter?

Shapiro and Wilk's W (1965, Biometrika 52:591) with Royston's approximation of its tail (1995, Appl. Stat.
44:547, algorithm AS R94), for 8 to 5,000 bakes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

Floats = NDArray[np.float64]

FEWEST, MOST = 8, 5000
# Royston's polynomials, lowest power first.
_LAST = (0.0, 0.221157, -0.147981, -2.071190, 4.434685, -2.706056)
_BUT_ONE = (0.0, 0.042981, -0.293762, -1.752461, 5.682633, -3.582633)
_FEW_MEAN, _FEW_SD = (0.5440, -0.39978, 0.025054, -6.714e-4), (1.3822, -0.77857, 0.062767, -0.0020322)
_MANY_MEAN, _MANY_SD = (-1.5861, -0.31082, -0.083751, 0.0038915), (-0.4803, -0.082676, 0.0030302)
_FEW = 11
_SHIFT = (-2.273, 0.459)


def shapiro_wilk(values: Floats) -> tuple[float, float] | None:
    """(W, p); None for too few or too many values, or values that are all the same."""
    n = len(values)
    x = np.sort(values)
    if not FEWEST <= n <= MOST or not x[-1] > x[0]:
        return None
    around = x - x.mean()
    w = float((_weights(n) @ x) ** 2 / (around @ around))
    return min(w, 1.0), _tail(min(w, 1 - 1e-15), n)


def _weights(n: int) -> Floats:
    m = ndtri((np.arange(1, n + 1) - 0.375) / (n + 0.25))
    total = float(m @ m)
    u = 1 / np.sqrt(n)
    last = _poly(_LAST, u) + m[-1] / np.sqrt(total)
    but_one = _poly(_BUT_ONE, u) + m[-2] / np.sqrt(total)
    rest = (total - 2 * m[-1] ** 2 - 2 * m[-2] ** 2) / (1 - 2 * last**2 - 2 * but_one**2)
    a = m / np.sqrt(rest)
    a[-1], a[-2], a[0], a[1] = last, but_one, -last, -but_one
    return np.asarray(a)


def _tail(w: float, n: int) -> float:
    if n <= _FEW:
        gamma = _poly(_SHIFT, n)
        y = -np.log(gamma - np.log1p(-w))
        mean, sd = _poly(_FEW_MEAN, n), np.exp(_poly(_FEW_SD, n))
    else:
        y, logs = np.log1p(-w), np.log(n)
        mean, sd = _poly(_MANY_MEAN, logs), np.exp(_poly(_MANY_SD, logs))
    return float(ndtr(-(y - mean) / sd))


def _poly(coefficients: tuple[float, ...], x: float) -> float:
    return float(sum(c * x**power for power, c in enumerate(coefficients)))
