"""How well do the bakes fix a number read off a fitted curve?

Three ways, from the quickest to the most exact: the delta method with t quantiles
(J'J standard errors), Fieller's interval for the turning point of a quadratic, and the
profile interval, which collects the values that an F test at 1 - confidence would not
refuse with everything else fitted anew. Sources: Fieller 1954, JRSS B 16:175;
Bates & Watts 1988, ch. 6.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from analysis.dose_response.curves import ShapeFit, joint_bounds, joint_jacobian, joint_mean
from analysis.dose_response.fitting import minimise
from analysis.dose_response.tails import f_quantile, t_quantile
from analysis.estimates import Interval

Array = npt.NDArray[np.float64]
_STEP = 1e-30


def quantiles(fit: ShapeFit, rows: Array, confidence: float) -> Array:
    """t quantile for each linear combination of the parameters, with the df behind its own variance."""
    return np.array([t_quantile(confidence, df) for df in fit.df_of(rows)])


def delta(fit: ShapeFit, curve: int, read: Callable[[npt.NDArray[np.number]], complex]) -> tuple[float, float]:
    """A number read off the inner parameters of one curve, and its standard error.

    ``read`` must be safe for complex arguments.
    """
    estimate, row = delta_row(fit, curve, read)
    return estimate, float(np.sqrt(fit.variance_of(row)[0]))


def delta_row(fit: ShapeFit, curve: int, read: Callable[[npt.NDArray[np.number]], complex]) -> tuple[float, Array]:
    """A number read off one curve, and its derivative by all parameters (1, parameters)."""
    size = fit.shape.size
    inner = fit.inner[curve]
    row = np.zeros((1, fit.parameters))
    for k in range(size):
        shifted = inner.astype(complex)
        shifted[k] += 1j * _STEP
        row[0, curve * size + k] = np.imag(read(shifted)) / _STEP
    return float(np.real(read(inner))), row


def level_doubt(fit: ShapeFit) -> tuple[float, int]:
    """How far the blocks that were baked may lie from blocks at large: (standard error, its df).

    Differences between doses are free of the blocks; where the height of a curve counts, as
    for a target, the mean of b blocks has their own variance over b, on b - 1 df. Moment
    estimate from the block effects; (0, 1) without blocks.
    """
    layout = fit.layout
    if layout.blocks.shape[1] == 0:
        return 0.0, 1
    shifts = layout.blocks @ fit.block_effects
    variance, df = 0.0, layout.n
    random = {group.name for group in layout.random}  # their spread is in the curve's covariance already
    for _, code in (one for one in layout.block_codes if one[0] not in random):
        counts = np.bincount(code)
        effects = np.bincount(code, shifts) / counts
        if effects.size > 1:
            between = float(effects.var(ddof=1)) - fit.variance * float(np.mean(1 / counts))
            variance += max(between, 0.0) / effects.size
            df = min(df, effects.size - 1)
    return float(np.sqrt(variance)), df


def days_doubt(fit: ShapeFit) -> tuple[float, int]:
    """Standard error of a curve's height that comes from random groups, and its df; (0, 1) without any."""
    layout = fit.layout
    if not layout.random or layout.errors is None:
        return 0.0, 1
    means = [
        (ratio + group.own) / group.count for group, ratio in zip(layout.random, layout.errors.ratios, strict=True)
    ]
    df = min(group.count - 1 for group in layout.random)
    return float(np.sqrt(sum(means) * fit.variance)), df


def around(estimate: float, se: float, quantile: float) -> Interval:
    """Estimate ± quantile × se; without an interval when a number got out of hand."""
    low, high = estimate - quantile * se, estimate + quantile * se
    if not np.isfinite([low, high]).all():
        return Interval(estimate=estimate)
    return Interval(estimate=estimate, se=se, low=low, high=high)


def parameter_intervals(fit: ShapeFit, curve: int, confidence: float, *, profiled: bool = True) -> dict[str, Interval]:
    """Every reported parameter with its interval: breakpoints by profile (if asked), the rest by t."""
    centre = fit.layout.centre
    out = {}
    for name in fit.shape.report(fit.inner[curve], centre):
        estimate, row = delta_row(fit, curve, lambda p, name=name: fit.shape.report(p, centre)[name])  # type: ignore[misc]
        if np.isfinite(estimate):
            se, quantile = float(np.sqrt(fit.variance_of(row)[0])), float(quantiles(fit, row, confidence)[0])
            out[name] = around(estimate, se, quantile)
    if profiled and "breakpoint" in out:
        low, high = breakpoint_interval(fit, curve, confidence)
        out["breakpoint"] = Interval(estimate=out["breakpoint"].estimate, se=out["breakpoint"].se, low=low, high=high)
    return out


