"""What do the scores say about each factor, in numbers a sentence can be made of?

Sizes are differences of expected scores (shares of yes, counts), so that they compare with the
difference that matters.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from analysis.estimates import Test
from analysis.findings import judge
from analysis.linear.evidence import cannot_tell
from analysis.results import Finding
from analysis.scores.comparing import limits_of_sum, settings_of
from analysis.scores.model import Model
from analysis.scores.results import ScoreDifference
from analysis.scores.terms import Term, Variable

Floats = NDArray[np.float64]


def evidence(model: Model, tests: Mapping[str, Test], pairs: tuple[ScoreDifference, ...]) -> tuple[Finding, ...]:
    """Effects, interactions and bends, then what cannot be told."""
    found = []
    for term in model.layout.terms:
        if not term.asked:
            continue
        if len(term.members) == 1:
            found.append(_effect(model, term, tests.get(term.name), pairs))
        elif len(term.members) == 2 and term.members[0] != term.members[1]:
            found.append(_interaction(model, term, tests.get(term.name)))
        elif len(term.members) == 2:
            found.append(_bend(model, term, tests.get(term.name)))
    for term in model.layout.dropped:
        if term.asked and len(term.members) == 1:
            found.append(cannot_tell(model.response, term.name, because="entangled", with_=_twins(model, term)))
    return tuple(found)


def _twins(model: Model, term: Term) -> tuple[str, ...]:
    """Single terms whose columns hold all of this one's."""
    frame = model.readings.frame
    own = model.layout.variables[term.members[0]]
    found = []
    for other in model.layout.terms:
        if len(other.members) != 1:
            continue
        variable = model.layout.variables[other.members[0]]
        columns = np.hstack([np.ones((len(frame), 1)), variable.columns(frame[variable.name].tolist())])
        both = np.hstack([columns, own.columns(frame[own.name].tolist())])
        if np.linalg.matrix_rank(both) == np.linalg.matrix_rank(columns):
            found.append(other.name)
    return tuple(found)


def _effect(model: Model, term: Term, test: Test | None, pairs: tuple[ScoreDifference, ...]) -> Finding:
    variable = model.layout.variables[term.members[0]]
    facts: dict[str, Any] = {
        "factor_kind": "amount" if variable.amount else "category",
        "factor_unit": variable.unit,
        "levels": len(variable.levels),
        "scores": model.response.scale,
    }
    if variable.amount or len(variable.levels) == 2:
        cells = settings_of(variable)
        factor = model.quantile(model.df_of(term.name))
        size, low, high = difference(model, {variable.name: cells[-1]}, {variable.name: cells[0]}, factor)
        facts |= {"from": variable.levels[0], "to": variable.levels[-1], "method": "t"}
        facts["p_difference"] = None if test is None else test.p
    else:
        own = [pair for pair in pairs if pair.factor == variable.name]
        pair = max(own, key=lambda one: abs(one.difference))
        size, low, high, start, end = pair.difference, pair.low, pair.high, pair.b, pair.a
        if size < 0:
            size, low, high, start, end = -size, _minus(high), _minus(low), end, start
        facts |= {"from": start, "to": end, "method": pair.method, "p_difference": pair.p_adjusted}
    at = term.members[0]
    if any(other.members == (at, at) for other in model.layout.terms):
        facts["bends"] = True
    if term.name in model.separated:
        facts["separated"] = True
    return finding(model, "effect", (variable.name,), size, low, high, test, facts)


def difference(
    model: Model, end: Mapping[str, object], start: Mapping[str, object], factor: float
) -> tuple[float, float | None, float | None]:
    """Expected response at ``end`` minus at ``start``, with its interval."""
    return combined(model, [(1.0, end), (-1.0, start)], factor)


def combined(
    model: Model, parts: list[tuple[float, Mapping[str, object]]], factor: float
) -> tuple[float, float | None, float | None]:
    """A weighted sum of expectations."""
    grids = [model.cells(cells) for _, cells in parts]
    weights = np.array([weight for weight, _ in parts])
    estimates = model.expected.averaged(grids)
    return float(weights @ estimates), *limits_of_sum(model, weights, estimates, model.expected.spread(grids), factor)


