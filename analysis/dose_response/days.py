"""How much do days (or loads) differ beside what bakes of one day do, and what was left out of that?"""

from __future__ import annotations

import numpy as np

from analysis.dose_response.between_days import limits_between
from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.tails import chi_squared_quantile
from analysis.linear.scatter import RESIDUAL, GroupScatter, ScatterPart
from analysis.parts import Variance
from analysis.results import Check, ModelNote


def variances(fit: ShapeFit, confidence: float) -> tuple[tuple[Variance, ...], dict[str, str]]:
    """Of each random grouping, the residual last, and why a limit is missing; empty without random groups."""
    errors = fit.layout.errors
    if errors is None or not errors.groups:
        return (), {}
    out = []
    limits, reasons = limits_between(fit, confidence)
    for group, ratio in zip(errors.groups, errors.ratios, strict=True):
        value = ratio * fit.variance
        low, high = limits.get(group.name, (None, None))
        out.append(
            Variance(
                group=group.name,
                variance=value,
                sd=float(np.sqrt(value)),
                low=None if low is None else min(low, value),
                high=None if high is None else max(high, value),
                boundary=ratio == 0,
            )
        )
    tails = (chi_squared_quantile(share, fit.df) for share in ((1 + confidence) / 2, (1 - confidence) / 2))
    low, high = (float(fit.variance * fit.df / q) for q in tails)
    sd = float(np.sqrt(fit.variance))
    return (*out, Variance(group=RESIDUAL, variance=fit.variance, sd=sd, low=low, high=high)), reasons


def scatter_part(fit: ShapeFit, found: tuple[Variance, ...]) -> tuple[ScatterPart, ...]:
    """The same as standard deviations, to be said."""
    if not found:
        return ()
    counts = {group.name: group.count for group in fit.layout.random}
    names = list(counts)
    lines = []
    for one in found:
        inside = [name for name in names if one.group.startswith(f"{name}+")]
        within = inside[-1] if inside else names[-1] if one.group == RESIDUAL and len(names) == 1 else None
        low, high = (None if v is None else float(np.sqrt(v)) for v in (one.low, one.high))
        lines.append(
            GroupScatter(
                group=one.group,
                sd=one.sd,
                low=low,
                high=high,
                groups=counts.get(one.group),
                within=within,
                boundary=one.boundary,
            )
        )
    return (ScatterPart(lines=tuple(lines), smallest="bakes"),)


def day_checks(found: tuple[Variance, ...]) -> tuple[Check, ...]:
    """Groups that show no scatter of their own."""
    return tuple(
        Check(check="no scatter between groups", verdict="look here", facts={"group": one.group, "exact": False})
        for one in found
        if one.boundary
    )


def model_note(fit: ShapeFit, terms: tuple[str, ...]) -> ModelNote:
    """How it was computed."""
    errors = fit.layout.errors
    if errors is None:
        return ModelNote(
            kind="dose-response",
            terms=terms,
            estimation="least squares",
            df_method="residual",
            sums_of_squares="type 2",
        )
    return ModelNote(
        kind="dose-response",
        terms=terms,
        groups=tuple(group.name for group in errors.groups),
        estimation="generalised least squares, REML" if errors.groups else "weighted least squares",
        df_method="satterthwaite" if errors.groups else "residual",
        sums_of_squares="type 2",
    )
