"""How many batches pass between two alarms of a chart with a memory, when nothing, or something, has changed?

Mean run lengths of the weighted mean and of the cumulative sum for independent normal batches
with known limits, in standard deviations of a plotted batch; ``shift`` is how far the mean has
moved. Both follow from an integral equation, solved at the nodes of Gauss and Legendre:

    cumulative sum   L(s) = 1 + L(0) Phi(k - s - shift) + integral_0^h L(x) phi(x + k - s - shift) dx
    weighted mean    L(z) = 1 + integral_-c^c L(y) phi((y - (1 - w) z) / w - shift) / w dy

Sources: Page 1954, Biometrika 41:100; Crowder 1987, Technometrics 29:401.
The way back, from a wanted run length to the limit, is a search for the root.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np

from analysis.errors import TrialDataError

SHORTEST, LONGEST = 5.0, 1e5  # run lengths that may be wished for
SMALLEST_K, LARGEST_K = 0.1, 2.0  # half the shift worth catching, in SDs of a batch
LIGHTEST = 0.01  # a weight below this has a memory of hundreds of batches
_NODES_PER_SPREAD = 6  # nodes for each standard deviation of the kernel
_FEWEST_NODES, _MOST_NODES = 40, 400
_SETTLED = 1e-8  # limits that grow from batch to batch count as settled when this share is missing


@lru_cache(maxsize=512)
def sums_run_length(k: float, h: float, *, shift: float = 0.0, sides: int = 2) -> float:
    """Mean number of batches until a sum passes ``h``; ``k`` is taken off each batch (both in SDs, k >= 0, h > 0).

    Two sides: 1 / L = 1 / L(up) + 1 / L(down).
    """
    up = _one_sided(k, h, shift)
    if sides == 1:
        return up
    return 1 / (1 / up + 1 / _one_sided(k, h, -shift))


@lru_cache(maxsize=512)
def weighted_run_length(weight: float, width: float, *, shift: float = 0.0, exact: bool = True) -> float:
    """Mean number of batches until the weighted mean passes its limits (0 < weight <= 1, width in its SDs).

    ``exact``: the limits open from batch to batch as the weighted mean's own spread grows;
    otherwise they stand where they settle from the first batch on.
    """
    settled = width * math.sqrt(weight / (2 - weight))
    nodes, weights = _gauss(settled, weight)
    kernel = _density(nodes[None, :], nodes[:, None], weight, shift) * weights[None, :]
    lengths = np.linalg.solve(np.eye(len(nodes)) - kernel, np.ones(len(nodes)))
    if not exact:
        return float(1 + (_density(nodes, 0.0, weight, shift) * weights) @ lengths)
    return _with_growing_limits(weight, settled, shift, lengths)


@lru_cache(maxsize=128)
def sums_limit(k: float, run_length: float) -> float:
    """The limit ``h`` (in SDs) at which two-sided sums alarm once in ``run_length`` batches that did not change."""
    if not SMALLEST_K <= k <= LARGEST_K:
        raise TrialDataError(
            f"Sums cannot be made to catch a shift of {2 * k:g} standard deviations.",
            where="shift",
            try_this=f"Give a shift from {2 * SMALLEST_K:g} to {2 * LARGEST_K:g} standard deviations of a batch.",
        )
    _check_wish(run_length)
    return _root(lambda h: sums_run_length(k, h), run_length, 0.05, 80.0)


@lru_cache(maxsize=128)
def weighted_width(weight: float, run_length: float, *, exact: bool = True) -> float:
    """The width of the limits, in SDs of the weighted mean, that alarms once in ``run_length`` unchanged batches."""
    check_weight(weight)
    _check_wish(run_length)
    return _root(lambda width: weighted_run_length(weight, width, exact=exact), run_length, 0.2, 6.0)


def check_weight(weight: float) -> None:
    """A weight that a weighted mean can have, or an error that says which."""
    if not LIGHTEST <= weight <= 1:
        raise TrialDataError(
            f"The newest batch cannot weigh {weight:g} in a weighted mean.",
            where="weight",
            try_this=f"Give a weight from {LIGHTEST:g} (long memory) to 1 (no memory); 0.2 is common.",
        )


def _check_wish(run_length: float) -> None:
    if not SHORTEST <= run_length <= LONGEST:
        raise TrialDataError(
            f"One false alarm in {run_length:g} batches cannot be arranged.",
            where="run length",
            try_this=f"Wish for one in {SHORTEST:g} to {LONGEST:.0f}; three standard deviations give one in 370.",
        )


def _one_sided(k: float, h: float, shift: float) -> float:
    nodes, weights = _gauss(h / 2, 1.0)
    x = nodes + h / 2
    states = np.concatenate(([0.0], x))
    kernel = np.empty((len(states), len(states)))
    kernel[:, 0] = _cdf(k - states - shift)  # back to nothing
    kernel[:, 1:] = _phi(x[None, :] + k - states[:, None] - shift) * weights[None, :]
    return float(np.linalg.solve(np.eye(len(states)) - kernel, np.ones(len(states)))[0])


def _with_growing_limits(weight: float, settled: float, shift: float, lengths: np.ndarray) -> float:
    """Follow the density of the weighted mean of charts without an alarm until the limits have settled."""
    steps = max(1, math.ceil(math.log(_SETTLED) / (2 * math.log1p(-weight)))) if weight < 1 else 1
    unit, unit_weights = _gauss(settled, weight)
    unit, unit_weights = unit / settled, unit_weights / settled
    total, inside = 1.0, np.zeros(0)
    z = masses = np.zeros(0)
    for step in range(1, steps + 1):
        limit = settled * math.sqrt(1 - (1 - weight) ** (2 * step)) if step < steps else settled
        y = unit * limit
        if step == 1:
            inside = _density(y, 0.0, weight, shift)
        else:
            inside = masses @ _density(y[None, :], z[:, None], weight, shift)
        z, masses = y, inside * unit_weights * limit
        if step < steps:
            total += float(masses.sum())
    return total + float(masses @ lengths)


def _gauss(reach: float, spread: float) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and weights on (-reach, reach) for a kernel with this standard deviation."""
    wanted = math.ceil(2 * reach / spread * _NODES_PER_SPREAD)
    nodes, weights = _legendre(min(max(wanted, _FEWEST_NODES), _MOST_NODES))
    return nodes * reach, weights * reach


@lru_cache(maxsize=64)
def _legendre(count: int) -> tuple[np.ndarray, np.ndarray]:
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return nodes, weights


def _density(to: np.ndarray, start: np.ndarray | float, weight: float, shift: float) -> np.ndarray:
    """Density of the next weighted mean at ``to`` when this one is ``start``."""
    return _phi((to - (1 - weight) * start) / weight - shift) / weight


def _phi(z: np.ndarray) -> np.ndarray:
    return np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)


def _cdf(z: np.ndarray) -> np.ndarray:
    from scipy.special import ndtr

    return np.asarray(ndtr(z))


def _root(length: Callable[[float], float], wanted: float, low: float, high: float) -> float:
    """Where a run length, rising about exponentially with the limit, is the wanted one."""
    from scipy.optimize import brentq

    def missing(limit: float) -> float:
        reached = length(limit)
        # Far out the equation is singular to rounding; such a limit is beyond any wish.
        return math.log(reached if reached > 0 else math.inf) - math.log(wanted)

    if missing(low) >= 0:
        return low
    step = 1.0
    while low + step < high and missing(low + step) < 0:
        low += step
    return float(brentq(lambda limit: min(missing(limit), 50.0), low, low + step, xtol=1e-9, rtol=1e-9))