def _interaction(model: Model, term: Term, test: Test | None) -> Finding:
    along, by = (model.layout.variables[i] for i in term.members)
    best: tuple[float, Any] | None = None
    choices = [(a, b) for a in _ends(along) for b in _ends(by)]
    factor = _bonferroni(model, model.df_of(term.name), len(choices))
    for (a0, a1), (b0, b1) in choices:
        parts: list[tuple[float, Mapping[str, object]]] = [
            (1.0, {along.name: a1[0], by.name: b1[0]}),
            (-1.0, {along.name: a0[0], by.name: b1[0]}),
            (-1.0, {along.name: a1[0], by.name: b0[0]}),
            (1.0, {along.name: a0[0], by.name: b0[0]}),
        ]
        size = float(
            np.array([w for w, _ in parts]) @ model.expected.averaged([model.cells(cells) for _, cells in parts])
        )
        if best is None or abs(size) > abs(best[0]):
            best = (size, (parts, a0, a1, b0, b1))
    assert best is not None
    parts, a0, a1, b0, b1 = best[1]
    size, low, high = combined(model, parts, factor)
    facts: dict[str, Any] = {
        "of": along.name, "of_kind": "amount" if along.amount else "category", "of_unit": along.unit,
        "from": a0[1], "to": a1[1], "by": by.name, "by_unit": by.unit, "by_from": b0[1], "by_to": b1[1],
        "effect_at_from": combined(model, [parts[2], parts[3]], factor)[0] * -1,
        "effect_at_to": combined(model, [parts[0], parts[1]], factor)[0],
        "scores": model.response.scale,
    }  # fmt: skip
    return finding(model, "interaction", (along.name, by.name), size, low, high, test, facts)


def _bend(model: Model, term: Term, test: Test | None) -> Finding:
    """How far the middle of an amount lies off the straight line between both ends."""
    variable = model.layout.variables[term.members[0]]
    low_end, high_end = variable.values[0], variable.values[-1]
    middle = (low_end + high_end) / 2
    parts: list[tuple[float, Mapping[str, object]]] = [
        (1.0, {variable.name: middle}),
        (-0.5, {variable.name: low_end}),
        (-0.5, {variable.name: high_end}),
    ]
    size, low, high = combined(model, parts, model.quantile(model.df_of(term.name)))
    facts: dict[str, Any] = {
        "factor_kind": "amount", "from": variable.levels[0], "to": variable.levels[-1], "factor_unit": variable.unit,
        "middle": middle, "scores": model.response.scale,
    }  # fmt: skip
    return finding(model, "bend", (variable.name,), size, low, high, test, facts)


def _ends(variable: Variable) -> list[tuple[tuple[object, str], tuple[object, str]]]:
    """Pairs of settings whose change may differ: both ends of an amount, every pair of levels."""
    cells = list(zip(settings_of(variable), variable.levels, strict=True))
    return [(cells[0], cells[-1])] if variable.amount else list(combinations(cells, 2))


def _bonferroni(model: Model, df: float | None, count: int) -> float:
    from scipy.special import ndtri

    from analysis.linear.distributions import t_quantile

    each = 1 - (1 - model.confidence) / max(count, 1)
    return t_quantile(each, df) if df else float(ndtri((1 + each) / 2))


def finding(
    model: Model,
    kind: str,
    variables: tuple[str, ...],
    size: float,
    low: float | None,
    high: float | None,
    test: Test | None,
    facts: dict[str, Any],
) -> Finding:
    direction: Literal["up", "down", "none"] = "up" if size > 0 else "down" if size < 0 else "none"
    return Finding(
        kind=kind,
        response=model.response.name,
        variables=variables,
        size=size,
        low=low,
        high=high,
        unit=model.response.unit,
        direction=direction,
        matters=judge(low, high, model.response.matters),
        p=None if test is None else test.p,
        facts=facts,
    )


def _minus(value: float | None) -> float | None:
    return None if value is None else -value
