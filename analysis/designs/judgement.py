"""How surely could these bakes answer, before anyone has baked?

Error degrees of freedom in each stratum, evenness of the design, and for each effect the
half-width of its interval and the chance to see the difference that matters, from the
spread between bakes that the plan expects.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

import numpy as np
from scipy.stats import nct
from scipy.stats import t as student_t

from analysis.designs.columns import Floats
from analysis.designs.contrasts import contrasts
from analysis.designs.model import Model
from analysis.designs.requests import DesignRequest, DesignResponse
from analysis.designs.treatments import Treatments
from analysis.errors import PlanError
from analysis.words.plurals import several

FEWEST_DF = 3
LARGEST_SATURATED = 128  # runs; beyond this the analysis does not judge single bakes by the small effects
MOST_SIGNS = 20  # factors, likewise
FEWEST_LENTH = 3  # effects that Lenth's method needs at all
FEWEST_EFFECTS = 7  # Lenth's t has a third of the number of effects as degrees of freedom


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """``half_widths``: response -> term -> half-width in the response's unit, or None with a reason.

    A main effect is the change from the lowest to the highest dose, or the least sure of the
    differences between two levels; an interaction is how much the effect of one factor
    changes between the extreme settings of the other; a square is the bend, the middle
    against the mean of both ends. For shares see ``contrasts``. ``power``: response -> term ->
    chance to tell the difference that matters from nothing, None without a difference that matters.
    """

    df_error: int
    judged_by: str
    d_efficiency: float | None
    half_widths: Mapping[str, Mapping[str, float] | None]
    power: Mapping[str, Mapping[str, float] | None]
    strata: tuple[Mapping[str, Any], ...]
    terms: tuple[str, ...]
    cannot_tell: tuple[str, ...]
    reasons: Mapping[str, str]


def with_error_to_judge_by(model: Model, made: Treatments, request: DesignRequest) -> Model:
    """The model as the analysis will take it: without the highest terms where no error would be left.

    Raises PlanError for fewer than three error degrees of freedom, unless accepted or a screening.
    """
    lenth = by_small_effects(model)
    _require_error_df(model, made, request, lenth=lenth)
    return model if lenth else model.with_an_error()


def judge_design(model: Model, request: DesignRequest) -> Judgement:
    """What a model that has an error to judge by (``with_error_to_judge_by``) promises."""
    lenth = by_small_effects(model)
    reasons: dict[str, str] = {}
    half_widths: dict[str, Mapping[str, float] | None] = {}
    power: dict[str, Mapping[str, float] | None] = {}
    for response in request.responses:
        errors = standard_errors(model, response, lenth=lenth)
        half_widths[response.name] = _half_widths(errors, response, request.confidence, reasons)
        power[response.name] = _power(errors, response, request.confidence, reasons)
    given_up = [term.name for term in model.lost if len(term.factors) > 1]
    if given_up:
        reasons["cannot_tell"] = "these runs cannot tell them apart from other terms and from an error to judge by"
    if lenth:
        reasons["half_widths"] = "nothing is baked twice: given is the mean of Lenth's margin when few effects are real"
    evenness = d_efficiency(model)
    if evenness is None:
        reasons["d_efficiency"] = "whole plots have an error of their own, so no single percentage says how even it is"
    return Judgement(
        df_error=0 if lenth else model.df_error,
        judged_by=_judged_by(model, lenth=lenth),
        d_efficiency=evenness,
        half_widths=half_widths,
        power=power,
        strata=tuple(
            {
                "group": stratum.group,
                "terms": [term.name for term in stratum.terms],
                "df_error": 0 if lenth else stratum.df_error,
            }
            for stratum in model.strata
        ),
        terms=tuple(term.name for term in model.spans),
        cannot_tell=tuple(term.name for term in model.lost),
        reasons=reasons,
    )


def by_small_effects(model: Model) -> bool:
    """Is it judged by Lenth's method: two levels, nothing baked twice, every effect needed for itself?

    So are regular two-level designs baked once, unless single effects alone are asked for and what
    is left over can judge them; and designs that single effects use up, if they are all alike.
    """
    if (
        model.shared.shape[1]
        or not model.mean
        or any(len(np.unique(np.round(c, 9), axis=0)) != 2 for c in _runs(model))
    ):
        return False
    if _is_single_regular(model):
        return model.name != "main effects" or model.df_error < FEWEST_DF
    columns = model.matrix[:, [at for span in model.spans.values() for at in range(span.start, span.stop)]]
    alike = np.abs(columns.T @ columns - len(columns) * np.eye(columns.shape[1])).max(initial=0.0)
    return model.df_error == 0 and columns.shape[1] >= FEWEST_LENTH and bool(alike < 1e-9 * len(columns))


def _runs(model: Model) -> list[Floats]:
    return list(model.runs.values())


def _is_single_regular(model: Model) -> bool:
    """A full two-level design or a regular fraction, each treatment once: products of treatments are treatments."""
    signs = np.hstack(_runs(model)) > 0
    codes = signs @ (1 << np.arange(signs.shape[1], dtype=np.int64))
    count = len(codes)
    if not 4 <= count <= LARGEST_SATURATED or signs.shape[1] > MOST_SIGNS or len(np.unique(codes)) < count:
        return False
    shifted = codes ^ codes[0]
    return len(np.unique(shifted[:, None] ^ shifted[None, :])) == count


def _effects(model: Model) -> int:
    """Independent contrasts of the runs within blocks: what Lenth's method is given."""
    return model.matrix.shape[0] - 1 - model.fixed_columns


