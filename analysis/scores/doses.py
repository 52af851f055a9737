"""At which dose is a share of the loaves affected?

A logit (or probit) line over the log of the dose, or over the dose itself where some dose is 0. The
dose of a share p is exp((F^-1(p) - a) / b); its interval is taken on the log of the dose (delta
method) and by Fieller's theorem, which allows for an uncertain slope (Finney 1971, Probit Analysis,
ch. 4).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.scores.links import quantile
from analysis.scores.model import Model
from analysis.scores.results import DoseLimit

Floats = NDArray[np.float64]
USUAL = (0.5, 0.9)
FARTHEST = 500.0  # on the scale of the line; beyond it nothing can be said


def effective_doses(model: Model, dose: str) -> tuple[DoseLimit, ...]:
    """Doses of 50 and 90 % and of the shares asked for; only where the dose stands alone or beside categories.

    Without logarithms a line may reach a share below no dose at all: limits end at 0 then, and a dose below it
    is none.
    """
    if model.response.scale != "yes-no":
        return ()
    wanted: set[float] = {*USUAL, *model.question.effective}
    names = [term.name for term in model.layout.terms]
    if dose not in names or any(len(term.members) > 1 for term in model.layout.terms):
        return ()
    log = next(v.log for v in model.layout.variables if v.name == dose)
    slope = model.row_of(model.layout.places()[names.index(dose)][0])
    # Even over categories: the line at log dose 0 (or dose 0) with them averaged.
    constant = -model.lead_row(0)
    constant[model.effects] = model.link_row({dose: 1.0 if log else 0.0})[model.effects]
    return tuple(_limit(model, share, constant, slope, dose, log) for share in sorted(wanted))


def _limit(model: Model, share: float, constant: Floats, slope: Floats, dose: str, log: bool) -> DoseLimit:
    """One dose; without logs the interval by the delta method is on the dose itself."""
    a, b = float(constant @ model.fit.params), float(slope @ model.fit.params)
    covariance = model.covariance
    level = float(quantile(model.data.link, np.array([share]))[0])
    if b == 0 or covariance is None or abs((level - a) / b) > FARTHEST:
        return _open(share)
    found = (level - a) / b
    gradient = -(constant + found * slope) / b
    se = float(np.sqrt(max(float(gradient @ covariance @ gradient), 0.0)))
    z = model.quantile(model.df_of(dose))
    fieller = _fieller(level - a, b, constant, slope, covariance, z)
    ends = (found - z * se, found + z * se)
    if not log:
        lowest = 0.0 if float(model.readings.frame[dose].min()) >= 0 else -np.inf
        if found < lowest:
            return _open(share)
        return DoseLimit(
            fraction=share, dose=found, se=se, se_log=None, low=max(ends[0], lowest), high=ends[1],
            fieller_low=None if fieller[0] is None else max(fieller[0], lowest), fieller_high=fieller[1],
        )  # fmt: skip
    at = float(np.exp(found))
    return DoseLimit(
        fraction=share, dose=at, se=at * se, se_log=se, low=_exp(ends[0]), high=_exp(ends[1]),
        fieller_low=None if fieller[0] is None else _exp(fieller[0]),
        fieller_high=None if fieller[1] is None else _exp(fieller[1]),
    )  # fmt: skip


def _fieller(
    top: float, b: float, constant: Floats, slope: Floats, covariance: Floats, z: float
) -> tuple[float | None, float | None]:
    """Both roots of (top - b x)² = z² var(a + b x); None where the slope may be 0."""
    vaa, vbb, vab = (float(p @ covariance @ q) for p, q in ((constant, constant), (slope, slope), (constant, slope)))
    square = b * b - z * z * vbb
    if square <= 0:
        return None, None
    middle = top * b + z * z * vab
    inside = middle**2 - square * (top * top - z * z * vaa)
    if inside < 0:
        return None, None
    root = float(np.sqrt(inside))
    return (middle - root) / square, (middle + root) / square


def _open(share: float) -> DoseLimit:
    return DoseLimit(
        fraction=share, dose=None, se=None, se_log=None, low=None, high=None, fieller_low=None, fieller_high=None
    )


def _exp(x: float) -> float | None:
    return float(np.exp(x)) if abs(x) < 600 else None
