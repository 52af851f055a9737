"""Where is a likelihood highest?

Newton's steps, halved until they climb. Where the curvature is no hill, the step follows the slope.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Likelihood = Callable[[Floats], tuple[float, Floats, Floats]]
Slope = Callable[[Floats], tuple[float, Floats]]

MOST_STEPS = 60
CLOSE = 1e-9  # expected gain of a step below which the top is reached
STEP = 1e-4  # of differences of gradients, relative to 1 + |parameter|


@dataclass(frozen=True, eq=False, kw_only=True)
class Top:
    """The highest point found: parameters (k,), value, gradient, Hessian; ``reached`` says whether it is a top."""

    params: Floats
    value: float
    gradient: Floats
    hessian: Floats
    reached: bool

    @property
    def covariance(self) -> Floats | None:
        """Inverse of the observed information; None where it is not positive definite."""
        try:
            root = np.linalg.inv(np.linalg.cholesky(-self.hessian))
        except np.linalg.LinAlgError:
            return None
        covariance = root.T @ root
        return covariance if np.isfinite(covariance).all() else None


def climb(
    likelihood: Likelihood,
    start: Floats,
    *,
    free: Floats | None = None,
    steps: int = MOST_STEPS,
    enough: float = CLOSE**2,
) -> Top:
    """The top from ``start``; parameters where ``free`` (k,) is False stay put."""
    move = np.ones(len(start), bool) if free is None else np.asarray(free, bool)
    params = np.array(start, dtype=np.float64)
    value, gradient, hessian = likelihood(params)
    reached = not move.any()
    for _ in range(steps if move.any() else 0):
        step = _step(gradient[move], hessian[np.ix_(move, move)])
        gain = float(step @ gradient[move])
        if gain < enough or not np.isfinite(gain):
            reached = bool(np.isfinite(gain))
            break
        taken = _halved(likelihood, params, step, move, value)
        if taken is None:
            reached = gain < 1e-6
            break
        better = taken[1] - value
        params, value, gradient, hessian = taken
        if gain < CLOSE and better < CLOSE:
            reached = True
            break
    return Top(params=params, value=value, gradient=gradient, hessian=hessian, reached=reached)


def _step(gradient: Floats, hessian: Floats) -> Floats:
    """Newton's step, with the curvature made a hill where it is none."""
    try:
        root = np.linalg.cholesky(-hessian)
        step = np.linalg.solve(root.T, np.linalg.solve(root, gradient))
        if np.isfinite(step).all():
            return np.asarray(step, dtype=np.float64)
    except np.linalg.LinAlgError:
        pass
    if not np.isfinite(hessian).all():
        return gradient / max(float(np.abs(gradient).max(initial=0.0)), 1e-300)
    values, vectors = np.linalg.eigh(-hessian)
    floor = max(1e-6 * float(np.abs(values).max(initial=0.0)), 1e-12)
    return np.asarray(vectors @ ((vectors.T @ gradient) / np.maximum(np.abs(values), floor)), dtype=np.float64)


def _halved(
    likelihood: Likelihood, params: Floats, step: Floats, move: NDArray[np.bool_], value: float
) -> tuple[Floats, float, Floats, Floats] | None:
    longest = float(np.abs(step).max(initial=0.0))
    share = min(1.0, 10.0 / longest) if longest else 1.0
    for _ in range(40):
        tried = params.copy()
        tried[move] += share * step
        found = likelihood(tried)
        if np.isfinite(found[0]) and found[0] > value:
            return tried, *found
        # At the top itself rounding decides; a step that changes nothing is as good.
        if np.isfinite(found[0]) and found[0] == value and share == 1.0:
            return tried, *found
        share /= 2
    return None


def climb_by_slope(slope: Slope, starts: Sequence[Floats], scales: Floats) -> tuple[Top, bool]:
    """The top of a likelihood with an exact gradient only, and whether every start led there.

    Quasi-Newton steps from each start, then Newton's from the best of them. ``scales`` (k,) are the
    sizes by which the parameters are expected to be uncertain.
    """
    from scipy.optimize import minimize

    found: list[tuple[float, Floats]] = []
    for start in starts:

        def down(stretched: Floats, start: Floats = start) -> tuple[float, Floats]:
            value, gradient = slope(start + scales * stretched)
            return (-value, -gradient * scales) if np.isfinite(value) else (1e10, np.zeros(len(start)))

        near = minimize(down, np.zeros(len(start)), jac=True, method="BFGS", options={"gtol": 1e-3, "maxiter": 200})
        found.append((-float(near.fun), start + scales * near.x))
    values = [value for value, _ in found]
    best = found[int(np.argmax(values))][1]
    top = climb(with_curvature(slope), best, steps=20, enough=1e-11)
    return top, max(values) - min(values) < 1e-3


def with_curvature(slope: Slope) -> Likelihood:
    """A likelihood whose Hessian comes from central differences of its exact gradient."""

    def likelihood(params: Floats) -> tuple[float, Floats, Floats]:
        value, gradient = slope(params)
        if not np.isfinite(value):
            return value, gradient, np.full((len(params), len(params)), np.nan)
        hessian = np.empty((len(params), len(params)))
        for at, number in enumerate(params):
            step = STEP * (1 + abs(number))
            moved = []
            for side in (1, -1):
                near = params.copy()
                near[at] += side * step
                moved.append(slope(near)[1])
            hessian[at] = (moved[0] - moved[1]) / (2 * step)
        return value, gradient, (hessian + hessian.T) / 2

    return likelihood
