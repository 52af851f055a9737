"""How far out may the largest of several related differences lie by chance?

Two-sided tails and quantiles of the multivariate t with a given correlation, which is what
differences against one control follow (Dunnett 1955, JASA 50:1096). Where the correlation is
a product of one number for each difference, as with independent means, one integral is exact;
else a fixed set of quasi-random points is used (Genz 1992, J. Comp. Graph. Stat. 1:141), so
that the same trial gives the same digits every time.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from analysis.linear.distributions import spread_rule, t_quantile, t_tails, unit_nodes

Floats = NDArray[np.float64]

PRODUCT = 1e-9  # how far a correlation may lie off a product to be taken as one
POINTS = 4093  # quasi-random points; a prime, so that no axis repeats itself
SPREAD_NODES = 24  # nodes over the spread where every node costs all points
TAIL_FLOOR = 1e-12  # no smaller tail is claimed


def largest_tail(t: float, correlation: Floats, df: float) -> float:
    """P(max |T_i| >= t) for the correlated t's of ``correlation`` (m, m) on ``df`` degrees of freedom."""
    if len(correlation) == 1:
        return t_tails(t, df)
    below = _below(correlation, df)(abs(t))
    return float(min(1.0, max(1.0 - below, TAIL_FLOOR)))


def largest_quantile(confidence: float, correlation: Floats, df: float) -> float:
    """d with P(max |T_i| < d) = confidence, by halving between t and Bonferroni's bound."""
    if len(correlation) == 1:
        return t_quantile(confidence, df)
    below = _below(correlation, df)
    low, high = t_quantile(confidence, df), t_quantile(1 - (1 - confidence) / len(correlation), df) * (1 + 1e-9)
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if below(middle) < confidence else (low, middle)
        if high - low < 1e-11 * high:
            break
    return (low + high) / 2


def correlation_of(covariance: Floats) -> Floats:
    """The correlation of a covariance (m, m) with positive variances."""
    sd = np.sqrt(np.diag(covariance))
    return np.asarray(covariance / np.outer(sd, sd), dtype=np.float64)


def _below(correlation: Floats, df: float) -> Callable[[float], float]:
    loads = one_number_each(correlation)
    return _by_one_integral(loads, df) if loads is not None else _by_points(correlation, df)


def one_number_each(correlation: Floats) -> Floats | None:
    """l with correlation[i, j] = l[i] l[j] off the diagonal and |l| < 1, if there is one."""
    m = len(correlation)
    if m == 2:
        root = float(np.sqrt(abs(correlation[0, 1])))
        loads = np.array([root, np.copysign(root, correlation[0, 1])])
    else:
        i = int(np.argmax(np.abs(correlation - np.eye(m)).sum(axis=1)))
        j, k = np.argsort(-np.abs(correlation[i] - np.eye(m)[i]))[:2]
        if abs(correlation[j, k]) < PRODUCT or correlation[i, j] * correlation[i, k] / correlation[j, k] <= 0:
            return np.zeros(m) if np.abs(correlation - np.eye(m)).max() < PRODUCT else None
        first = np.sqrt(correlation[i, j] * correlation[i, k] / correlation[j, k])
        loads = correlation[i] / first
        loads[i] = first
    made = np.outer(loads, loads)
    np.fill_diagonal(made, 1.0)
    fits = np.abs(made - correlation).max() < PRODUCT and np.abs(loads).max() < 1 - 1e-12
    return np.asarray(loads) if fits else None


def _by_one_integral(loads: Floats, df: float) -> Callable[[float], float]:
    s, weight = spread_rule(df)
    nodes, node_weights = unit_nodes(128)
    z = 8.5 * nodes
    density = 8.5 * node_weights * np.exp(-z * z / 2) / np.sqrt(2 * np.pi)
    rest = np.sqrt(1 - loads * loads)

    def below(t: float) -> float:
        inside = np.ones((len(s), len(z)))
        for load, left in zip(loads, rest, strict=True):
            bound = t * s[:, None]
            inside *= ndtr((bound - load * z) / left) - ndtr((-bound - load * z) / left)
        return float(weight @ (inside @ density))

    return below


def _by_points(correlation: Floats, df: float) -> Callable[[float], float]:
    factor = np.asarray(np.linalg.cholesky(correlation + 1e-12 * np.eye(len(correlation))), dtype=np.float64)
    points = _quasi_random(len(correlation) - 1)
    s, weight = spread_rule(df, SPREAD_NODES, reach=8.0, tail=1.5)

    def below(t: float) -> float:
        return float(weight @ np.array([_inside(t * float(each), factor, points) for each in s]))

    return below


def _quasi_random(dimensions: int) -> Floats:
    """(POINTS, dimensions) of a Richtmyer lattice with both halves of each point, folded for periodicity."""
    roots = np.sqrt(_primes(dimensions))
    raw = np.outer(np.arange(1, POINTS + 1), roots - np.floor(roots)) % 1.0
    return np.asarray(np.abs(2 * raw - 1), dtype=np.float64)


def _primes(count: int) -> Floats:
    found: list[int] = []
    candidate = 2
    while len(found) < count:
        if all(candidate % prime for prime in found):
            found.append(candidate)
        candidate += 1
    return np.array(found, dtype=np.float64)


def _inside(bound: float, factor: Floats, points: Floats) -> float:
    """P(|Z_i| < bound for all i) for normals with the Cholesky ``factor``, one variable after the other."""
    high = np.full(len(points), ndtr(bound / factor[0, 0]))
    low = 1 - high
    chance = high - low
    drawn = np.empty((len(points), len(factor)))
    for i in range(1, len(factor)):
        drawn[:, i - 1] = ndtri(np.clip(low + points[:, i - 1] * (high - low), 1e-300, 1 - 1e-16))
        shift = drawn[:, :i] @ factor[i, :i]
        high = ndtr((bound - shift) / factor[i, i])
        low = ndtr((-bound - shift) / factor[i, i])
        chance = chance * (high - low)
    return float(chance.mean())
