"""Does the response follow an amount in a straight line?

For each amount with three or more settings: what level-by-level means add to the
straight line, judged against the error of the wider model (pure error when the
treatments were replicated).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from analysis.linear.centre_points import curvature_of
from analysis.linear.coding import Term, Variable
from analysis.linear.distributions import f_tail
from analysis.linear.ground import Ground
from analysis.linear.least_squares import Basis, Fit, least_squares
from analysis.linear.mixed_model import MixedModel
from analysis.linear.polynomials import orthogonal_polynomials
from analysis.linear.squares import tests
from analysis.linear.stratum import Model
from analysis.results import Check

Floats = NDArray[np.float64]

ALARM = 0.05
MOST_TRENDS = 5  # beyond this many extra columns only the quadratic is tried


def check_curvature(model: Model, ground: Ground) -> Mapping[str, Check]:
    """A check for each fitted amount that was baked at three or more settings, by its name.

    None for an amount whose square is in the model: its bend is a term of its own. Amounts whose
    bends cannot be told apart (centre points move all at once) share one check.
    """
    column = curvature_of(model.variables)
    if column is not None and (term := model.find(column)) is not None:
        return _at_the_centre(model, term)
    found: dict[str, Check] = {}
    bends: list[tuple[bytes, str]] = []
    for term in model.terms:
        variable = model.variables[term.members[0]]
        if term.order > 1 or not variable.amount or len(variable.levels) < 3 or model.find(*term.members * 2):
            continue
        bend = np.round(_bend(variable), 9).tobytes()
        twins = [name for known, name in bends if known == bend]
        bends.append((bend, variable.name))
        if twins:
            shared = found[twins[0]]
            factors = (*shared.facts["factors"], variable.name)
            facts = {**shared.facts, "factors": factors, "factor": " or ".join(factors)}
            check = Check(check="curvature", verdict=shared.verdict, facts=facts)
            found |= {name: check for name in (*twins, variable.name)}
        else:
            found[variable.name] = _check(model, ground, term, variable)
    return found


def _at_the_centre(model: Model, term: Term) -> Mapping[str, Check]:
    """The check that all amounts share when the model itself holds the bend shown by centre points."""
    factors = tuple(v.name for v in model.variables if v.amount and not v.block)
    line = tests(model.stratum_of(term), 3)[model.stratum_of(term).terms.index(term)]
    facts: dict[str, object] = {"factor": " or ".join(factors), "factors": factors, "levels": 3, "tested": False}
    if line.p is None or line.value is None or line.df_error is None:
        check = Check(check="curvature", verdict="fine", facts=facts)
    else:
        facts |= {"tested": True, "df": 1, "df_error": int(line.df_error), "value": line.value, "p": line.p}
        facts |= {"quadratic_p": line.p, "trends": ((2, line.value, line.p),)}
        check = Check(check="curvature", verdict="look here" if line.p < ALARM else "fine", facts=facts)
    return dict.fromkeys(factors, check)


def _bend(variable: Variable) -> Floats:
    """The squared setting of each bake, which is what a bend adds to a line."""
    return np.asarray(variable.columns[:, 0] ** 2) + 0.0


def _check(model: Model, ground: Ground, term: Term, variable: Variable) -> Check:
    assert variable.values is not None
    stratum = model.stratum_of(term)
    facts: dict[str, object] = {
        "factor": variable.name,
        "factors": (variable.name,),
        "levels": len(variable.levels),
        "tested": False,
    }
    untested = Check(check="curvature", verdict="fine", facts=facts)
    extra = len(variable.levels) - 2
    if extra > MOST_TRENDS or stratum.fit.df - extra < 1:
        extra = 1
    if stratum.mean_sq is None or stratum.fit.df - extra < 1:
        return untested
    trends = orthogonal_polynomials(variable.values, 1 + extra)[variable.codes, 1:]
    if isinstance(model, MixedModel):
        return _beside_groups(model, trends, facts) or untested
    columns = ground.place(trends)[1]
    if columns.shape[0] != len(stratum.fit.y) or not Basis(len(columns), stratum.fit.q).adds(columns):
        return untested
    added = _added(stratum.fit, columns)
    if added is None:  # level-by-level means leave no scatter at all, the straight line does
        facts |= {"tested": True, "df": extra, "value": None, "p": 0.0}
        return Check(check="curvature", verdict="look here", facts=facts)
    (value, p), df_error, each = added
    facts |= {"tested": True, "df": extra, "df_error": df_error, "value": value, "p": p, "quadratic_p": each[0][1]}
    facts["trends"] = tuple((degree, *tested) for degree, tested in enumerate(each, start=2))
    return Check(check="curvature", verdict="look here" if p < ALARM else "fine", facts=facts)


def _beside_groups(model: MixedModel, trends: Floats, facts: dict[str, object]) -> Check | None:
    """The bend where variances were estimated; only the quadratic is named beside the whole."""
    added, bend = model.added(trends), model.added(trends[:, :1])
    if added is None or bend is None:
        return None
    value, df, df_error, p, _ = added
    facts = {**facts, "tested": True, "df": df, "df_error": df_error, "value": value, "p": p, "quadratic_p": bend[3]}
    facts["trends"] = ((2, bend[0], bend[3]),)
    return Check(check="curvature", verdict="look here" if p < ALARM else "fine", facts=facts)


def _added(fit: Fit, columns: Floats) -> tuple[tuple[float, float], int, list[tuple[float, float]]] | None:
    """(F, p) of columns added to a fit, the error df, and (F, p) of each in turn after those before it.

    None when the wider model leaves no scatter to judge by.
    """
    df = columns.shape[1]
    absorbed = len(fit.y) - fit.x.shape[1] - fit.df
    wider = least_squares(np.hstack([fit.x, columns]), fit.y, absorbed=absorbed)
    along = wider.q[:, -df:].T @ fit.y
    squares = along * along
    if wider.mean_sq is None or wider.sum_sq <= 1e-20 * max(float(squares.sum()), 1e-300):
        return None
    values = [float(squares.sum()) / df / wider.mean_sq, *(float(square) / wider.mean_sq for square in squares)]
    judged = [(value, f_tail(value, part, wider.df)) for value, part in zip(values, [df, *[1] * df], strict=True)]
    return judged[0], wider.df, judged[1:]
