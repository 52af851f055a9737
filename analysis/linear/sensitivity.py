"""What would change the answer: an odd bake left out, or another way of looking?

Each named bake is left out in turn (and all of them together), each wish is taken back, and the answer is
computed again. Every finding stands in the list, whether it changed or not.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import ClassVar, Literal

import pandas as pd

from analysis.errors import NotPossible, TrialDataError
from analysis.parts import Part
from analysis.questions import Question, Response
from analysis.results import FamilyResult, Finding, Matters

Kind = Literal["bake", "bakes", "influence", "covariate", "robust", "unequal", "transform", "weights"]
Ask = Callable[[pd.DataFrame, Response, Question], FamilyResult]

MOST_BAKES = 6
SIZED = ("effect", "interaction", "bend", "centre")


@dataclass(frozen=True, kw_only=True)
class FindingChange:
    """One finding as it stands, and as it would be; sizes in the response's unit."""

    kind: str
    variables: tuple[str, ...]
    size: float | None
    low: float | None
    high: float | None
    matters: Matters
    size_then: float | None
    low_then: float | None
    high_then: float | None
    matters_then: Matters | None

    @property
    def turns(self) -> bool:
        """Does the verdict change?"""
        return self.matters_then is not None and self.matters_then != self.matters


@dataclass(frozen=True, kw_only=True)
class Change:
    """``what`` is done (a bake left out, a wish taken back), ``names`` to which bakes or columns.

    ``why`` tells why no answer can be had that way; ``findings`` are then empty.
    """

    what: Kind
    names: tuple[str, ...]
    findings: tuple[FindingChange, ...] = ()
    why: str = ""


@dataclass(frozen=True, kw_only=True)
class ChangesPart(Part):
    """The answer compared with what it would be otherwise."""

    key: ClassVar[str] = "what_changes"
    changes: tuple[Change, ...] = field(default_factory=tuple)


def changes_part(
    bakes: pd.DataFrame, response: Response, question: Question, result: FamilyResult, *, ask: Ask
) -> ChangesPart | None:
    """None where no bake is named and nothing special was asked for."""
    found = [
        *(_without(bakes, response, question, result, kind, names, ask) for kind, names in _bakes_named(result)),
        *(_otherwise(bakes, response, question, result, kind, names, ask) for kind, names in _wishes(question, result)),
    ]
    return ChangesPart(changes=tuple(found)) if found else None


def _bakes_named(result: FamilyResult) -> list[tuple[Kind, tuple[str, ...]]]:
    odd: tuple[str, ...] = ()
    leans: tuple[str, ...] = ()
    for check in result.checks:
        if check.check == "odd bakes":
            odd = tuple(check.facts["bakes"])[:MOST_BAKES]
        if check.check == "influence" and check.verdict != "fine":
            leans = (str(check.facts["bake"]),)
    found: list[tuple[Kind, tuple[str, ...]]] = [("bake", (name,)) for name in odd]
    if len(odd) > 1:
        found.append(("bakes", odd))
    return [*found, *(("influence", (name,)) for name in leans if name not in odd)]


def _wishes(question: Question, result: FamilyResult) -> list[tuple[Kind, tuple[str, ...]]]:
    found: list[tuple[Kind, tuple[str, ...]]] = []
    if question.covariates:
        found.append(("covariate", question.covariates))
    if question.robust:
        found.append(("robust", ()))
    if question.unequal_spread:
        found.append(("unequal", ()))
    if result.model.transform:
        found.append(("transform", (result.model.transform,)))
    if question.weights:
        found.append(("weights", (question.weights,)))
    return found


def _without(
    bakes: pd.DataFrame,
    response: Response,
    question: Question,
    result: FamilyResult,
    kind: Kind,
    names: tuple[str, ...],
    ask: Ask,
) -> Change:
    kept = bakes[~bakes["bake"].astype(str).isin(names)].reset_index(drop=True)
    for name in kept.columns:
        if isinstance(kept[name].dtype, pd.CategoricalDtype):
            kept[name] = kept[name].cat.remove_unused_categories()
    same_scale = replace(question, transform=result.model.transform) if question.transform == "auto" else question  # type: ignore[arg-type]
    return _compared(kind, names, result, kept, response, same_scale, ask)


def _otherwise(
    bakes: pd.DataFrame,
    response: Response,
    question: Question,
    result: FamilyResult,
    kind: Kind,
    names: tuple[str, ...],
    ask: Ask,
) -> Change:
    back = {
        "covariate": replace(question, covariates=()),
        "robust": replace(question, robust=False),
        "unequal": replace(question, unequal_spread=False),
        "transform": replace(question, transform=None),
        "weights": replace(question, weights=None),
    }[kind]
    return _compared(kind, names, result, bakes, response, back, ask)


def _compared(
    kind: Kind,
    names: tuple[str, ...],
    result: FamilyResult,
    bakes: pd.DataFrame,
    response: Response,
    question: Question,
    ask: Ask,
) -> Change:
    try:
        then = ask(bakes, response, question)
    except (NotPossible, TrialDataError) as problem:
        return Change(what=kind, names=names, why=problem.what)
    others = {(one.kind, one.variables): one for one in then.evidence}
    found = [
        _change(finding, _turned(finding, others.get((finding.kind, finding.variables))))
        for finding in result.evidence
        if finding.kind in SIZED
    ]
    return Change(what=kind, names=names, findings=tuple(found))


def _turned(finding: Finding, then: Finding | None) -> Finding | None:
    """The other answer about the same levels and in the same direction.

    A finding names the levels that lie furthest apart. Where the other answer names them the other way
    round its sign is turned; where it names other levels its size is about something else, and is left out.
    """
    if then is None or then.size is None:
        return then
    sides = [_sides(finding), _sides(then)]
    if sides[0].keys() != sides[1].keys() or any(set(sides[0][name]) != set(sides[1][name]) for name in sides[0]):
        return replace(then, size=None, low=None, high=None)
    if sum(sides[0][name] != sides[1][name] for name in sides[0]) % 2:
        return replace(then, size=-then.size, low=_minus(then.high), high=_minus(then.low))
    return then


def _sides(finding: Finding) -> dict[str, tuple[str, str]]:
    """From which level to which, for each category: {"acid": ("cream", "mono")}; amounts keep their ends."""
    facts = finding.facts
    if finding.kind == "effect" and facts.get("factor_kind") == "category":
        return {finding.variables[0]: (facts["from"], facts["to"])}
    if finding.kind == "interaction" and "of" in facts:
        return {facts["of"]: (facts["from"], facts["to"]), facts["by"]: (facts["by_from"], facts["by_to"])}
    return {}


def _minus(value: float | None) -> float | None:
    return None if value is None else -value


def _change(finding: Finding, then: Finding | None) -> FindingChange:
    return FindingChange(
        kind=finding.kind,
        variables=finding.variables,
        size=finding.size,
        low=finding.low,
        high=finding.high,
        matters=finding.matters,
        size_then=None if then is None else then.size,
        low_then=None if then is None else then.low,
        high_then=None if then is None else then.high,
        matters_then=None if then is None else then.matters,
    )
