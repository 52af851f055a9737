"""Where does the response turn, inside what was baked?

A quadratic and a hump have a turning point of their own; with a target the curve may
meet it anywhere. A line, a plateau and a logistic have no interior best.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.free_shapes import FreeFit
from analysis.dose_response.goals import Aim
from analysis.dose_response.intervals import delta, level_doubt, profile_interval, quantiles, turning_point
from analysis.dose_response.profiles import of_turning, profile_ends
from analysis.dose_response.reading import turning_dose
from analysis.dose_response.tails import t_quantile
from analysis.dose_results import Optimum

Array = npt.NDArray[np.float64]


def find_optimum(fit: ShapeFit, curve: int, aim: Aim, confidence: float) -> tuple[Optimum | None, str | None]:
    """The best dose strictly inside the curve's baked range, or None and why."""
    if aim.goal == "target":
        return _meets_target(fit, curve, aim, confidence)
    sign = -1.0 if aim.goal == "minimise" else 1.0
    name = fit.shape.name
    if name == "quadratic":
        return _quadratic(fit, curve, sign, confidence)
    if name == "hump":
        return _hump(fit, curve, sign, confidence)
    if fit.shape.turns:
        return _turning(fit, curve, sign, confidence)
    return None, f"a {name} has no best dose of its own inside the range"


def target_doses(fit: ShapeFit, curve: int, target: float) -> tuple[float, ...]:
    """All doses in the baked range at which the curve meets the target, rising."""
    doses = fit.layout.parts[curve].doses
    x = np.unique(np.concatenate([np.linspace(doses[0], doses[-1], 401), doses]))
    gap = fit.mean(curve, x) - target
    out = [float(x[i]) for i in np.flatnonzero(gap == 0)]
    for i in np.flatnonzero(gap[:-1] * gap[1:] < 0):
        a, b = float(x[i]), float(x[i + 1])
        for _ in range(60):
            middle = (a + b) / 2
            same = (fit.mean(curve, np.array([middle]))[0] - target) * gap[i] > 0
            a, b = (middle, b) if same else (a, middle)
        out.append((a + b) / 2)
    return tuple(sorted(out))


def _quadratic(fit: ShapeFit, curve: int, sign: float, confidence: float) -> tuple[Optimum | None, str | None]:
    doses = fit.layout.parts[curve].doses
    if sign * fit.inner[curve, 2] >= 0:
        return None, "the curve bends the other way, so that its best lies at an end of the range"
    dose, se = delta(fit, curve, lambda p: complex(fit.layout.centre - p[1] / (2 * p[2])))
    if not doses[0] < dose < doses[-1]:
        return None, "the curve turns outside the doses that were baked"
    low, high = turning_point(fit, curve, confidence)
    return _optimum(fit, curve, dose, se, low, high, "Fieller", confidence), None


def _hump(fit: ShapeFit, curve: int, sign: float, confidence: float) -> tuple[Optimum | None, str | None]:
    doses = fit.layout.parts[curve].doses
    if sign * fit.inner[curve, 3] <= 0:
        return None, "the curve bends the other way, so that its best lies at an end of the range"
    dose, se = delta(fit, curve, lambda p: complex(p[0]))
    low, high = profile_interval(fit, curve, 0, confidence, float(doses[0]), float(doses[-1]))
    return _optimum(fit, curve, dose, se, low, high, "profile", confidence), None


def _turning(fit: ShapeFit, curve: int, sign: float, confidence: float) -> tuple[Optimum | None, str | None]:
    """The turning point of a curve that has no formula for it, with its profile interval."""
    doses, centre = fit.layout.parts[curve].doses, fit.layout.centre

    def read(p: npt.NDArray[np.number]) -> complex:
        found = turning_dose(fit.shape, p, centre, doses, sign)
        return complex(np.nan) if found is None else found

    dose, se = delta(fit, curve, read)
    if not np.isfinite(dose):
        return None, "the best of the curve lies at an end of the range"
    if isinstance(fit, FreeFit):
        low, high = _drawn_tops(fit, curve, sign, confidence)
        return _optimum(fit, curve, dose, se, min(low, dose), max(high, dose), "draws", confidence), None
    ends = profile_ends(
        fit, of_turning(fit, curve), dose, se, confidence, lowest=float(doses[0]), highest=float(doses[-1])
    )
    return _optimum(fit, curve, dose, se, ends.low, ends.high, "profile", confidence), None


