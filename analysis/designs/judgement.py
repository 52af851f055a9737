"""How surely could these bakes answer, before anyone has baked?

Error degrees of freedom, evenness of the design, and the half-width of the interval each
effect would get, from the spread between bakes that the plan expects.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student_t

from analysis.designs.model import Floats, Model, Term, products
from analysis.designs.requests import DesignRequest, DesignResponse
from analysis.designs.treatments import Treatments
from analysis.errors import PlanError

FEWEST_DF = 3
FEWEST_EFFECTS = 7  # Lenth's t has a third of the number of effects as degrees of freedom


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """``half_widths``: response -> term -> half-width in the response's unit, or None with a reason.

    A main effect is the change from the lowest to the highest dose, or the least sure of the
    differences between two levels; an interaction is how much the effect of one factor
    changes between the extreme settings of the other.
    """

    df_error: int
    judged_by: str
    d_efficiency: float | None
    half_widths: Mapping[str, Mapping[str, float] | None]
    terms: tuple[str, ...]
    cannot_tell: tuple[str, ...]
    reasons: Mapping[str, str]


def judge_design(model: Model, made: Treatments, request: DesignRequest) -> Judgement:
    """Raises PlanError for fewer than three error degrees of freedom, unless accepted or a screening."""
    lenth = made.signs is not None and request.replicates == 1 and not request.centre_points
    df_error = 0 if lenth else model.df_error
    _require_error_df(model, made, request, lenth=lenth)
    reasons: dict[str, str] = {}
    two_level = made.signs is not None and not request.centre_points
    if not two_level:
        reasons["d_efficiency"] = "evenness in percent is given for two-level designs without centre points"
    quantile = _quantile(model, lenth=lenth, confidence=request.confidence)
    half_widths = {response.name: _half_widths(model, response, quantile, reasons) for response in request.responses}
    if lenth:
        reasons["half_widths"] = "nothing is baked twice: given is the mean of Lenth's margin when few effects are real"
    return Judgement(
        df_error=df_error,
        judged_by=_judged_by(model, lenth=lenth),
        d_efficiency=d_efficiency(model) if two_level else None,
        half_widths=half_widths,
        terms=tuple(term.name for term in model.spans),
        cannot_tell=tuple(term.name for term in model.lost),
        reasons=reasons,
    )


def _effects(model: Model) -> int:
    """Independent contrasts of the runs within blocks: what Lenth's method is given."""
    return model.matrix.shape[0] - 1 - model.block_columns


def _require_error_df(model: Model, made: Treatments, request: DesignRequest, *, lenth: bool) -> None:
    """A screening may do without error df: Lenth's method then judges by the small effects.

    ``model.df_error`` counts interactions of three factors and more as error, which a whole
    factorial in one replicate would have to do.
    """
    screening = lenth and made.fraction is not None and _effects(model) >= FEWEST_EFFECTS
    if model.df_error >= FEWEST_DF or request.accept_few_df or screening:
        return
    raise PlanError(
        f"{model.matrix.shape[0]} runs leave {model.df_error} degrees of freedom to judge the error; "
        f"below {FEWEST_DF} little can be told. It would be judged by {_judged_by(model, lenth=lenth)}.",
        where="design",
        try_this="replicates = 2, fewer levels, or accept_few_df = true",
    )


def _judged_by(model: Model, *, lenth: bool) -> str:
    if lenth:
        return f"Lenth's pseudo standard error of {_effects(model)} effects, which holds when few of them are real"
    if model.df_error >= FEWEST_DF:
        return f"the error between bakes, {model.df_error} degrees of freedom"
    if model.df_error > 0:
        return f"the error between bakes with {model.df_error} degree(s) of freedom: intervals will be very wide"
    return "nothing: estimates without intervals"


def _quantile(model: Model, *, lenth: bool, confidence: float) -> float | None:
    df = _effects(model) / 3 if lenth else model.df_error
    return float(student_t.ppf(0.5 + confidence / 2, df)) if df > 0 else None


def d_efficiency(model: Model) -> float:
    """100 |X'X / N|^(1/p) over the mean and the factors' terms: 100 when all are orthogonal."""
    keep = [0, *range(1 + model.block_columns, model.rank)]
    x = model.matrix[:, keep]
    sign, log_determinant = np.linalg.slogdet(x.T @ x / len(x))
    return round(float(100 * np.exp(log_determinant / len(keep))), 6) if sign > 0 else 0.0


def _half_widths(
    model: Model, response: DesignResponse, quantile: float | None, reasons: dict[str, str]
) -> dict[str, float] | None:
    key = f"half_widths.{response.name}"
    if response.spread is None:
        reasons[key] = "the plan does not say the spread between bakes of one treatment"
        return None
    if quantile is None:
        reasons[key] = "no error degrees of freedom"
        return None
    root = np.linalg.inv(np.linalg.cholesky(model.matrix.T @ model.matrix))
    return {
        term.name: float(quantile * response.spread * _longest(contrasts(model, term), root))
        for term in model.spans
        if len(set(term.factors)) == len(term.factors)
    }


def _longest(rows: Sequence[Floats], root: Floats) -> float:
    """Largest standard error of the contrasts, for a spread of one."""
    return float(max(np.linalg.norm(root @ row) for row in rows))


def contrasts(model: Model, term: Term) -> list[Floats]:
    """Weights (p,) on the coefficients that make the effect of a term, averaged over all else."""
    columns = [model.columns[name] for name in term.factors]
    if len(columns) == 1:
        return [
            _row(model, {term.factors[0]: high}) - _row(model, {term.factors[0]: low})
            for low, high in columns[0].extremes()
        ]
    first, second = term.factors
    return [
        _row(model, {first: b, second: d})
        - _row(model, {first: a, second: d})
        - _row(model, {first: b, second: c})
        + _row(model, {first: a, second: c})
        for a, b in columns[0].extremes()
        for c, d in columns[1].extremes()
    ]


def _row(model: Model, chosen: Mapping[str, Floats]) -> Floats:
    """One row of the model with some factors set and the others at their average setting."""
    parts = {name: chosen.get(name, column.values.mean(axis=0)) for name, column in model.columns.items()}
    row = np.zeros(model.rank)
    row[0] = 1.0
    for term, span in model.spans.items():
        row[span] = products([parts[name][None, :] for name in term.factors])[0]
    return row
