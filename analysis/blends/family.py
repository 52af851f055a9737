"""What does each share of a blend do to a response, and does blending do more than its parts?"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.blends.lines import along_share, even_blend
from analysis.blends.terms import BlendDesign, BlendTerm, blend_design
from analysis.errors import NotPossible
from analysis.findings import judge
from analysis.linear.distributions import f_tail, t_quantile, t_tails
from analysis.linear.finite import finite
from analysis.linear.fitting import NOTHING, is_constant
from analysis.linear.lack_of_fit import lack_of_fit
from analysis.linear.least_squares import Fit, explained, least_squares
from analysis.linear.tables import points
from analysis.questions import Question, Response
from analysis.results import Check, Coefficient, FamilyResult, Finding, ModelNote, Residual, Test, Verdict

Floats = NDArray[np.float64]

LINEAR = "linear blending"
CODING = "shares as parts of one; no constant; blocks and other factors add up to zero over the bakes"
TOO_FEW, FEW = 3, 6  # error df below which not to rely, below which to look


def blend_model(bakes: pd.DataFrame, response: Response, question: Question) -> FamilyResult:
    """The answer for one response of a blend, from one row per bake.

    ``question.model`` chooses the degree ("mixture quadratic" when None). Raises TrialDataError for
    shares that make no whole, NotPossible when nothing was varied, when whole plots were named, or
    when the bakes are too few.
    """
    if question.group or question.strips:
        raise NotPossible(
            "Blends in whole plots cannot be analysed.",
            where=", ".join([*question.group, *question.strips]),
            try_this="leave the group out, or name it as a block",
        )
    raw = bakes[response.name].to_numpy(dtype=np.float64)
    if is_constant(raw):
        raise NotPossible(
            f"Every bake gave {raw[0]:g}.", where=response.name, try_this="a reading that tells the blends apart"
        )
    design = blend_design(bakes, question)
    middle = float(raw.mean())
    fit = least_squares(design.matrix, raw - middle)
    noiseless = fit.df > 0 and np.sqrt(fit.sum_sq / fit.df) <= NOTHING * float(np.ptp(raw))
    mean_sq = None if noiseless else fit.mean_sq
    left = float(((raw - raw.mean()) ** 2).sum())
    result = FamilyResult(
        model=ModelNote(
            kind="factors",
            terms=tuple(term.name for term in design.terms),
            sums_of_squares="type 2",
            coding=CODING,
        ),
        tests=tuple(_tests(design, fit, mean_sq)),
        residual=Residual(
            df=fit.df,
            sum_sq=fit.sum_sq,
            mean_sq=fit.mean_sq,
            sd=None if fit.mean_sq is None else float(np.sqrt(fit.mean_sq)),
            r_squared=None if fit.mean_sq is None or left <= 0 else max(0.0, 1 - fit.sum_sq / left),
        ),
        coefficients=tuple(_coefficients(design, fit, mean_sq, middle, question.confidence)),
        checks=tuple(_checks(design, fit, noiseless=bool(noiseless))),
        evidence=tuple(_evidence(design, fit, mean_sq, response, question)),
        points=tuple(points(bakes, question, raw, fit.fitted + middle)),
        reasons={
            "means": "a share cannot be held while the others change; see the effects",
            "comparisons": "a share cannot be held while the others change; see the effects",
        },
    )
    return finite(result, where=response.name)


def _tests(design: BlendDesign, fit: Fit, mean_sq: float | None) -> list[Test]:
    """Each term after all that do not contain it; linear blending against one common mean."""
    spans = dict(zip([term.name for term in design.terms], design.spans(), strict=True))
    singles = [term for term in design.terms if len(term.shares) == 1]
    fixed = [term for term in design.terms if not term.shares]
    ones = np.ones((len(fit.y), 1))
    plain = np.hstack([ones, *(term.columns for term in fixed)])
    away = np.hstack([term.columns for term in singles[:-1]])
    rows = [(LINEAR, len(singles) - 1, explained(plain, away, fit.y))]
    for term in design.terms:
        if len(term.shares) == 1:
            continue
        others = [other for other in design.terms if other is not term and not _contains(other, term)]
        base = np.hstack([other.columns for other in others])
        rows.append((term.name, spans[term.name].stop - spans[term.name].start, explained(base, term.columns, fit.y)))
    return [_test(name, df, sum_sq, mean_sq, fit.df) for name, df, sum_sq in rows]


def _contains(other: BlendTerm, term: BlendTerm) -> bool:
    return bool(term.shares) and set(term.shares) < set(other.shares)


def _test(name: str, df: int, sum_sq: float, mean_sq: float | None, df_error: int) -> Test:
    value = sum_sq / df / mean_sq if mean_sq else None
    return Test(
        term=name,
        df=df,
        sum_sq=sum_sq,
        mean_sq=sum_sq / df,
        df_error=float(df_error) if mean_sq else None,
        value=value,
        p=None if value is None else f_tail(value, df, df_error),
        stratum="bakes",
    )


def _coefficients(
    design: BlendDesign, fit: Fit, mean_sq: float | None, middle: float, confidence: float
) -> list[Coefficient]:
    """A share's coefficient is the response predicted for that ingredient alone."""
    errors = None if mean_sq is None else np.sqrt(fit.variance_factors(np.eye(len(fit.coefficients))) * mean_sq)
    found = []
    for term, span in zip(design.terms, design.spans(), strict=True):
        for place in range(span.start, span.stop):
            estimate = float(fit.coefficients[place]) + (middle if len(term.shares) == 1 else 0.0)
            name = term.name if span.stop - span.start == 1 else f"{term.name}[{place - span.start + 2}]"
            se = None if errors is None else float(errors[place])
            half = None if not se else t_quantile(confidence, fit.df) * se
            found.append(
                Coefficient(
                    term=name,
                    estimate=estimate,
                    se=se,
                    low=None if half is None else estimate - half,
                    high=None if half is None else estimate + half,
                    df=None if se is None else float(fit.df),
                    t=None if not se else estimate / se,
                    p=None if not se else t_tails(estimate / se, fit.df),
                )
            )
    return found


