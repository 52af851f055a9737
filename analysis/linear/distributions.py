"""How unusual is a number like this?

Tails and quantiles of t, F and the studentized range, from ``scipy.special`` and
Gauss-Legendre integration: the general distribution objects cost milliseconds a
call, and a factorial answer asks hundreds of times.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import betainc, gammaln, ndtr, ndtri, stdtr, stdtrit

Floats = NDArray[np.float64]

RANGE_FLOOR = 1e-13  # the integration below is no better than this


def f_tail(value: float, df: float, df_error: float) -> float:
    """P(F >= value) on ``df`` and ``df_error`` degrees of freedom (> 0)."""
    if value <= 0:
        return 1.0
    return float(betainc(df_error / 2, df / 2, df_error / (df_error + df * value)))


def t_tails(value: float, df: float) -> float:
    """P(|T| >= |value|), both tails."""
    return float(2 * stdtr(df, -abs(value)))


@lru_cache(maxsize=4096)
def t_quantile(confidence: float, df: float) -> float:
    """t such that the central ``confidence`` lies within ±t."""
    return float(-stdtrit(df, (1 - confidence) / 2))


def half_normal_quantile(fraction: Floats) -> Floats:
    """Quantiles of |Z| for a standard normal Z: Phi^-1((1 + fraction) / 2)."""
    return np.asarray(ndtri(0.5 + 0.5 * fraction), dtype=np.float64)


@lru_cache(maxsize=4)
def unit_nodes(count: int) -> tuple[Floats, Floats]:
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return nodes, weights


@lru_cache(maxsize=256)
def spread_rule(df: float, count: int = 128, reach: float = 9.0, tail: float = 2.0) -> tuple[Floats, Floats]:
    """``count`` nodes of s = chi / sqrt(df) with weights that already hold its density.

    They reach ``reach`` standard deviations to each side, and ``tail`` / df further up.
    """
    width = reach / np.sqrt(2 * df)
    low, high = max(0.0, 1 - width), 1 + width + tail / df
    nodes, weights = unit_nodes(count)
    s = low + (high - low) * (nodes + 1) / 2
    log_density = np.log(2) + (df / 2) * np.log(df / 2) - gammaln(df / 2) + (df - 1) * np.log(s) - df * s * s / 2
    density = weights * (high - low) / 2 * np.exp(log_density)
    return s, density / density.sum()


def _range_below(q: Floats, levels: int) -> Floats:
    """P(range of ``levels`` standard normals < q): k ∫ phi(z) [Phi(z) - Phi(z - q)]^(k-1) dz."""
    nodes, weights = unit_nodes(128)
    z = 8.5 * nodes
    density = 8.5 * weights * np.exp(-z * z / 2) / np.sqrt(2 * np.pi)
    inside = ndtr(z) - ndtr(z - q[..., None])
    return np.asarray(levels * (density * inside ** (levels - 1)).sum(axis=-1), dtype=np.float64)


def range_tail(q: float, levels: int, df: float) -> float:
    """P(Q >= q) for the studentized range of ``levels`` means on ``df`` degrees of freedom.

    Never reported below 1e-13, the accuracy of the integration.
    """
    if q <= 0:
        return 1.0
    s, weight = spread_rule(df)
    below = float((weight * _range_below(q * s, levels)).sum())
    return min(1.0, max(1.0 - below, RANGE_FLOOR))


@lru_cache(maxsize=1024)
def range_quantile(confidence: float, levels: int, df: float) -> float:
    """q with P(Q < q) = confidence, by regula falsi with halving (Illinois)."""
    tail = 1 - confidence
    low, high = 0.0, 4.0
    below, above = 1 - tail, range_tail(high, levels, df) - tail
    while above > 0 and high < 1e9:
        low, below = high, above
        high *= 2
        above = range_tail(high, levels, df) - tail
    side = 0
    for _ in range(100):
        q = (low * above - high * below) / (above - below)
        value = range_tail(q, levels, df) - tail
        if abs(value) < 1e-14 or high - low < 1e-12 * high:
            break
        if value > 0:
            low, below = q, value
            above = above / 2 if side == 1 else above
            side = 1
        else:
            high, above = q, value
            below = below / 2 if side == -1 else below
            side = -1
    return q
