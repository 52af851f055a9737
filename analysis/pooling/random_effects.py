"""How are estimates from several trials put together when trials differ by more than their error?

y_i = mu + u_i + e_i, u_i ~ N(0, tau^2), e_i ~ N(0, v_i) with v_i known. tau^2 by restricted
maximum likelihood (Raudenbush 2009); the interval of mu by Hartung & Knapp (2001, Statistics in
Medicine 20, 3875-3889) with t on k - 1 df, never narrower than without their factor (Röver, Knapp &
Friede 2015, BMC Medical Research Methodology 15:99: with few trials it may come out by chance far too
narrow); tau's interval by the Q profile (Viechtbauer 2007, Statistics in Medicine 26, 37-52); the
next trial by the confidence distribution of tau^2 (Nagashima, Noma & Furukawa 2019, Statistical Methods
in Medical Research 28, 1689-1702), since an interval that takes tau as known is too narrow for few trials.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.errors import NotPossible

Floats = NDArray[np.float64]

DRAWS = 8_000


@dataclass(frozen=True, kw_only=True)
class Shared:
    """``weights`` (k,) add up to 1; ``factor`` is Hartung and Knapp's before it was kept from falling below 1."""

    estimate: float
    se: float
    df: float
    low: float
    high: float
    p: float | None
    tau2: float
    tau2_low: float | None
    tau2_high: float | None
    next_low: float | None
    next_high: float | None
    q: float
    q_p: float
    weights: Floats
    factor: float


def shared_effect(y: ArrayLike, variances: ArrayLike, *, confidence: float = 0.95) -> Shared:
    """The shared effect of k >= 2 estimates (k,) with their variances (k,) above 0. Raises NotPossible for fewer."""
    from scipy.stats import chi2, t

    y, v = np.asarray(y, dtype=np.float64), np.asarray(variances, dtype=np.float64)
    k = len(y)
    if k < 2:
        raise NotPossible(
            "One trial alone has nothing to be pooled with.", where="trials", try_this="Name two or more."
        )
    size = float(np.sqrt(np.max(v)))  # units fall out, so that no number is too large or too small
    y, v = y / size, v / size**2
    tau2 = reml_tau2(y, v)
    mu, se, weights, factor = _mean(y, v, tau2)
    upper = (1 + confidence) / 2
    half = float(t.ppf(upper, k - 1)) * se
    q = _q(y, v, 0.0)
    ends = _tau2_interval(y, v, confidence)
    ahead = None if k < 3 else _next(y, v, confidence)
    return Shared(
        estimate=mu * size,
        se=se * size,
        df=float(k - 1),
        low=(mu - half) * size,
        high=(mu + half) * size,
        p=float(2 * t.sf(abs(mu) / se, k - 1)),
        tau2=tau2 * size**2,
        tau2_low=None if ends is None else ends[0] * size**2,
        tau2_high=None if ends is None else ends[1] * size**2,
        next_low=None if ahead is None else ahead[0] * size,
        next_high=None if ahead is None else ahead[1] * size,
        q=q,
        q_p=float(chi2.sf(q, k - 1)),
        weights=weights,
        factor=factor,
    )


def reml_tau2(y: Floats, v: Floats) -> float:
    """The tau^2 >= 0 of highest restricted likelihood."""
    from scipy.optimize import minimize_scalar

    most = float(np.var(y, ddof=1) * 4 + np.max(v))

    def loss(tau: float) -> float:
        w = 1.0 / (v + tau * tau)
        mu = float(w @ y / w.sum())
        return float(-np.log(w).sum() + np.log(w.sum()) + w @ (y - mu) ** 2)

    # Several peaks can stand side by side: the best of a grid is closed in on.
    grid = np.linspace(0.0, np.sqrt(most), 60)
    at = int(np.argmin([loss(tau) for tau in grid]))
    low, high = grid[max(at - 1, 0)], grid[min(at + 1, len(grid) - 1)]
    found = minimize_scalar(loss, bounds=(low, high), method="bounded", options={"xatol": 1e-12})
    best = float(found.x) if found.fun < loss(0.0) - 1e-12 else 0.0
    return best * best


