"""Which values of a number read off the curve do the bakes not rule out?

The profile interval: with the number held at a value and everything else fitted anew, the
residual sum may rise by what F(1, df) allows. The number is held as an equality constraint
c(p) = 0 (its Gauss-Newton steps solved in the null space of its gradient), so that any smooth
reading can be profiled: a reported parameter, the best dose (the slope is 0 there), a dose at a
fraction of the way, the smallest dose that is good enough. Curves with a kink go through
``kinks``. Sources: Bates & Watts 1988, ch. 6; Nocedal & Wright 2006, ch. 18 (constrained steps).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from analysis.dose_response.curves import ShapeFit, joint_bounds, joint_jacobian, joint_mean
from analysis.dose_response.goals import Aim
from analysis.dose_response.reading import turning_dose
from analysis.dose_response.tails import f_quantile

Array = npt.NDArray[np.float64]
#: value held, all parameters -> (what has to be 0, its gradient)
Constraint = Callable[[float, Array], tuple[float, Array]]
_GROWTH = 1.7
_MOST_STEPS = 14


@dataclass(frozen=True)
class Ends:
    """A profile interval; None for an end that the bakes leave open."""

    low: float | None
    high: float | None


def allowed(fit: ShapeFit, confidence: float) -> float:
    """Largest residual sum that is not refused."""
    return fit.rss + fit.variance * f_quantile(confidence, 1, fit.df)


def profile_ends(
    fit: ShapeFit,
    constraint: Constraint,
    estimate: float,
    se: float,
    confidence: float,
    *,
    lowest: float = -np.inf,
    highest: float = np.inf,
) -> Ends:
    """Both ends of the interval, looked for between ``lowest`` and ``highest`` in steps of ``se``."""
    start = np.concatenate([fit.inner.ravel(), fit.block_effects])
    limit = allowed(fit, confidence)
    first = se * np.sqrt((limit - fit.rss) / fit.variance) if fit.variance > 0 else 0.0
    if not (np.isfinite(first) and first > 0):
        return Ends(None, None)
    return Ends(
        *(
            _end(fit, constraint, estimate, side * first, limit, start, highest if side > 0 else lowest)
            for side in (-1, 1)
        )
    )


def se_of(fit: ShapeFit, constraint: Constraint, estimate: float) -> float:
    """Standard error of a number that is held by a constraint (implicit function theorem)."""
    p = np.concatenate([fit.inner.ravel(), fit.block_effects])
    _, row = constraint(estimate, p)
    step = 1e-5 * max(abs(estimate), float(np.ptp(fit.layout.doses)))
    steep = (constraint(estimate + step, p)[0] - constraint(estimate - step, p)[0]) / (2 * step)
    return float(np.sqrt(fit.variance_of(row[None, :])[0])) / abs(steep) if steep else np.nan


def _end(
    fit: ShapeFit, constraint: Constraint, estimate: float, first: float, limit: float, start: Array, last: float
) -> float | None:
    """Where the root of the rise in the residual sum, nearly a straight line, crosses what is allowed."""
    known: list[tuple[float, Array]] = [(estimate, start)]
    allowed_rise = np.sqrt(limit - fit.rss)

    def excess(value: float) -> float:
        nearest = min(known, key=lambda pair: abs(pair[0] - value))[1]
        found = held_fit(fit, constraint, value, nearest)
        if found is None:
            return np.inf
        known.append((value, found[0]))
        return float(np.sqrt(max(found[1] - fit.rss, 0.0)) - allowed_rise)

    inside, reach = estimate, 0.6
    for _ in range(_MOST_STEPS):
        value = estimate + reach * first
        at_last = abs(value - estimate) >= abs(last - estimate)
        value = last if at_last else value
        over = excess(value)
        for _ in range(5):  # a fit that fails: try nearer before giving up
            if np.isfinite(over):
                break
            value, at_last = (inside + value) / 2, False
            over = excess(value)
        if not np.isfinite(over):
            return None
        if over > 0:
            return _root(excess, inside, value)
        if at_last:
            return None
        inside, reach = value, reach * _GROWTH
    return None


def _root(excess: Callable[[float], float], inside: float, outside: float) -> float | None:
    try:
        found = brentq(excess, inside, outside, xtol=1e-9 * max(abs(outside - inside), 1e-300), rtol=1e-10)
    except (ValueError, RuntimeError):  # a fit that failed on the way
        return None
    return float(found)


def held_fit(fit: ShapeFit, constraint: Constraint, value: float, start: Array) -> tuple[Array, float] | None:
    """All parameters and the residual sum with one number held at ``value``; None when that fails."""
    low, high = joint_bounds(fit.layout, fit.shape, start.size)
    at, damping, weight = start, 1e-4, 0.0
    left = _left(fit, at)
    off, slope = constraint(value, at)
    for _ in range(80):
        rows = fit.layout.whiten(joint_jacobian(fit.layout, fit.shape, at))
        scale = np.sqrt((rows**2).sum(axis=0))
        scale[scale == 0] = 1.0
        if not (np.isfinite(off) and np.isfinite(slope).all() and np.isfinite(rows).all()):
            return None
        unit = slope / scale
        size = float(np.linalg.norm(unit))
        if size == 0:
            return None
        while True:
            scaled = _constrained_step(rows / scale, left, unit / size, off / size, damping)
            # An exact penalty has to outweigh the pull of the residual sum along the constraint.
            pull = (rows / scale).T @ (left - rows / scale @ scaled) @ unit / size**2
            weight = max(weight, 4 * abs(float(pull)))
            step = scaled / scale
            trial = np.clip(at + step, low, high)
            trial_left = _left(fit, trial)
            trial_off, trial_slope = constraint(value, trial)
            gain = left @ left - trial_left @ trial_left + weight * (abs(off) - abs(trial_off))
            small = float(np.max(np.abs(trial - at) * scale)) <= 1e-9 * np.sqrt(fit.rss)
            if np.isfinite(gain) and gain >= 0:
                break
            if small or damping > 1e10:
                return _settled(at, left, off, size, fit)
            damping = max(damping * 10, 1e-8)
        at, left, off, slope = trial, trial_left, trial_off, trial_slope
        damping /= 10
        if small:
            return _settled(at, left, off, size, fit)
    return None


def _left(fit: ShapeFit, p: Array) -> Array:
    return np.asarray(fit.layout.whiten(fit.layout.y - joint_mean(fit.layout, fit.shape, p)))


def _settled(at: Array, left: Array, off: float, size: float, fit: ShapeFit) -> tuple[Array, float] | None:
    """Only a fit that really holds the value counts (to a millionth of the scatter)."""
    return (at, float(left @ left)) if abs(off) / size <= 1e-6 * np.sqrt(fit.rss) else None


def _constrained_step(rows: Array, left: Array, unit: Array, off: float, damping: float) -> Array:
    """The step that meets the constraint to first order and lowers the residual sum beside it."""
    onto = -off * unit
    beside = np.linalg.svd(unit[None, :])[2][1:].T
    if not beside.size:
        return np.asarray(onto)
    design = np.vstack([rows @ beside, np.sqrt(damping) * np.eye(beside.shape[1])])
    rest = np.concatenate([left - rows @ onto, np.zeros(beside.shape[1])])
    return np.asarray(onto + beside @ np.linalg.lstsq(design, rest, rcond=1e-14)[0])


def of_reading(fit: ShapeFit, curve: int, read: Callable[[npt.NDArray[np.number]], complex]) -> Constraint:
    """A number read off one curve's inner parameters by a function safe for complex arguments."""
    size = fit.shape.size
    at = slice(curve * size, (curve + 1) * size)

    def constraint(value: float, p: Array) -> tuple[float, Array]:
        inner, slope = p[at], np.zeros(p.size)
        for k in range(size):
            shifted = inner.astype(complex)
            shifted[k] += 1e-30j
            slope[curve * size + k] = np.imag(read(shifted)) / 1e-30
        return float(np.real(read(inner))) - value, slope

    return constraint


