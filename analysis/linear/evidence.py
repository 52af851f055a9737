"""What does the fit say about each variable, in numbers a sentence can be made of?

One typed finding for each factor and each interaction; nothing is ranked here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from analysis.estimates import Test
from analysis.findings import judge
from analysis.linear.coding import Term, term_width
from analysis.linear.comparisons import Pair
from analysis.linear.distributions import t_quantile, t_tails
from analysis.linear.means import largest_tetrad, low_to_high
from analysis.linear.selection import Selection
from analysis.linear.stratum import Contrast, Model
from analysis.linear.two_level import Lenth, effect_contrast
from analysis.questions import Response
from analysis.results import Finding

Direction = Literal["up", "down", "none"]


@dataclass(frozen=True, eq=False, kw_only=True)
class Case:
    """All that the findings of one response draw on."""

    model: Model
    selection: Selection
    response: Response
    order: int
    confidence: float
    tests: Mapping[str, Test]
    pairs: Mapping[int, list[Pair]]
    error: Lenth | None
    curvature: Mapping[str, float | None]
    references: Mapping[str, str | None] = field(default_factory=dict)


def evidence(case: Case) -> list[Finding]:
    """Effects, then interactions, then what cannot be told."""
    found = []
    for term in case.model.terms:
        if term.block:
            continue
        if term.order == 1:
            found.append(effect_of(case, term))
        elif term.square:
            found.append(_bend(case, term))
        elif _worth_saying(case, term):
            found.append(_interaction(case, term))
    return found + _cannot_tell(case)


def _worth_saying(case: Case, term: Term) -> bool:
    """In a saturated design the interactions beyond those asked for speak only when they stand out."""
    if not case.selection.saturated or term.order <= max(case.order, 2):
        return True
    size = abs(effect_contrast(case.model, term).estimate)
    return case.error is not None and size > case.error.margin


def effect_of(case: Case, term: Term) -> Finding:
    variable = term.members[0]
    levels = case.model.variables[variable].levels
    reference = _reference(case, variable)
    if case.model.variables[variable].amount or len(levels) == 2:
        contrast = low_to_high(case.model, variable)
        low, high = _interval(case, contrast, case.error.margin if case.error else None)
        start, end, size = levels[0], levels[-1], contrast.estimate
        if levels[-1] == reference:
            start, end, size, low, high = end, start, -size, _minus(high), _minus(low)
        p = None if contrast.se is None or contrast.df is None else t_tails(size / contrast.se, contrast.df)
        method = "Lenth" if case.error else "t"
    else:
        pair = max(case.pairs[variable], key=lambda pair: abs(pair.contrast.estimate))
        size, low, high, p = pair.contrast.estimate, pair.low, pair.high, pair.p
        start, end = levels[pair.other], levels[pair.one]
        method = "Lenth" if case.error else pair.method if pair.p is not None else "Tukey-Kramer"
        if size < 0 and reference is None:  # beside a reference every level keeps its sign
            size, low, high = -size, _minus(high), _minus(low)
            start, end = end, start
    facts: dict[str, Any] = {
        "factor_kind": "amount" if case.model.variables[variable].amount else "category",
        "from": start,
        "to": end,
        "factor_unit": case.model.variables[variable].unit,
        "levels": len(levels),
        "method": method,
        "p_difference": p,
    }
    if reference is not None and len(levels) > 2:
        facts["reference"] = reference
    if case.model.find(variable, variable) is not None:
        facts["bends"] = True
    if term.name in case.curvature:
        facts["curvature_p"] = case.curvature[term.name]
    return _finding(case, "effect", term, size, low, high, facts)


def _bend(case: Case, term: Term) -> Finding:
    """How far the middle of the doses lies off the straight line between both ends."""
    variable = case.model.variables[term.members[0]]
    contrast = case.model.contrast(case.model.only(term, np.array([-1.0])))
    low, high = contrast.interval(case.confidence)
    facts: dict[str, Any] = {
        "factor_kind": "amount",
        "from": variable.levels[0],
        "to": variable.levels[-1],
        "factor_unit": variable.unit,
        "middle": variable.middle,
    }
    return _finding(case, "bend", term, contrast.estimate, low, high, facts)


def _interaction(case: Case, term: Term) -> Finding:
    if term.order == 2:
        tetrad = largest_tetrad(case.model, term)
        contrast = case.model.contrast(tetrad.row(case.model))
        lenth_margin = 2 * case.error.margin if case.error else None
        low, high = _interval(case, contrast, lenth_margin, _factor(case, term, tetrad.count, contrast))
        along, by = case.model.variables[tetrad.along], case.model.variables[tetrad.by]
        at_first, at_second = case.model.contrasts(
            np.array([tetrad.effect_row(case.model, level) for level in (tetrad.first, tetrad.second)])
        )
        facts: dict[str, Any] = {
            "of": along.name,
            "of_kind": "amount" if along.amount else "category",
            "of_unit": along.unit,
            "from": along.levels[tetrad.start],
            "to": along.levels[tetrad.end],
            "by": by.name,
            "by_unit": by.unit,
            "by_from": by.levels[tetrad.first],
            "by_to": by.levels[tetrad.second],
            "effect_at_from": at_first.estimate,
            "effect_at_to": at_second.estimate,
        }
        return _finding(case, "interaction", term, contrast.estimate, low, high, facts)
    if term_width(case.model.variables, term) > 1:
        return _finding(case, "interaction", term, None, None, None, {"order": term.order})
    # Corner to corner: each further factor doubles the change of a change.
    weight = float(2**term.order)
    contrast = case.model.contrast(case.model.only(term, np.array([weight])))
    low, high = _interval(case, contrast, weight / 2 * case.error.margin if case.error else None)
    return _finding(case, "interaction", term, contrast.estimate, low, high, {"order": term.order})


def _factor(case: Case, term: Term, count: int, contrast: Contrast) -> float | None:
    """Multiplier of the standard error for the largest of ``count`` changes.

    The smaller of Scheffé's and Bonferroni's: both depend on the design only, so that
    the choice costs nothing. One change needs no allowance.
    """
    if contrast.df is None:
        return None
    if count == 1:
        return t_quantile(case.confidence, contrast.df)
    from scipy.special import fdtri

    df = term_width(case.model.variables, term)
    scheffe = float(np.sqrt(df * fdtri(df, contrast.df, case.confidence)))
    return min(scheffe, t_quantile(1 - (1 - case.confidence) / count, contrast.df))


def _interval(
    case: Case, contrast: Contrast, margin: float | None, factor: float | None = None
) -> tuple[float | None, float | None]:
    if margin is not None:
        return contrast.within(margin)
    if factor is not None and contrast.se is not None:
        return contrast.within(factor * contrast.se)
    return contrast.interval(case.confidence)


def _reference(case: Case, variable: int) -> str | None:
    """The level the others are compared with, where one was named and baked."""
    described = case.model.variables[variable]
    named = None if described.amount else case.references.get(described.name)
    return named if named in described.levels else None


def _finding(
    case: Case,
    kind: str,
    term: Term,
    size: float | None,
    low: float | None,
    high: float | None,
    facts: dict[str, Any],
) -> Finding:
    test = case.tests.get(term.name)
    aliases = tuple(other.name for other in case.selection.aliases.get(term, []) if other.order <= 2)
    if aliases:
        facts["aliased_with"] = aliases
    if test is not None:
        facts["stratum"] = test.stratum
    if case.error:
        facts |= {"margin": case.error.margin, "simultaneous_margin": case.error.simultaneous_margin}
    return Finding(
        kind=kind,
        response=case.response.name,
        variables=tuple(dict.fromkeys(case.model.variables[member].name for member in term.members)),
        size=size,
        low=low,
        high=high,
        unit=case.response.unit,
        direction=_direction(size),
        matters=judge(low, high, case.response.matters),
        p=None if test is None else test.p,
        facts=facts,
    )


def _cannot_tell(case: Case) -> list[Finding]:
    """Factors whose effect cannot be told from something else's."""
    twins = [(other, (term.name,)) for term, chain in case.selection.aliases.items() for other in chain]
    lost = [*twins, *case.selection.entangled.items()]
    return [
        cannot_tell(case.response, term.name, because="entangled" if with_ else "whole plots", with_=with_)
        for term, with_ in lost
        if term.order == 1 and not term.block
    ]


def cannot_tell(response: Response, name: str, *, because: str, with_: tuple[str, ...] = ()) -> Finding:
    return Finding(
        kind="cannot tell",
        response=response.name,
        variables=(name,),
        size=None,
        low=None,
        high=None,
        unit=response.unit,
        direction="none",
        matters="unsure",
        facts={"because": because, "with": with_},
    )


def _direction(size: float | None) -> Direction:
    if not size:
        return "none"
    return "up" if size > 0 else "down"


def _minus(value: float | None) -> float | None:
    return None if value is None else -value
