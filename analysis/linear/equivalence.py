"""Is a substitute as good, within the margin?

Two one-sided tests (Schuirmann 1987, J. Pharmacokin. Biopharm. 15:657): as good when the difference
is shown to lie above the lower margin and below the upper one. That is the same as an interval at
1 - 2 alpha that lies within the margin. A margin given as a ratio is judged on logarithms.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from scipy.special import stdtr

from analysis.linear.comparisons import against, newer_first
from analysis.linear.distributions import t_quantile
from analysis.linear.means import Slice
from analysis.linear.stratum import Contrast, Model
from analysis.parts import Equivalence
from analysis.questions import Margin, Response
from analysis.results import Finding, Matters


def equivalences(
    model: Model, margin: Margin, references: Mapping[str, str | None], confidence: float
) -> tuple[Equivalence, ...]:
    """Every level against the reference of its category, or every pair where none was named.

    With a ratio as the margin ``model`` was fitted to logarithms.
    """
    found: list[Equivalence] = []
    for slice_, pairs in pairs_asked_about(model, references):
        variable = model.variables[slice_.variable]
        rows = slice_.rows(model)
        contrasts = model.contrasts(np.array([rows[one] - rows[other] for one, other in pairs]))
        found += [
            equivalence(
                contrast,
                margin,
                confidence,
                factor=variable.name,
                a=variable.levels[one],
                b=variable.levels[other],
            )
            for (one, other), contrast in zip(pairs, contrasts, strict=True)
        ]
    return tuple(found)


def pairs_asked_about(
    model: Model, references: Mapping[str, str | None]
) -> Iterator[tuple[Slice, list[tuple[int, int]]]]:
    """For each category its pairs, the substitute first: every other level with the reference, or all without one."""
    for term in model.terms:
        variable = model.variables[term.members[0]]
        if term.block or term.order > 1 or variable.amount:
            continue
        slice_, reference = Slice(term.members[0]), references.get(variable.name)
        if reference is not None and reference in variable.levels:
            yield slice_, against(model, slice_, variable.levels.index(reference))
        else:
            yield slice_, newer_first(model, slice_)


def within_margin(low: float | None, high: float | None, lower: float, upper: float) -> str:
    """ "yes" with the whole interval inside the margin, "no" with it wholly outside, else "unsure"."""
    if low is None or high is None:
        return "unsure"
    if lower < low and high < upper:
        return "yes"
    return "no" if high <= lower or low >= upper else "unsure"


def equivalence(contrast: Contrast, margin: Margin, confidence: float, *, factor: str, a: str, b: str) -> Equivalence:
    """One difference a - b (of logarithms for a ratio) against the margin."""
    inner = 2 * confidence - 1
    lower, upper = (
        (float(np.log(margin.low)), float(np.log(margin.high))) if margin.ratio else (margin.low, margin.high)
    )
    low = high = p_low = p_high = p = None
    if contrast.se and contrast.df is not None:
        p_low = float(stdtr(contrast.df, -(contrast.estimate - lower) / contrast.se))
        p_high = float(stdtr(contrast.df, (contrast.estimate - upper) / contrast.se))
        p = max(p_low, p_high)
        low, high = contrast.within(t_quantile(inner, contrast.df) * contrast.se)
    shown = [None if value is None else float(np.exp(value)) if margin.ratio else value for value in (low, high)]
    return Equivalence(
        factor=factor,
        a=a,
        b=b,
        estimate=float(np.exp(contrast.estimate)) if margin.ratio else contrast.estimate,
        low=shown[0],
        high=shown[1],
        margin_low=margin.low,
        margin_high=margin.high,
        ratio=margin.ratio,
        p_low=p_low,
        p_high=p_high,
        p=p,
        df=contrast.df,
        equivalent=within_margin(low, high, lower, upper),
    )


def refused(found: Sequence[Equivalence]) -> bool:
    """Could not one pair be judged for want of error degrees of freedom?"""
    return bool(found) and all(one.p is None for one in found)


def as_good_findings(found: Sequence[Equivalence], response: Response, *, on_logs: bool = False) -> list[Finding]:
    """One finding for each pair; ``matters`` says whether the difference may matter: not, when as good.

    ``on_logs``: ratios were judged on a model of logarithms.
    """
    against_margin: Mapping[str, Matters] = {"yes": "no", "no": "yes", "unsure": "unsure"}
    return [
        Finding(
            kind="equivalence",
            response=response.name,
            variables=(one.factor,),
            size=one.estimate,
            low=one.low,
            high=one.high,
            unit="" if one.ratio else response.unit,
            direction="none",
            matters=against_margin[one.equivalent],
            p=one.p,
            facts={
                "a": one.a,
                "b": one.b,
                "equivalent": one.equivalent,
                "margin_low": one.margin_low,
                "margin_high": one.margin_high,
                "ratio": one.ratio,
                "on_logs": on_logs and one.ratio,
            },
        )
        for one in found
    ]