def _require_error_df(model: Model, made: Treatments, request: DesignRequest, *, lenth: bool) -> None:
    """A screening may do without error df: Lenth's method then judges by the small effects.

    ``model.df_error`` counts interactions of three factors and more as error, which a whole
    factorial in one replicate would have to do.
    """
    saturating = made.fraction is not None or made.signs is None
    screening = lenth and saturating and _effects(model) >= FEWEST_EFFECTS
    if model.fewest_df >= FEWEST_DF or request.accept_few_df or screening:
        return
    poorest = min((each for each in model.strata if each.terms), key=lambda each: each.df_error)
    told = "" if poorest.group == "bakes" else f" between {several(poorest.group)}"
    raise PlanError(
        f"{model.matrix.shape[0]} runs leave {poorest.df_error} degrees of freedom to judge the error{told}; "
        f"below {FEWEST_DF} little can be told. It would be judged by {_judged_by(model, lenth=lenth)}.",
        where="design",
        try_this=("replicates = 2, fewer levels" if not told else "more whole plots, or replicates = 2")
        + ", or accept_few_df = true",
    )


def _judged_by(model: Model, *, lenth: bool) -> str:
    if lenth:
        return f"Lenth's pseudo standard error of {_effects(model)} effects, which holds when few of them are real"
    judging = [stratum for stratum in model.strata if stratum.terms] or [model.strata[-1]]
    return "; ".join(_stratum_said(stratum.group, stratum.df_error, alone=len(judging) == 1) for stratum in judging)


def _stratum_said(group: str, df: int, *, alone: bool) -> str:
    if df <= 0:
        return "nothing: estimates without intervals" if alone else f"nothing between {several(group)}"
    error = "the error between bakes" if group == "bakes" else f"the error between {several(group)}"
    if df < FEWEST_DF:
        return f"{error} with {df} degree(s) of freedom: intervals will be very wide"
    return f"{error}, {df} degrees of freedom"


def d_efficiency(model: Model) -> float | None:
    """100 |X'X / N|^(1/p) over the mean and the factors' terms, amounts coded -1 to 1, shares 0 to 1.

    100 when all terms of a two-level design are orthogonal; with squares or shares 100 cannot be
    reached, and the figure only compares designs of one model. None where whole plots share an error.
    """
    if model.shared.shape[1]:
        return None
    skipped = model.fixed_columns + model.bend
    keep = [*([0] if model.mean else []), *range(model.mean + skipped, model.rank)]
    x = model.matrix[:, keep]
    sign, log_determinant = np.linalg.slogdet(x.T @ x / len(x))
    return round(float(100 * np.exp(log_determinant / len(keep))), 6) if sign > 0 else 0.0


@dataclass(frozen=True, kw_only=True)
class TermError:
    """Standard error of a term's effect in the response's unit, and the degrees of freedom that judge it."""

    se: float
    df: float


def standard_errors(model: Model, response: DesignResponse, *, lenth: bool) -> dict[str, TermError] | None:
    """Term -> how surely its effect would be known; None without a spread.

    Generalised least squares: V = I + (whole-plot variance / bake variance) for runs of one whole plot.
    """
    if response.spread is None:
        return None
    between = response.spread if response.whole_plot_spread is None else response.whole_plot_spread
    ratio = (between / response.spread) ** 2
    weight = np.eye(len(model.matrix)) + ratio * model.shared @ model.shared.T
    information = model.matrix.T @ np.linalg.solve(weight, model.matrix)
    root: Floats = np.linalg.inv(np.linalg.cholesky(information)).astype(np.float64)
    return {
        term.name: TermError(
            se=response.spread * _longest(contrasts(model, term), root),
            df=_effects(model) / 3 if lenth else model.stratum_of(term).df_error,
        )
        for term in model.spans
    }


def _longest(rows: Sequence[Floats], root: Floats) -> float:
    """Largest standard error of the contrasts, for a spread of one."""
    return float(max(np.linalg.norm(root @ row) for row in rows))


def _half_widths(
    errors: Mapping[str, TermError] | None, response: DesignResponse, confidence: float, reasons: dict[str, str]
) -> dict[str, float] | None:
    key = f"half_widths.{response.name}"
    if errors is None:
        reasons[key] = "the plan does not say the spread between bakes of one treatment"
        return None
    if any(error.df <= 0 for error in errors.values()):
        reasons[key] = "no error degrees of freedom"
        return None
    return {name: float(student_t.ppf(0.5 + confidence / 2, e.df)) * e.se for name, e in errors.items()}


def _power(
    errors: Mapping[str, TermError] | None, response: DesignResponse, confidence: float, reasons: dict[str, str]
) -> dict[str, float] | None:
    key = f"power.{response.name}"
    if errors is None or response.matters is None:
        missing = "spread between bakes" if errors is None else "difference that matters"
        reasons[key] = f"the plan does not say the {missing}"
        return None
    if any(error.df <= 0 for error in errors.values()):
        reasons[key] = "no error degrees of freedom"
        return None
    return {name: _two_sided(response.matters / e.se, e.df, confidence) for name, e in errors.items()}


def _two_sided(shift: float, df: float, confidence: float) -> float:
    """Chance that |t| passes its critical value when the true effect is ``shift`` standard errors."""
    critical = float(student_t.ppf(0.5 + confidence / 2, df))
    above = float(nct.sf(critical, df, shift))
    below = float(nct.cdf(-critical, df, shift))
    # Tails too small for a double come back as no number: there is nothing in them.
    return min(sum(tail for tail in (above, below) if isfinite(tail)), 1.0) if isfinite(above) else 1.0