def _evidence(
    design: BlendDesign, fit: Fit, mean_sq: float | None, response: Response, question: Question
) -> list[Finding]:
    confidence = question.confidence
    found = []
    units = {factor.name: factor.unit for factor in question.factors}
    for at, name in enumerate(design.names):
        row, low, high = along_share(design, at)
        facts: dict[str, object] = {
            "factor_kind": "amount",
            "factor_unit": units.get(name, ""),
            "from": _said(low * design.total),
            "to": _said(high * design.total),
        }
        found.append(_finding("effect", (name,), row, facts, fit, mean_sq, response, confidence))
    for term in design.terms:
        if len(term.shares) > 1:
            names = tuple(design.names[at] for at in term.shares)
            row = even_blend(design, term)
            facts = {"order": len(names)}
            found.append(_finding("blend", names, row, facts, fit, mean_sq, response, confidence))
    for variable in design.others:
        if not variable.block:
            row, told = _other(design, variable.name)
            found.append(_finding("effect", (variable.name,), row, told, fit, mean_sq, response, confidence))
    return found


def _said(value: float) -> str:
    return f"{value:.6g}"


def _other(design: BlendDesign, name: str) -> tuple[Floats, Mapping[str, object]]:
    """From the first to the last level of a factor beside the blend."""
    variable = next(each for each in design.others if each.name == name)
    row = np.zeros(design.matrix.shape[1])
    for term, span in zip(design.terms, design.spans(), strict=True):
        if term.name == name and not term.shares:
            row[span] = variable.coded[-1] - variable.coded[0]
    kind = "amount" if variable.amount else "category"
    first, last = variable.levels[0], variable.levels[-1]
    ends = (first, last) if variable.amount else (last, first)  # "B against A" names the second first
    facts = {"factor_kind": kind, "from": ends[0], "to": ends[1], "factor_unit": variable.unit}
    return row, facts


def _finding(
    kind: str,
    names: tuple[str, ...],
    row: Floats,
    facts: Mapping[str, object],
    fit: Fit,
    mean_sq: float | None,
    response: Response,
    confidence: float,
) -> Finding:
    size = float(row @ fit.coefficients)
    se = None if mean_sq is None else float(np.sqrt(fit.variance_factors(row[None, :])[0] * mean_sq))
    half = None if not se else t_quantile(confidence, fit.df) * se
    low, high = (None, None) if half is None else (size - half, size + half)
    return Finding(
        kind=kind,
        response=response.name,
        variables=names,
        size=size,
        low=low,
        high=high,
        unit=response.unit,
        direction="up" if size > 0 else "down" if size < 0 else "none",
        matters=judge(low, high, response.matters),
        p=None if not se else t_tails(size / se, fit.df),
        facts=facts,
    )


def _checks(design: BlendDesign, fit: Fit, *, noiseless: bool) -> list[Check]:
    found = []
    if design.lost:
        facts = {"terms": design.lost, "order": 2, "because": "no error df"}
        found.append(Check(check="dropped terms", verdict="look here", facts=facts))
    if noiseless:
        return [*found, Check(check="no scatter", verdict="do not rely", facts={})]
    verdict: Verdict = "do not rely" if fit.df < TOO_FEW else "look here" if fit.df < FEW else "fine"
    found.append(Check(check="few error df", verdict=verdict, facts={"df_error": fit.df, "stratum": "bakes"}))
    return [*found, _lack_of_fit(design, fit)]


def _lack_of_fit(design: BlendDesign, fit: Fit) -> Check:
    """Between blends against between bakes of one blend (within blocks and other factors)."""
    fixed = [term.columns for term in design.terms if not term.shares]
    _, codes = np.unique(np.round(design.parts, 9), axis=0, return_inverse=True)
    beside = np.hstack([np.ones((len(fit.y), 0)), *fixed])
    return lack_of_fit(fit, codes.ravel().astype(np.int64), beside, of="blending model")
