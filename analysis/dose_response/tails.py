"""How unusual is a number like this under F, t or chi-squared?

Straight from ``scipy.special``: the general distribution objects give the same digits, yet loading
them is a fifth of all that a process loads before it can make its first report.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, fdtrc, fdtri, gammaincinv, stdtr, stdtrit

Array = npt.NDArray[np.float64]


def f_above(value: float, df: float, df_error: float) -> float:
    """P(F > value) on ``df`` and ``df_error`` degrees of freedom (> 0)."""
    return float(fdtrc(df, df_error, max(value, 0.0)))


def f_quantile(share: float, df: float, df_error: float) -> float:
    """The F below which ``share`` lies."""
    return float(fdtri(df, df_error, share))


def t_above(value: float, df: float) -> float:
    """P(T > value)."""
    return float(stdtr(df, -value))


def t_quantile(confidence: float, df: float) -> float:
    """t such that the central ``confidence`` lies within ±t."""
    return float(stdtrit(df, 0.5 + confidence / 2))


def squares_of_t_above(squares: Array, df: Array) -> Array:
    """P(T² > square) for each square (>= 0) on its own degrees of freedom."""
    return np.asarray(fdtrc(1, df, squares), dtype=np.float64)


def chi_squared_above(value: float, df: float) -> float:
    """P(chi-squared > value), value >= 0."""
    return float(chdtrc(df, value))


def chi_squared_quantile(share: float, df: float) -> float:
    """The chi-squared below which ``share`` lies."""
    return float(2 * gammaincinv(df / 2, share))
