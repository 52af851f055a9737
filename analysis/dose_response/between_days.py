"""Between which limits does the variance between days (or loads) lie?

By profile likelihood (``mixed.profile``), with the curve replaced by its tangent at the fit, as the variance
itself was found (``variances``).
"""

from __future__ import annotations

import numpy as np

from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.variances import tangent
from analysis.errors import AnalysisError
from analysis.mixed.profile import profile_interval
from analysis.mixed.reml import fit_reml
from analysis.mixed.terms import RandomTerm

NO_FORMULA = "with a curve that has no formula the spread between groups has no interval"
NOT_TOLD = "the bakes do not tell its spread from the rest"
NO_END = "the bakes set no upper limit to its spread"

Ends = tuple[float | None, float | None]


def limits_between(fit: ShapeFit, confidence: float) -> tuple[dict[str, Ends], dict[str, str]]:
    """Limits of the variance of each random grouping, and why some are missing."""
    errors = fit.layout.errors
    if errors is None or not errors.groups:
        return {}, {}
    names = [group.name for group in errors.groups]
    if fit.shape.free:
        return {}, {f"variances {name}": NO_FORMULA for name in names}
    left, slopes = tangent(fit)
    basis, values, _ = np.linalg.svd(slopes, full_matrices=False)
    terms = [RandomTerm(name=group.name, codes=group.codes) for group in errors.groups]
    try:
        mixed = fit_reml(left, basis[:, values > 1e-10 * values[0]], terms, weights=errors.weights)
    except AnalysisError:
        return {}, {f"variances {name}": NOT_TOLD for name in names}
    found: dict[str, Ends] = {}
    reasons = {}
    for name in names:
        try:
            low, high = profile_interval(mixed, name, confidence=confidence)
        except AnalysisError:
            reasons[f"variances {name}"] = NOT_TOLD
            continue
        found[name] = (low, high)
        if high is None:
            reasons[f"variances {name}"] = NO_END
    return found, reasons
