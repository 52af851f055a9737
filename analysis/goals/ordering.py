"""With which terms is a response foretold: with bends, or without where nothing speaks for them?

A surface is fitted with all bends and interactions. Foretold from it, a response without bends
would carry their noise; so all terms of one order go together where they add nothing that can be
told from the scatter, the bends first, then the interactions. Terms of one order stay or go
whole, as everywhere here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from analysis.errors import AnalysisError
from analysis.questions import ModelName
from analysis.results import FamilyResult

LEVEL = 0.05
SIMPLER: tuple[ModelName, ...] = ("interactions", "main effects")


@dataclass(frozen=True, kw_only=True)
class Chosen:
    """``family`` foretells; ``model`` names its terms where they are fewer, ``p`` speaks of what went last."""

    family: FamilyResult
    model: str | None = None
    p: float | None = None


def simplest(family: FamilyResult, refit: Callable[[ModelName], FamilyResult]) -> Chosen:
    """The family itself, or one refitted with fewer terms that does as well."""
    chosen = Chosen(family=family)
    if not any("^" in term for term in family.model.terms) or family.model.groups:
        return chosen
    for model in SIMPLER:
        try:
            fewer = refit(model)
        except AnalysisError:
            return chosen
        if fewer.predictor is None:
            return chosen
        p = _p_of_more(fewer, chosen.family)
        if p is None or p < LEVEL:
            return chosen
        chosen = Chosen(family=fewer, model=model, p=min(p, 1.0))
    return chosen


def _p_of_more(fewer: FamilyResult, more: FamilyResult) -> float | None:
    """F test of the terms that ``more`` has beyond ``fewer``; 1 when there are none, None without error df."""
    from scipy.special import fdtrc

    small, large = fewer.residual, more.residual
    if small is None or large is None or large.df <= 0 or not large.mean_sq:
        return None
    df = small.df - large.df
    if df <= 0:
        return 1.0
    return float(fdtrc(df, large.df, max(small.sum_sq - large.sum_sq, 0.0) / df / large.mean_sq))