def _drawn_tops(fit: FreeFit, curve: int, sign: float, confidence: float) -> tuple[float, float]:
    """Where the best lies in curves that could have given these bakes."""
    rng = np.random.Generator(np.random.PCG64(311))
    doses = fit.layout.parts[curve].doses
    x = np.unique(np.concatenate([np.linspace(doses[0], doses[-1], 401), doses]))
    spread = np.sqrt(fit.variance * fit.df / rng.chisquare(fit.df, 2000))
    tops = x[(sign * fit.draw(x, spread, rng)[curve]).argmax(axis=1)]
    low, high = np.quantile(tops, [(1 - confidence) / 2, (1 + confidence) / 2])
    return float(low), float(high)


def _meets_target(fit: ShapeFit, curve: int, aim: Aim, confidence: float) -> tuple[Optimum | None, str | None]:
    """Smallest dose that meets the target; interval: neighbouring doses whose mean may be the target.

    The height of the curve counts here, so the doubt about the blocks comes in.
    """
    assert aim.target is not None
    found = target_doses(fit, curve, aim.target)
    if not found or fit.shape.name == "flat":
        return None, "the curve does not meet the target inside the range"
    dose = found[0]
    doses = fit.layout.parts[curve].doses
    x = np.unique(np.concatenate([np.linspace(doses[0], doses[-1], 401), [dose]]))
    rows = fit.rows(curve, x)
    level, level_df = level_doubt(fit)
    reach = np.hypot(
        quantiles(fit, rows, confidence) * np.sqrt(fit.variance_of(rows)), t_quantile(confidence, level_df) * level
    )
    gap = np.abs(fit.mean(curve, x) - aim.target) - reach
    at = int(np.searchsorted(x, dose))
    low = _first_outside(x[at::-1], gap[at::-1])
    high = _first_outside(x[at:], gap[at:])
    step = 1e-6 * (doses[-1] - doses[0])
    around = fit.mean(curve, np.array([dose - step, dose + step]))
    slope = float(around[1] - around[0]) / (2 * step)
    error = float(np.sqrt(fit.variance_of(fit.rows(curve, np.array([dose])))[0] + level**2))
    se = error / abs(slope) if slope else None
    return _optimum(fit, curve, dose, se, low, high, "inverse prediction", confidence), None


def _first_outside(x: Array, gap: Array) -> float | None:
    """Where ``gap`` first becomes positive, going along ``x``; None when it never does."""
    outside = np.flatnonzero(gap > 0)
    if not outside.size or outside[0] == 0:
        return float(x[0]) if outside.size else None
    i = int(outside[0])
    share = -gap[i - 1] / (gap[i] - gap[i - 1])
    return float(x[i - 1] + share * (x[i] - x[i - 1]))


def _optimum(
    fit: ShapeFit,
    curve: int,
    dose: float,
    se: float | None,
    low: float | None,
    high: float | None,
    method: str,
    confidence: float,
) -> Optimum:
    quantile = t_quantile(confidence, fit.df)
    here = np.array([dose])
    response = float(fit.mean(curve, here)[0])
    rows = fit.rows(curve, here)
    reach = float((quantiles(fit, rows, confidence) * np.sqrt(fit.variance_of(rows)))[0])
    known = se is not None and np.isfinite(se)
    return Optimum(
        dose=dose,
        low=low,
        high=high,
        response=response,
        response_low=response - reach,
        response_high=response + reach,
        se=se if known else None,
        method=method,
        delta_low=dose - quantile * se if known and se is not None else None,
        delta_high=dose + quantile * se if known and se is not None else None,
    )
