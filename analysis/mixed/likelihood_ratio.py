"""Do the groups differ at all? Twice the log likelihood lost by leaving them out."""

from __future__ import annotations

from dataclasses import dataclass, replace

from scipy.special import chdtrc

from analysis.errors import NotPossible
from analysis.mixed.door import WHERE
from analysis.mixed.fit import MixedFit
from analysis.mixed.reml import fit_reml


@dataclass(frozen=True, kw_only=True)
class GroupTest:
    """``value`` is the fall of the deviance; ``p`` from an even mixture of chi-squared on ``df`` - 1 and ``df``."""

    group: str
    value: float
    df: int
    p: float


def group_test(fit: MixedFit, name: str) -> GroupTest:
    """``name`` is a term, or "term:slope" for its slope alone.

    A variance cannot be below 0, so that half the time the deviance does not fall at all when there is none: the
    p is that of an even mixture of chi-squared on q - 1 and q degrees of freedom for q parameters left out (Self
    and Liang 1987; Stram and Lee 1994). A level and its slope left out together have a mixture of fewer degrees
    of freedom than the one used, which then says too little rather than too much.
    """
    less = []
    df = 0
    for term in fit.terms:
        if name == term.name:
            df = 1 if term.slope is None else 3
        elif term.slope is not None and name == term.effect_names[1]:
            df = 2
            less.append(replace(term, slope=None))
        else:
            less.append(term)
    if not df:
        raise NotPossible(
            f"There is no group {name!r} in the model.",
            where=WHERE,
            try_this=f"Ask for one of {', '.join(n for term in fit.terms for n in term.effect_names) or 'none'}.",
        )
    without = fit_reml(fit.readings, fit.design, less, weights=fit.weights, method=fit.method)
    value = max(0.0, without.deviance - fit.deviance)
    return GroupTest(group=name, value=value, df=df, p=mixture_tail(value, df))


def mixture_tail(value: float, df: int) -> float:
    """Even mixture of chi-squared on ``df`` - 1 (0: no scatter at all) and ``df``."""
    if value <= 0:
        return 1.0
    lower = float(chdtrc(df - 1, value)) if df > 1 else 0.0
    return (lower + float(chdtrc(df, value))) / 2