def _mean(y: Floats, v: Floats, tau2: float) -> tuple[float, float, Floats, float]:
    """mu, its standard error, the weights, and Hartung and Knapp's factor."""
    w = 1.0 / (v + tau2)
    mu = float(w @ y / w.sum())
    factor = float(w @ (y - mu) ** 2 / (len(y) - 1))
    return mu, float(np.sqrt(max(factor, 1.0) / w.sum())), w / w.sum(), factor


def _q(y: Floats, v: Floats, tau2: float) -> float:
    w = 1.0 / (v + tau2)
    return float(w @ (y - w @ y / w.sum()) ** 2)


def _tau2_interval(y: Floats, v: Floats, confidence: float) -> tuple[float, float] | None:
    """Ends of the Q profile; None where no end is found."""
    from scipy.stats import chi2

    outer, inner = (float(chi2.ppf(share, len(y) - 1)) for share in ((1 - confidence) / 2, (1 + confidence) / 2))
    low = _solve(lambda tau2: _q(y, v, tau2) - inner)
    high = _solve(lambda tau2: _q(y, v, tau2) - outer)
    return None if low is None or high is None else (low, high)


def _next(y: Floats, v: Floats, confidence: float) -> tuple[float, float]:
    """Ends of the interval for the true effect of one more trial.

    tau^2 is drawn where Q(tau^2) meets a chi^2 on k - 1 df, then mu by its t for that tau^2, then
    the trial around it; every draw stands at an even share of its distribution, in a stored disorder.
    """
    k = len(y)
    from_chi2, from_t, from_normal = _even_draws(k - 1)
    tau = np.append(0.0, np.geomspace(1e-4, 1e4 * (1.0 + float(np.ptp(y))), 1500))
    w = 1.0 / (v + tau[:, None] ** 2)
    mu = (w * y).sum(axis=1) / w.sum(axis=1)
    q = (w * (y - mu[:, None]) ** 2).sum(axis=1)
    se = np.sqrt(np.maximum(q / (k - 1), 1.0) / w.sum(axis=1))
    # Q falls as tau grows; what lies above Q(0) belongs to tau = 0.
    drawn = np.interp(from_chi2, q[::-1], tau[::-1])
    ahead = np.interp(drawn, tau, mu) + np.interp(drawn, tau, se) * from_t + drawn * from_normal
    low, high = np.quantile(ahead, [(1 - confidence) / 2, (1 + confidence) / 2])
    return float(low), float(high)


@lru_cache(maxsize=64)
def _even_draws(df: int) -> tuple[Floats, Floats, Floats]:
    """chi^2, t and normal at even shares, each in a disorder of its own."""
    from scipy.stats import chi2, norm, t

    chance = np.random.Generator(np.random.PCG64(1))
    even = (np.arange(DRAWS) + 0.5) / DRAWS
    shuffled = [chance.permutation(even) for _ in range(3)]
    return chi2.ppf(shuffled[0], df), t.ppf(shuffled[1], df), norm.ppf(shuffled[2])


def _solve(falls: Callable[[float], float]) -> float | None:
    """Where a function of tau^2 that falls meets 0; 0 when it begins below."""
    from scipy.optimize import brentq

    if falls(0.0) <= 0:
        return 0.0
    high = 1.0
    while falls(high) > 0:
        high *= 4
        if high > 1e12:
            return None
    return float(brentq(falls, 0.0, high, xtol=1e-12))


def shrunken(y: ArrayLike, variances: ArrayLike, shared: Shared, confidence: float) -> list[tuple[float, float, float]]:
    """Each trial drawn towards the shared effect, with its interval: mu + tau^2 / (tau^2 + v) (y - mu)."""
    from scipy.stats import t

    y, v = np.asarray(y, dtype=np.float64), np.asarray(variances, dtype=np.float64)
    own = shared.tau2 / (shared.tau2 + v)
    middle = shared.estimate + own * (y - shared.estimate)
    se = np.sqrt(own * v + (1 - own) ** 2 * shared.se**2)
    times = float(t.ppf((1 + confidence) / 2, shared.df))
    return [(float(m), float(m - times * s), float(m + times * s)) for m, s in zip(middle, se, strict=True)]
