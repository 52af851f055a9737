"""How often would trials like this one see their effects, when chance is let loose on them?

For errors from one normal distribution least squares needs two things only: the estimates, which
are normal about the truth with covariance s^2 (X'X)^-1, and the error sum of squares, s^2 times an
independent chi-square on the error df. Drawing those is exact and thousands of times faster than
fitting. Where bakes share whole plots, or pieces stand within bakes, the noise itself is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.errors import PlanError

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Simulated:
    """``power``: for each column the share of trials in which it was seen; ``error``: its standard error."""

    power: tuple[float, ...]
    trials: int

    @property
    def error(self) -> tuple[float, ...]:
        return tuple(float(np.sqrt(p * (1 - p) / self.trials)) for p in self.power)


def _generator(seed: int) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64(seed))


def _checked(x: Floats, coefficients: Sequence[float], spread: float) -> tuple[Floats, Floats, int]:
    x, truth = np.asarray(x, dtype=np.float64), np.asarray(coefficients, dtype=np.float64)
    df = x.shape[0] - int(np.linalg.matrix_rank(x))
    if x.shape[1] != len(truth) or np.linalg.matrix_rank(x) < x.shape[1]:
        raise PlanError("The bakes cannot tell these terms apart.", where="size", try_this="more bakes or fewer terms")
    if df < 1 or spread <= 0:
        raise PlanError("There is no error to judge by.", where="size", try_this="bake treatments again")
    return x, truth, df


def by_estimates(
    x: Floats,
    coefficients: Sequence[float],
    spread: float,
    *,
    trials: int = 10_000,
    seed: int,
    confidence: float = 0.95,
) -> Simulated:
    """Power of each column of ``x`` (n, p) by t tests, drawing estimates and error sums of squares only."""
    from scipy.special import stdtrit

    x, truth, df = _checked(x, coefficients, spread)
    covariance = np.linalg.inv(x.T @ x)
    generator = _generator(seed)
    root = np.linalg.cholesky(covariance)
    estimates = truth / spread + generator.standard_normal((trials, len(truth))) @ root.T
    mean_sq = generator.chisquare(df, trials) / df
    limit = float(stdtrit(df, 0.5 + confidence / 2)) ** 2 * np.diag(covariance)
    seen = estimates**2 > mean_sq[:, None] * limit
    return Simulated(power=tuple(float(share) for share in seen.mean(axis=0)), trials=trials)


def by_noise(
    x: Floats,
    coefficients: Sequence[float],
    spread: float,
    *,
    trials: int = 10_000,
    seed: int,
    confidence: float = 0.95,
) -> Simulated:
    """The same with every reading drawn and every trial fitted: the check on ``by_estimates``."""
    from scipy.special import stdtrit

    x, truth, df = _checked(x, coefficients, spread)
    generator = _generator(seed)
    readings = (x @ truth)[:, None] + spread * generator.standard_normal((len(x), trials))
    q, r = np.linalg.qr(x)
    along = q.T @ readings
    inverse = np.linalg.inv(r)
    estimates = inverse @ along
    mean_sq = (np.sum(readings**2, axis=0) - np.sum(along**2, axis=0)) / df
    variances = np.sum(inverse**2, axis=1)
    limit = float(stdtrit(df, 0.5 + confidence / 2)) ** 2
    seen = estimates**2 > limit * variances[:, None] * mean_sq[None, :]
    return Simulated(power=tuple(float(share) for share in seen.mean(axis=1)), trials=trials)


def two_kinds_in_groups(
    groups: int,
    bakes: int,
    difference: float,
    group_spread: float,
    spread: float,
    *,
    within: bool,
    trials: int = 10_000,
    seed: int,
    confidence: float = 0.95,
) -> Simulated:
    """Two kinds over ``groups`` days or whole plots of ``bakes`` bakes each, every reading drawn.

    ``within``: each group holds both kinds (a block), judged by what is left within groups; else a
    group holds one kind (a whole plot), judged by the group means.
    """
    from scipy.special import stdtrit

    generator = _generator(seed)
    common = group_spread * generator.standard_normal((trials, groups, 1))
    noise = spread * generator.standard_normal((trials, groups, bakes))
    if within:
        half = bakes // 2
        if half < 1 or bakes % 2:
            raise PlanError("A block holds both kinds equally often.", where="size", try_this="an even number of bakes")
        kind = np.repeat([0.5, -0.5], half)
        readings = common + noise + difference * kind
        effect = readings[:, :, :half].mean(axis=(1, 2)) - readings[:, :, half:].mean(axis=(1, 2))
        left = readings - readings.mean(axis=2, keepdims=True) - effect[:, None, None] * kind
        df, count = groups * bakes - groups - 1, groups * half
        mean_sq = np.sum(left**2, axis=(1, 2)) / df
    else:
        if groups % 2 or groups < 4:
            raise PlanError("Whole plots stand equally often for both kinds.", where="size", try_this="4, 6, 8 …")
        means = (common + noise).mean(axis=2)
        means[:, : groups // 2] += difference
        one, other = means[:, : groups // 2], means[:, groups // 2 :]
        effect = one.mean(axis=1) - other.mean(axis=1)
        df, count = groups - 2, groups // 2
        mean_sq = (one.var(axis=1) + other.var(axis=1)) * count / df
    critical = float(stdtrit(df, 0.5 + confidence / 2))
    seen = np.abs(effect) > critical * np.sqrt(2 * mean_sq / count)
    return Simulated(power=(float(seen.mean()),), trials=trials)
