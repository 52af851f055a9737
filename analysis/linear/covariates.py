"""What did a covariate do, and had the treatments a hand in it?

Its slope (or the test of its levels), the value that means are adjusted to, and whether the treatments
moved the covariate itself: if they did, taking it out takes out part of what they do.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from analysis.linear.coding import Variable, term_columns
from analysis.linear.distributions import f_tail, t_quantile, t_tails
from analysis.linear.least_squares import Basis, explained, least_squares
from analysis.linear.stratum import Model
from analysis.linear.undoing import Undoing
from analysis.parts import Part
from analysis.questions import Question
from analysis.results import Check, FamilyResult

Floats = NDArray[np.float64]

ALARM = 0.05


@dataclass(frozen=True, kw_only=True)
class Covariate:
    """``slope`` is the change of the response per unit (None for levels); where the response was transformed, from
    its mean to one more, in the response's unit.

    ``mean`` is what means are adjusted to. ``moved_p``: of the treatments on the covariate itself.
    """

    name: str
    levels: tuple[str, ...] = ()
    mean: float | None = None
    slope: float | None = None
    se: float | None = None
    low: float | None = None
    high: float | None = None
    p: float | None = None
    moved_p: float | None = None


@dataclass(frozen=True, kw_only=True)
class CovariatesPart(Part):
    key: ClassVar[str] = "covariates"
    covariates: tuple[Covariate, ...] = field(default_factory=tuple)
    scale: str | None = None


def covariate_part(
    question: Question, result: FamilyResult, model: Model | None, undoing: Undoing | None = None
) -> CovariatesPart | None:
    """None without covariates. ``undoing``: where the response was transformed, the way back."""
    if not question.covariates or model is None:
        return None
    p = {line.term: line.p for line in result.tests}
    found = [
        _one(model, at, v, p.get(v.name), question, undoing) for at, v in enumerate(model.variables) if v.covariate
    ]
    known = {one.name for one in found}
    still = {name: "it never changed" for name in question.covariates if name not in known}
    return CovariatesPart(covariates=tuple(found), scale=result.model.transform, reasons=still)


def _one(
    model: Model, at: int, variable: Variable, p: float | None, question: Question, undoing: Undoing | None
) -> Covariate:
    moved = moved_by_treatments(model, variable)
    term = model.find(at)
    if not variable.amount or term is None:
        return Covariate(
            name=variable.name,
            levels=() if variable.amount else variable.levels,
            mean=variable.middle if variable.amount else None,
            p=p,
            moved_p=moved,
        )
    step = model.only(term, np.array([1 / variable.half]))
    contrast = model.contrast(step)
    slope, se = contrast.estimate, contrast.se
    low, high = contrast.interval(question.confidence)
    if undoing is not None:
        rows = np.array([model.row({}), model.row({}) + step])
        factor = None if contrast.df is None else t_quantile(question.confidence, contrast.df)
        found, low, high = undoing.combined(rows, np.array([-1.0, 1.0]), factor)
        slope, se = found if found is not None else 0.0, None
    return Covariate(
        name=variable.name,
        mean=variable.middle,
        slope=slope,
        se=se,
        low=low,
        high=high,
        p=t_tails(contrast.estimate / contrast.se, contrast.df) if contrast.se and contrast.df else None,
        moved_p=moved,
    )


def moved_by_treatments(model: Model, variable: Variable) -> float | None:
    """p of the treatments on the covariate, beside blocks; None where that cannot be tested."""
    n = len(variable.codes)
    basis = Basis(n)
    basis.adds(np.ones((n, 1)))
    for other in model.variables:
        if other.block and not other.covariate:
            basis.adds(other.columns)
    start = basis.columns.copy()
    for term in model.terms:
        if not term.block:
            basis.adds(term_columns(model.variables, term))
    df, df_error = basis.columns.shape[1] - start.shape[1], n - basis.columns.shape[1]
    y = variable.columns
    rest = least_squares(basis.columns, y[:, 0]) if y.shape[1] == 1 else None
    if df < 1 or df_error < 1:
        return None
    if rest is not None:
        if rest.sum_sq <= 1e-20 * float(y[:, 0] @ y[:, 0]):
            return 0.0  # the treatments say all of it
        value = explained(start, basis.columns[:, start.shape[1] :], y[:, 0]) / df / (rest.sum_sq / df_error)
        return f_tail(value, df, df_error)
    return _levels_moved(start, basis.columns, y)


def _levels_moved(start: Floats, whole: Floats, y: Floats) -> float | None:
    """Of a covariate with several levels: Pillai's trace with its F (Pillai 1955, Ann. Math. Stat. 26:117)."""
    n, q, d = len(y), whole.shape[1] - start.shape[1], y.shape[1]
    left = y - whole @ (whole.T @ y)
    both = y - start @ (start.T @ y)
    total = both.T @ both
    error_df = n - whole.shape[1]
    if error_df < d or np.linalg.matrix_rank(total) < d:
        return None
    trace = float(np.trace(np.linalg.solve(total, total - left.T @ left)))
    s = min(d, q)
    one, two = s * max(d, q), s * (error_df - d + s)
    return f_tail(trace / one / max((s - trace) / two, 1e-300), one, two)


def covariate_checks(question: Question, model: Model | None) -> list[Check]:
    """A doubt for each covariate that the treatments moved, and for one that never changed."""
    if model is None:
        return []
    known = {v.name: v for v in model.variables if v.covariate}
    found = []
    for name in question.covariates:
        if name not in known:
            facts: dict[str, object] = {"name": name, "moved": None, "still": True}
            found.append(Check(check="covariate", verdict="look here", facts=facts))
            continue
        p = moved_by_treatments(model, known[name])
        moved = p is not None and p < ALARM
        facts = {"name": name, "p": p, "moved": None if p is None else moved, "still": False}
        found.append(Check(check="covariate", verdict="look here" if moved else "fine", facts=facts))
    return found
