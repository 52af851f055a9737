"""Between which values do sums and shares of variance components lie, when they come from mean squares?

A sum c'm of independent mean squares m, with coefficients of either sign, has modified-large-sample
limits: exact for a single mean square, after Graybill and Wang (1980, J. Am. Stat. Assoc. 75:869) for
sums, after Ting, Burdick, Graybill, Jeyaratnam and Lu (1990, J. Stat. Comput. Simul. 35:135) where some
are subtracted. A share A/T lies at every s for which A - sT cannot be told from 0. The formulas were
written from memory; in the tests two mean squares give the exact limits of F, and simulations show what more cover.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np
from scipy.special import chdtri, fdtri

from analysis.mixed.terms import FloatArray

MOST = 1.0


@lru_cache(maxsize=4096)
def _ends(df: int, tail: float) -> tuple[float, float]:
    """(G, H): by which share a mean square falls short of, and by which it passes, its mean at most."""
    return 1 - df / float(chdtri(df, tail)), df / float(chdtri(df, 1 - tail)) - 1


@lru_cache(maxsize=16384)
def _mixed(up: int, down: int, tail: float) -> tuple[float, float]:
    """(for the lower limit, for the upper limit): the terms for one mean square added, one subtracted."""
    f_high, f_low = float(fdtri(up, down, 1 - tail)), float(fdtri(up, down, tail))
    (g_up, h_up), (g_down, h_down) = _ends(up, tail), _ends(down, tail)
    lower = ((f_high - 1) ** 2 - g_up**2 * f_high**2 - h_down**2) / f_high
    upper = ((1 - f_low) ** 2 - h_up**2 * f_low**2 - g_down**2) / f_low
    return lower, upper


def sum_limits(
    coefficients: FloatArray, mean_squares: FloatArray, df: tuple[int, ...], confidence: float
) -> tuple[float, float]:
    """(low, high) of c'm; all arrays (k,). Not cut at 0."""
    tail = (1 - confidence) / 2
    sizes = np.abs(coefficients) * mean_squares
    up = [i for i in range(len(df)) if coefficients[i] > 0]
    down = [i for i in range(len(df)) if coefficients[i] < 0]
    below = sum((_ends(df[i], tail)[0] * sizes[i]) ** 2 for i in up)
    below += sum((_ends(df[i], tail)[1] * sizes[i]) ** 2 for i in down)
    above = sum((_ends(df[i], tail)[1] * sizes[i]) ** 2 for i in up)
    above += sum((_ends(df[i], tail)[0] * sizes[i]) ** 2 for i in down)
    for i in up:
        for j in down:
            lower, upper = _mixed(df[i], df[j], tail)
            below += lower * sizes[i] * sizes[j]
            above += upper * sizes[i] * sizes[j]
    middle = float(coefficients @ mean_squares)
    return middle - float(np.sqrt(max(below, 0.0))), middle + float(np.sqrt(max(above, 0.0)))


def share_limits(
    part: FloatArray, whole: FloatArray, mean_squares: FloatArray, df: tuple[int, ...], confidence: float
) -> tuple[float, float]:
    """(low, high) of the share part'm / whole'm, between 0 and 1."""

    def lower(share: float) -> float:
        return sum_limits(part - share * whole, mean_squares, df, confidence)[0]

    def upper(share: float) -> float:
        return sum_limits(part - share * whole, mean_squares, df, confidence)[1]

    return _crossing(lower), _crossing(upper)


def _crossing(limit: Callable[[float], float]) -> float:
    """The share at which a limit that falls with it is 0; 0 or 1 when it is so everywhere."""
    from scipy.optimize import brentq

    if limit(0.0) <= 0:
        return 0.0
    if limit(MOST) >= 0:
        return MOST
    return float(brentq(limit, 0.0, MOST, xtol=1e-10))
