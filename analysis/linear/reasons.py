"""Why does a number of the answer stand empty?"""

from __future__ import annotations

from collections.abc import Mapping

from analysis.linear.mixed_model import MixedModel
from analysis.linear.stratum import Model

NO_ERROR = "no degrees of freedom are left for the error"
NO_SCATTER = "the model leaves no scatter between bakes to judge by"
FEW_EFFECTS = "the effects are too few, or too many of them are exactly zero, to take the small ones as noise"


def why_missing(model: Model, *, two_level: bool, judged: bool) -> Mapping[str, str]:
    """Name of the part -> one short sentence. ``judged``: Lenth's error stood in for the missing one."""
    reasons: dict[str, str] = {}
    if any(stratum.noiseless for stratum in model.strata):
        reasons |= dict.fromkeys(("tests", "coefficients", "means", "comparisons", "effects"), NO_SCATTER)
    if isinstance(model, MixedModel):
        blind = sorted(hidden_terms(model))
        reasons |= dict.fromkeys(
            [part for part in ("tests", "coefficients", "means", "comparisons") if blind],
            f"{NO_ERROR} between {' and '.join(blind)}",
        )
    empty = [stratum.name for stratum in model.strata if stratum.fit.df == 0 and stratum.terms]
    for name in empty:
        where = "" if len(model.strata) == 1 else f" between {name}"
        reasons |= dict.fromkeys(("tests", "coefficients", "means", "comparisons"), NO_ERROR + where)
        if two_level and not judged:
            reasons["effects"] = FEW_EFFECTS if len(model.strata) == 1 else NO_ERROR + where
    if any(stratum.name == "bakes" and stratum.fit.df == 0 for stratum in model.strata):
        reasons |= dict.fromkeys(("residual.mean_sq", "residual.sd", "residual.r_squared"), NO_ERROR)
    if not two_level:
        reasons.setdefault("effects", "not every factor has two levels")
    return reasons


def hidden_terms(model: Model) -> Mapping[str, tuple[str, ...]]:
    """Group -> the terms that were set for the whole of it, with nothing left to judge them by."""
    found: dict[str, tuple[str, ...]] = {}
    if isinstance(model, MixedModel):
        for term in model.terms:
            if model.strata[0].spans[term].start in model.unjudged:
                found[model.errors[term]] = (*found.get(model.errors[term], ()), term.name)
        return found
    for stratum in model.strata[:-1]:
        if stratum.fit.df == 0:
            found[stratum.name] = tuple(term.name for term in stratum.terms if not term.block)
    return {group: terms for group, terms in found.items() if terms}