def breakpoint_interval(fit: ShapeFit, curve: int, confidence: float) -> tuple[float, float]:
    """Profile interval of a breakpoint, cut off at the curve's lowest and highest dose.

    Below the second dose all breakpoints fit alike: an interval that reaches it goes on
    to the lowest dose.
    """
    doses = fit.layout.parts[curve].doses
    low, high = profile_interval(fit, curve, 0, confidence, float(doses[1]), float(doses[-1]))
    return (float(doses[0]) if low is None else low), (float(doses[-1]) if high is None else high)


def profile_interval(
    fit: ShapeFit, curve: int, parameter: int, confidence: float, lowest: float, highest: float
) -> tuple[float | None, float | None]:
    """Where the residual sum, all else fitted anew, rises to what F allows; None for an open end.

    The search stays between ``lowest`` and ``highest``.
    """
    index = curve * fit.shape.size + parameter
    limit = fit.rss + fit.variance * f_quantile(confidence, 1, fit.df)
    estimate = float(fit.inner[curve, parameter])
    doses = fit.layout.parts[curve].doses
    nodes = np.unique(np.concatenate([doses, (doses[1:] + doses[:-1]) / 2, [lowest, highest]]))
    ends: list[float | None] = []
    for side in (-1, 1):
        stops = sorted((s for s in nodes if side * (s - estimate) > 0 and lowest <= s <= highest), reverse=side < 0)
        ends.append(_crossing(fit, index, estimate, [float(s) for s in stops], limit))
    return ends[0], ends[1]


def _crossing(fit: ShapeFit, index: int, estimate: float, stops: list[float], limit: float) -> float | None:
    here = np.concatenate([fit.inner.ravel(), fit.block_effects])
    inside = estimate
    for stop in stops:
        away, rss = _held(fit, index, stop, here)
        if rss > limit:
            start = here

            def excess(value: float, start: Array = start) -> float:
                return _held(fit, index, value, start)[1] - limit

            if excess(inside) >= 0:
                return inside
            return float(brentq(excess, inside, stop, xtol=1e-10 * max(abs(stop), abs(inside)), rtol=1e-12))
        here, inside = away, stop
    return None


def _held(fit: ShapeFit, index: int, value: float, start: Array) -> tuple[Array, float]:
    """Everything fitted anew with one parameter held at ``value``."""
    low, high = joint_bounds(fit.layout, fit.shape, fit.parameters)
    low[index] = high[index] = value
    end = minimise(
        lambda p: fit.layout.whiten(fit.layout.y - joint_mean(fit.layout, fit.shape, p)),
        lambda p: fit.layout.whiten(joint_jacobian(fit.layout, fit.shape, p)),
        start,
        lower=low,
        upper=high,
        tolerance=1e-9,
    )
    return (start, np.inf) if end is None else (end.parameters, end.rss)


def turning_point(fit: ShapeFit, curve: int, confidence: float) -> tuple[float | None, float | None]:
    """Fieller interval of -b/(2c) of a quadratic; both None when c is not clear of 0.

    Values v for which b + 2 c v could be 0: (b + 2cv)² <= t² var(b + 2cv).
    """
    at = slice(curve * 3, curve * 3 + 3)
    _, b, c = fit.inner[curve]
    covariance = fit.inverse[at, at] * fit.variance
    t2 = t_quantile(confidence, fit.df) ** 2
    square = 4 * (c * c - t2 * covariance[2, 2])
    middle = 4 * (b * c - t2 * covariance[1, 2])
    constant = b * b - t2 * covariance[1, 1]
    inside = middle**2 - 4 * square * constant
    if square <= 0 or inside < 0:
        return None, None
    root = np.sqrt(inside)
    centre = fit.layout.centre
    return float(centre + (-middle - root) / (2 * square)), float(centre + (-middle + root) / (2 * square))