def of_turning(fit: ShapeFit, curve: int) -> Constraint:
    """The curve is level at the dose held."""
    doses = fit.layout.parts[curve].doses
    step = 1e-4 * (doses[-1] - doses[0])

    def constraint(value: float, p: Array) -> tuple[float, Array]:
        return _mix(fit, curve, p, np.array([value + step, value - step]), np.array([0.5, -0.5]) / step)

    return constraint


def of_fraction(fit: ShapeFit, curve: int, fraction: float, sign: float) -> Constraint:
    """The curve has come ``fraction`` of the way from the lowest dose to its turning point."""
    doses = fit.layout.parts[curve].doses
    size = fit.shape.size

    def constraint(value: float, p: Array) -> tuple[float, Array]:
        inner = p[curve * size : (curve + 1) * size]
        turn = turning_dose(fit.shape, inner, fit.layout.centre, doses, sign)
        if turn is None:
            return np.nan, np.zeros(p.size)
        at = np.array([value, doses[0], float(np.real(turn))])
        return _mix(fit, curve, p, at, np.array([1.0, fraction - 1, -fraction]))

    return constraint


def of_good_enough(fit: ShapeFit, curve: int, aim: Aim) -> Constraint:
    """The dose held is as far below the best as does not matter."""
    doses = fit.layout.parts[curve].doses
    x = np.unique(np.concatenate([np.linspace(doses[0], doses[-1], 401), doses]))
    size = fit.shape.size

    def constraint(value: float, p: Array) -> tuple[float, Array]:
        y = np.real(fit.shape.mean(x, p[curve * size : (curve + 1) * size], fit.layout.centre))
        worth = aim.worth(y)
        best, worst = float(x[int(worth.argmax())]), float(x[int(worth.argmin())])
        sign = 1.0 if aim.goal != "minimise" else -1.0
        if aim.matters is not None:
            off, slope = _mix(fit, curve, p, np.array([value, best]), sign * np.array([1.0, -1.0]))
            return off + aim.matters, slope
        share = float(aim.within(np.array([[0.0, 1.0]]))[0])
        weights = sign * np.array([1.0, share - 1.0, -share])
        return _mix(fit, curve, p, np.array([value, best, worst]), weights)

    return constraint


def _mix(fit: ShapeFit, curve: int, p: Array, doses: Array, weights: Array) -> tuple[float, Array]:
    """A weighted sum of heights of one curve, and its gradient."""
    size = fit.shape.size
    inner, slope = p[curve * size : (curve + 1) * size], np.zeros(p.size)
    slope[curve * size : (curve + 1) * size] = weights @ fit.shape.gradient(doses, inner, fit.layout.centre)
    return float(weights @ np.real(fit.shape.mean(doses, inner, fit.layout.centre))), slope
