"""By how much do the range and the standard deviation of n readings fall short of, or scatter about, their spread?

For normal readings with standard deviation 1: ``d2`` is the mean and ``d3`` the standard
deviation of their range, ``c4`` the mean of their standard deviation (divisor n - 1). The
factors of control limits follow from these three. All are computed for any n >= 2, not looked up:

    P(range <= w) = n  integral of phi(x) [Phi(x + w) - Phi(x)]^(n - 1) dx
    d2 = integral of P(range > w) dw;   d2^2 + d3^2 = integral of 2 w P(range > w) dw
    c4 = sqrt(2 / (n - 1)) Gamma(n / 2) / Gamma((n - 1) / 2)

Source: Tippett 1925, Biometrika 17:364, for the distribution of the range.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

SIGMAS = 3.0  # limits stand this many standard deviations of a point from the centre

_REACH = 9.0  # beyond so many standard deviations a normal reading does not lie (1e-19)
_STEP = 1 / 16  # of the inner sum: a trapezoid of an analytic function is exact to rounding at this step
_NODES = 120  # Gauss-Legendre nodes of the outer integral


@dataclass(frozen=True, kw_only=True)
class Constants:
    """Factors for batches of ``n`` readings.

    The mean stands within ``A2`` mean ranges or ``A3`` mean standard deviations of the centre;
    ranges between ``D3`` and ``D4`` mean ranges, standard deviations between ``B3`` and ``B4`` of their means.
    """

    n: int
    d2: float
    d3: float
    c4: float

    @property
    def A2(self) -> float:  # noqa: N802 (its name in every table)
        return SIGMAS / (self.d2 * math.sqrt(self.n))

    @property
    def A3(self) -> float:  # noqa: N802 (its name in every table)
        return SIGMAS / (self.c4 * math.sqrt(self.n))

    @property
    def B3(self) -> float:  # noqa: N802 (its name in every table)
        return max(0.0, 1 - SIGMAS * self.c5 / self.c4)

    @property
    def B4(self) -> float:  # noqa: N802 (its name in every table)
        return 1 + SIGMAS * self.c5 / self.c4

    @property
    def D3(self) -> float:  # noqa: N802 (its name in every table)
        return max(0.0, 1 - SIGMAS * self.d3 / self.d2)

    @property
    def D4(self) -> float:  # noqa: N802 (its name in every table)
        return 1 + SIGMAS * self.d3 / self.d2

    @property
    def c5(self) -> float:
        """Standard deviation of the standard deviation of ``n`` readings."""
        return math.sqrt(1 - self.c4**2)


@lru_cache(maxsize=1024)
def constants(n: int) -> Constants:
    """The constants for ``n`` readings, n >= 2 (ValueError below: our own mistake, no baker's)."""
    if n < 2:
        raise ValueError(f"one reading has no range: n = {n}")
    mean, second = _range_moments(n)
    return Constants(n=n, d2=mean, d3=math.sqrt(second - mean**2), c4=c4(n))


def c4(n: int) -> float:
    """Mean of the standard deviation of ``n`` normal readings whose own is 1."""
    return math.sqrt(2 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))


def range_beyond(w: float, n: int) -> float:
    """Chance that the range of ``n`` standard normal readings exceeds ``w``."""
    return max(0.0, 1 - float(_range_cdf(np.array([w]), n)[0]))


def _range_moments(n: int) -> tuple[float, float]:
    """Mean and mean square of the range of ``n`` standard normal readings."""
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    w = _REACH * (nodes + 1)  # from 0 to twice the reach
    beyond = 1 - _range_cdf(w, n)
    return _REACH * float(weights @ beyond), _REACH * float(weights @ (2 * w * beyond))


def _range_cdf(w: np.ndarray, n: int) -> np.ndarray:
    """P(range <= w): ``x`` is the smallest reading."""
    x = np.arange(-_REACH, _REACH + _STEP, _STEP)
    density = np.exp(-(x**2) / 2) / math.sqrt(2 * math.pi)
    between = ndtr(x[None, :] + w[:, None]) - ndtr(x)[None, :]
    return n * _STEP * (between ** (n - 1)) @ density
