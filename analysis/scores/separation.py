"""Is there an effect so clean that its size has no upper limit?

When one level always scores higher than another, the likelihood climbs for ever along a direction in
which no row loses. A linear programme finds it (Albert & Anderson 1984, Biometrika 71, 1; for ordered
scores Kosmidis 2014). The fallback maximises the likelihood with Jeffreys' prior, which is Firth's
estimate for yes and no (Firth 1993, Biometrika 80, 27) and is finite for ordered scores as well.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.scores.climbing import Top, climb, with_curvature
from analysis.scores.data import Data
from analysis.scores.links import below, densities

Floats = NDArray[np.float64]
FLAT = 1e-7


def endless(data: Data) -> Floats | None:
    """A direction (q,) along which no row loses and one gains; None when there is none.

    For counts: a level without a single count.
    """
    from scipy.optimize import linprog

    problem = data.problem()
    if data.counted:
        gain = np.where(data.y[:, None] > 0, 0.0, -problem.a)
        equal = problem.a[data.y > 0]
        bounded = problem.a[data.y == 0]
        rows = np.vstack([bounded, equal, -equal])
    else:
        gain = problem.a - problem.b
        rows = np.vstack([-problem.a, problem.b])
    rows = np.unique(rows[np.any(rows != 0, axis=1)], axis=0) if len(rows) else rows
    answer = linprog(-gain.sum(axis=0), A_ub=rows, b_ub=np.zeros(len(rows)), bounds=(-1, 1), method="highs")
    if answer.x is None or -answer.fun < FLAT:
        return None
    return np.where(np.abs(answer.x) < FLAT, 0.0, answer.x)


def looks_endless(data: Data, top: Top) -> bool:
    """Worth asking the linear programme? It costs more than a fit."""
    spread = top.covariance
    if spread is None or not top.reached:
        return True
    return bool(np.abs(top.params).max(initial=0.0) > 8 or np.diag(spread).max(initial=0.0) > 100)


def alike(data: Data) -> tuple[Floats, Floats]:
    """Distinct rows of x with how often each was seen."""
    x, inverse = np.unique(data.x, axis=0, return_inverse=True)
    return x, np.asarray(np.bincount(inverse.ravel(), weights=data.w), dtype=np.float64)


def information(data: Data, params: Floats, rows: tuple[Floats, Floats]) -> Floats:
    """Expected information of edges and effects (q, q); ``rows`` as ``alike`` gives them."""
    lead = data.lead
    if data.counted:
        a = np.hstack([np.ones((len(data.x), 1)), data.x])
        mean = np.exp(np.clip(a @ params, -50, 50)) * (1 if data.exposure is None else data.exposure)
        return np.asarray(a.T @ (mean[:, None] * a), dtype=np.float64)
    x, w = rows
    edges = params[None, :lead] - (x @ params[lead:])[:, None]
    f = densities(data.link, edges)[0]
    ends = np.ones((len(x), 1))
    chances = np.maximum(np.diff(np.hstack([0 * ends, below(data.link, edges), ends]), axis=1), 1e-300)
    found = np.zeros((len(params), len(params)))
    for score in range(lead + 1):
        row = np.zeros((len(x), len(params)))
        if score < lead:
            row[:, score] += f[:, score]
            row[:, lead:] -= f[:, [score]] * x
        if score > 0:
            row[:, score - 1] -= f[:, score - 1]
            row[:, lead:] += f[:, [score - 1]] * x
        found += row.T @ ((w / chances[:, score])[:, None] * row)
    return found


def firth(data: Data) -> Top:
    """The top of the likelihood times the root of the determinant of the information.

    Its Hessian is minus that information, so that standard errors are the usual ones.
    """
    problem, rows = data.problem(), alike(data)

    def penalised(params: Floats) -> float:
        value = problem.likelihood(params)[0]
        if not np.isfinite(value):
            return -np.inf
        sign, size = np.linalg.slogdet(information(data, params, rows))
        return value + 0.5 * float(size) if sign > 0 else -np.inf

    def slope(params: Floats) -> tuple[float, Floats]:
        gradient = problem.likelihood(params)[1]
        for at, number in enumerate(params):
            step = 1e-5 * (1 + abs(number))
            near = [params.copy(), params.copy()]
            near[0][at] += step
            near[1][at] -= step
            logs = [np.linalg.slogdet(information(data, one, rows))[1] for one in near]
            gradient[at] += 0.5 * (logs[0] - logs[1]) / (2 * step)
        return penalised(params), gradient

    top = climb(with_curvature(slope), data.start(problem.width), enough=1e-12)
    return Top(
        params=top.params,
        value=problem.likelihood(top.params)[0],
        gradient=top.gradient,
        hessian=-information(data, top.params, rows),
        reached=top.reached,
    )
