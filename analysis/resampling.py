"""What do resamples say about an estimate, and could chance alone have made a difference?

Bootstrap limits (percentile; BCa: bias-corrected and accelerated), the jackknife, full enumeration
of small samples, and permutation tests of two groups. A quantile of resamples is the smallest value
whose cumulative share reaches the level. Sources: Efron 1987, JASA 82:171; Efron & Tibshirani 1993,
An Introduction to the Bootstrap, ch. 11, 14, 15.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations, product
from math import comb

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from analysis.errors import NotPossible

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
MOST_ENUMERATED = 1_000_000
_CLOSE = 1e-9  # of the largest difference: values that rounding alone tells apart count as equal


@dataclass(frozen=True, kw_only=True)
class Jackknife:
    """Leave one out: standard error, bias, and the acceleration of BCa."""

    se: float
    bias: float
    acceleration: float


@dataclass(frozen=True, kw_only=True)
class PermutationTest:
    """Shares of the splits at least as far out as the one seen. ``exact``: all splits were counted."""

    difference: float
    p_greater: float
    p_two_sided: float
    splits: int
    exact: bool


def resample_rows(n: int, draws: int, *, seed: int) -> Ints:
    """Rows (draws, n) drawn with replacement."""
    return np.random.Generator(np.random.PCG64([seed, 6151])).integers(0, n, (draws, n))


def every_resample(n: int) -> Ints:
    """All n^n equally likely resamples, (n^n, n). Raises NotPossible when there are too many."""
    if n**n > MOST_ENUMERATED:
        raise NotPossible(f"{n} values have too many resamples to list.", try_this="draw some thousands by chance")
    return np.array(list(product(range(n), repeat=n)), dtype=np.int64)


def jackknife(statistic: Callable[[Ints], float], n: int) -> Jackknife:
    """``statistic`` takes the rows to use. Needs n >= 2."""
    if n < 2:
        raise NotPossible("One value cannot be left out of one.", try_this="bake more")
    rows = np.arange(n)
    left_out = np.array([statistic(np.delete(rows, i)) for i in range(n)])
    away = left_out.mean() - left_out
    return Jackknife(
        se=float(np.sqrt((n - 1) / n * (away**2).sum())),
        bias=float((n - 1) * (left_out.mean() - statistic(rows))),
        acceleration=acceleration(away),
    )


def acceleration(influences: npt.ArrayLike) -> float:
    """How fast the spread changes with the estimate, from the influence of each bake (any scale)."""
    u = np.asarray(influences, dtype=float)
    u = u - u.mean()
    size = float((u**2).sum())
    return float((u**3).sum() / (6 * size**1.5)) if size > 0 else 0.0


def bias_correction(draws: Array, estimate: float) -> float:
    """z0: how far the resamples lie to one side of the estimate; ties count half.

    Kept finite when all lie on one side.
    """
    below = float((draws < estimate).mean() + 0.5 * (draws == estimate).mean())
    return float(ndtri(np.clip(below, 0.5 / draws.size, 1 - 0.5 / draws.size)))


def percentile_limits(draws: Array, confidence: float) -> tuple[float, float]:
    low, high = quantiles(draws, [(1 - confidence) / 2, (1 + confidence) / 2])
    return float(low), float(high)


def quantiles(draws: Array, levels: npt.ArrayLike) -> Array:
    """Smallest values whose cumulative share reaches the levels (to rounding)."""
    ordered = np.sort(np.asarray(draws, dtype=float))
    at = np.ceil(np.asarray(levels, dtype=float) * ordered.size - 1e-9).astype(int) - 1
    return np.asarray(ordered[np.clip(at, 0, ordered.size - 1)])


def bca_levels(z0: float, accelerated: float, confidence: float) -> tuple[float, float]:
    """The two levels at which BCa reads the resamples."""
    levels = []
    for share in ((1 - confidence) / 2, (1 + confidence) / 2):
        z = z0 + ndtri(share)
        bent = 1 - accelerated * z
        # Beyond its pole the correction means "all the way to that side".
        levels.append(float(ndtr(z0 + z / bent)) if bent > 0 else float(z > 0))
    return levels[0], levels[1]


def bca_limits(draws: npt.ArrayLike, estimate: float, accelerated: float, confidence: float) -> tuple[float, float]:
    """Both limits; percentile limits corrected for bias and for a spread that changes."""
    values = np.asarray(draws, dtype=float)
    values = values[~np.isnan(values)]
    if not values.size:
        raise NotPossible("No resample gave a number.", try_this="ask for standard intervals")
    low, high = quantiles(values, bca_levels(bias_correction(values, estimate), accelerated, confidence))
    return float(low), float(high)


def permutation_test(one: npt.ArrayLike, two: npt.ArrayLike, *, seed: int = 1, draws: int = 20_000) -> PermutationTest:
    """Could the difference of means, one less two, come from sharing the values out by chance?

    All splits are counted while there are at most a million; then ``draws`` seeded ones, the
    split that was seen among them.
    """
    a, b = np.asarray(one, dtype=float), np.asarray(two, dtype=float)
    if not a.size or not b.size or not (np.isfinite(a).all() and np.isfinite(b).all()):
        raise NotPossible("Both groups need values.", try_this="leave empty readings out")
    every = np.concatenate([a, b])
    n, first = every.size, a.size
    difference = float(a.mean() - b.mean())
    exact = comb(n, first) <= MOST_ENUMERATED
    if exact:
        rows = np.fromiter(combinations_flat(n, first), dtype=np.int64).reshape(-1, first)
        sums = every[rows].sum(axis=1)
    else:
        generator = np.random.Generator(np.random.PCG64([seed, 1201]))
        sums = np.array([generator.permutation(every)[:first].sum() for _ in range(draws)] + [a.sum()])
    found = sums / first - (every.sum() - sums) / (n - first)
    slack = _CLOSE * max(float(np.abs(found).max()), 1e-300)
    return PermutationTest(
        difference=difference,
        p_greater=float((found >= difference - slack).mean()),
        p_two_sided=float((np.abs(found) >= abs(difference) - slack).mean()),
        splits=int(found.size),
        exact=exact,
    )


def combinations_flat(n: int, size: int) -> list[int]:
    """All choices of ``size`` out of n rows, one after the other."""
    return [row for chosen in combinations(range(n), size) for row in chosen]


def sign_flip_test(differences: npt.ArrayLike, *, seed: int = 1, draws: int = 20_000) -> PermutationTest:
    """Could the mean of paired differences come from signs by chance? All flips up to 2^16."""
    d = np.asarray(differences, dtype=float)
    if not d.size or not np.isfinite(d).all():
        raise NotPossible("Pairs need values on both sides.", try_this="leave incomplete pairs out")
    exact = d.size <= 16
    if exact:
        bits = np.arange(2**d.size)[:, None] >> np.arange(d.size) & 1
    else:
        bits = np.random.Generator(np.random.PCG64([seed, 1409])).integers(0, 2, (draws, d.size))
        bits = np.vstack([bits, np.zeros((1, d.size), dtype=bits.dtype)])
    found = ((1 - 2 * bits) * d).mean(axis=1)
    seen = float(d.mean())
    slack = _CLOSE * max(float(np.abs(found).max()), 1e-300)
    return PermutationTest(
        difference=seen,
        p_greater=float((found >= seen - slack).mean()),
        p_two_sided=float((np.abs(found) >= abs(seen) - slack).mean()),
        splits=int(found.size),
        exact=exact,
    )
