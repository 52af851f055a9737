"""Which variances make the deviance least?

Newton steps in theta with the exact Hessian, Fisher scoring where it is not positive, and halving
until the deviance falls. At the edge the exact zero is tried and kept when the deviance does not
rise with it (its derivative by the variance is then not negative).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.mixed.criterion import Deviance
from analysis.mixed.parameters import Layout
from analysis.mixed.terms import FloatArray

STEPS = 60
FLAT = 1e-9  # gradient by log theta below which the deviance no longer moves
NEAR = 1e-6  # step over theta below which one last Newton step leaves nothing to gain
ROUGH = 1e-5  # the same where rounding hides any better point
EDGE = 1e-7  # derivative by a variance of 0 below which it would rather not be 0
TINY = 1e-3  # theta below which the edge itself is tried
HUGE = 1e5  # theta beyond which nothing is left for the residual, and too few digits for the answer

Evaluate = Callable[[FloatArray], Deviance]


@dataclass(frozen=True, eq=False)
class Summit:
    theta: FloatArray
    at: Deviance
    converged: bool


def _step(layout: Layout, theta: FloatArray, at: Deviance) -> tuple[FloatArray, FloatArray, bool]:
    """Gradient by theta, the step to try, and whether it is Newton's."""
    turn = layout.jacobian(theta)
    gradient = turn.T @ at.gradient
    hessian = turn.T @ at.hessian @ turn + layout.curvature(at.gradient)
    step = _downhill(hessian, gradient)
    newton = step is not None
    if step is None:
        expected = turn.T @ at.expected @ turn
        ridge = np.diag(np.maximum(2 * np.abs(np.diag(layout.curvature(at.gradient))), 1e-8))
        step = _downhill(expected + ridge, gradient)
    if step is None:
        step = -gradient / max(1.0, float(np.abs(gradient).max()))
    return gradient, step, newton


def _downhill(matrix: FloatArray, gradient: FloatArray) -> FloatArray | None:
    """-matrix^-1 gradient, or None when the matrix is not safely positive."""
    scale = np.sqrt(np.maximum(np.abs(np.diag(matrix)), 1e-300))
    unit = matrix / np.outer(scale, scale)
    if not np.isfinite(unit).all():
        return None
    values, vectors = np.linalg.eigh(unit)
    if values[0] <= 1e-10:
        return None
    return np.asarray(-(vectors @ ((vectors.T @ (gradient / scale)) / values)) / scale, dtype=np.float64)


def climb(evaluate: Evaluate, layout: Layout, start: FloatArray, known: Summit | None = None) -> Summit:
    """``evaluate(gamma)``; ends at the least deviance that can be reached from ``start`` (theta).

    The second of two starts ends where a Newton step leads it to the summit ``known`` from the first.
    """
    theta, at = start, evaluate(layout.gamma(start))
    converged = not len(theta)
    for _ in range(STEPS if len(theta) else 0):
        gradient, step, newton = _step(layout, theta, at)
        size = np.maximum(np.abs(theta), TINY)
        if np.abs(gradient * size).max() < FLAT:
            converged = True
            break
        if newton and known is not None and _leads_to(known, theta, step):
            return known
        if newton and np.abs(step / size).max() < NEAR:
            last = _tried(evaluate, layout.gamma(theta + step))
            if last is not None:
                theta, at, converged = theta + step, last, True
            break
        step = step / max(1.0, float((np.abs(step) / (1.0 + 2 * np.abs(theta))).max()))
        found = _search(evaluate, layout, theta, at, gradient, step)
        if found is None:  # rounding: no better point is left
            converged = bool(np.abs(gradient * size).max() < ROUGH)
            break
        theta, at = found
        if np.abs(theta).max() > HUGE:
            break
    return _edges(evaluate, layout, Summit(_upright(layout, theta), at, converged))


def _tried(evaluate: Evaluate, gamma: FloatArray) -> Deviance | None:
    """None where so much lies between the groups that no digits are left."""
    try:
        at = evaluate(gamma)
    except np.linalg.LinAlgError:
        return None
    return at if np.isfinite(at.value) else None


def _leads_to(known: Summit, theta: FloatArray, step: FloatArray) -> bool:
    """Close by, and the step lands much closer still."""
    size = np.maximum(np.abs(known.theta), TINY)
    before, after = np.abs(theta - known.theta) / size, np.abs(theta + step - known.theta) / size
    return bool(before.max() < 0.1 and after.max() < 0.01)


def _search(
    evaluate: Evaluate, layout: Layout, theta: FloatArray, at: Deviance, gradient: FloatArray, step: FloatArray
) -> tuple[FloatArray, Deviance] | None:
    slope, size = float(gradient @ step), 1.0
    for _ in range(25):
        new = theta + size * step
        there = _tried(evaluate, layout.gamma(new))
        if there is None:
            size /= 5
            continue
        if there.value < at.value + 1e-4 * size * slope:
            return new, there
        # Near the end rounding hides the fall of the deviance; a smaller gradient is then the proof.
        if abs(there.value - at.value) < 1e-9 * max(1.0, abs(at.value)):
            moved = layout.jacobian(new).T @ there.gradient
            if np.abs(moved).max() < 0.5 * np.abs(gradient).max():
                return new, there
        size /= 2 if size > 0.2 else 5
    return None


def _upright(layout: Layout, theta: FloatArray) -> FloatArray:
    """The sign of theta means nothing: diagonal of L not negative."""
    out = np.abs(theta)
    for s, w in zip(layout.slices(), layout.widths, strict=True):
        if w == 2:
            out[s.start + 1] = theta[s.start + 1] * (1.0 if theta[s.start] >= 0 else -1.0)
    return out


def _edges(evaluate: Evaluate, layout: Layout, summit: Summit) -> Summit:
    """Small diagonals of L are set to exactly 0 where that is no worse."""
    found = summit
    for s, w in zip(layout.slices(), layout.widths, strict=True):
        places = [(s.start, [0.0])] if w == 1 else [(s.start, [0.0] * 3), (s.stop - 1, None), (s.start, None)]
        for place, zeros in places:
            found = _try_edge(evaluate, layout, found, s, place, zeros)
    return found


def _try_edge(
    evaluate: Evaluate, layout: Layout, summit: Summit, s: slice, place: int, zeros: list[float] | None
) -> Summit:
    """``zeros`` for the whole term; else the diagonal at ``place`` alone."""
    theta, own = summit.theta, summit.theta[s]
    largest = float(np.abs(own).max())
    small = largest if zeros is not None else float(theta[place])
    if not 0 < small < TINY * (1.0 if zeros is not None else max(1.0, largest)):
        return summit
    new = theta.copy()
    if zeros is not None:
        new[s] = zeros
    elif place == s.start:  # no level: the slope alone
        new[s] = 0.0, 0.0, np.hypot(own[1], own[2])
    else:
        new[place] = 0.0
    there = _tried(evaluate, layout.gamma(new))
    if there is None:
        return summit
    worse = there.value > summit.at.value + 1e-9 * max(1.0, abs(summit.at.value))
    alone = place == s.stop - 1  # the derivative by this variance says whether it would rather grow
    if worse or (alone and there.gradient[place] < -EDGE):
        return summit
    rest = np.abs(layout.jacobian(new).T @ there.gradient * np.maximum(np.abs(new), TINY)).max()
    return Summit(new, there, bool(rest < ROUGH))
