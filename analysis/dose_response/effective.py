"""Which dose gives a tenth, half, nine tenths of the whole way?

The way leads from the starting response to the final one: between the limits for the
logistic families (as in the literature of effective doses), from the lowest baked dose to
the plateau, the top of the hump or the turning point for the others. Intervals by the
delta method with t quantiles.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.intervals import around, delta
from analysis.dose_response.reading import fraction_dose
from analysis.dose_response.tails import t_quantile
from analysis.dose_results import EffectiveDose

FRACTIONS = (0.1, 0.5, 0.9)


def effective_doses(
    fit: ShapeFit, curve: int, confidence: float, more: tuple[float, ...] = ()
) -> tuple[tuple[EffectiveDose, ...], str | None]:
    """Doses at FRACTIONS and ``more`` shares of the way, and why some are missing (None when none is)."""
    name = fit.shape.name
    fractions = tuple(sorted({*FRACTIONS, *more}))
    if name in ("flat", "line"):
        what = "a flat response goes nowhere" if name == "flat" else "a straight line has no final response"
        return tuple(EffectiveDose(fraction=f, dose=None, low=None, high=None) for f in fractions), what
    doses = fit.layout.parts[curve].doses
    low, high = float(doses[0]), float(doses[-1])
    quantile = t_quantile(confidence, fit.df)
    out, outside = [], False
    for fraction in fractions:
        estimate, se = delta(fit, curve, lambda p, f=fraction: dose_at_fraction(fit, p, f, low, high))  # type: ignore[misc]
        if not np.isfinite(estimate) or not low <= estimate <= high:
            outside = True
            out.append(EffectiveDose(fraction=fraction, dose=None, low=None, high=None))
            continue
        interval = around(estimate, se, quantile)
        out.append(EffectiveDose(fraction=fraction, dose=estimate, low=interval.low, high=interval.high))
    return tuple(out), "some effective doses lie outside the doses that were baked" if outside else None


def dose_at_fraction(fit: ShapeFit, p: npt.NDArray[np.number], fraction: float, low: float, high: float) -> complex:
    name, centre = fit.shape.name, fit.layout.centre
    if fit.shape.at_fraction is not None:
        return fit.shape.at_fraction(p, fraction)
    if fit.shape.free or (fit.shape.turns and name not in ("quadratic", "hump")):
        doses = fit.layout.doses
        return fraction_dose(fit, p, fraction, doses[(doses >= low) & (doses <= high)])
    if name.startswith("log-logistic"):
        return complex(np.exp(p[0] + np.log(fraction / (1 - fraction)) / np.exp(p[1])))
    if name.startswith("logistic"):
        return complex(p[0] + np.log(fraction / (1 - fraction)) / np.exp(p[1]))
    if name == "linear-plateau":
        return complex(low + fraction * (p[0] - low))
    if name == "quadratic-plateau":
        return complex(p[0] - np.sqrt(1 - fraction) * (p[0] - low))
    if name == "hump":
        start = np.exp(-0.5 * ((low - p[0]) / np.exp(p[1])) ** 2)
        return complex(p[0] - np.exp(p[1]) * np.sqrt(-2 * np.log((1 - fraction) * start + fraction)))
    turn = centre - p[1] / (2 * p[2])
    if low < np.real(turn) < high:
        return complex(turn - np.sqrt(1 - fraction) * (turn - low))
    side = 1 if low > np.real(turn) else -1
    return complex(turn + side * np.sqrt((1 - fraction) * (low - turn) ** 2 + fraction * (high - turn) ** 2))
