"""What does each share of a blend do to a response, and does blending do more than its parts?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.blends.best import blend_part
from analysis.blends.judged import blend_checks, blend_tests, scheffe_coefficients
from analysis.blends.lines import along_share, even_blend
from analysis.blends.predictor import BlendPredictor
from analysis.blends.products import product_findings
from analysis.blends.terms import BlendDesign, blend_design
from analysis.errors import NotPossible
from analysis.estimates import Comparison, Mean
from analysis.findings import judge
from analysis.linear.comparisons import Pair, as_comparisons, compare, slice_letters
from analysis.linear.covariates import covariate_checks, covariate_part
from analysis.linear.distributions import t_tails
from analysis.linear.door import check_frame, varied
from analysis.linear.evidence import Case, cannot_tell, effect_of
from analysis.linear.factors import constant_answer
from analysis.linear.finite import finite, numbers
from analysis.linear.fitting import fit_model, is_constant
from analysis.linear.least_squares import centred
from analysis.linear.means import Slice, estimated_means, has_table
from analysis.linear.reasons import why_missing
from analysis.linear.stratum import Model
from analysis.linear.tables import points, residual
from analysis.questions import Question, Response
from analysis.results import FamilyResult, Finding, ModelNote
from analysis.surfaces.terms import lack_of_fit

Floats = NDArray[np.float64]

CODING = (
    "shares as parts of their whole, without a constant, so that a share's coefficient is the response of "
    "that ingredient alone, other factors averaged, and its effect runs along the line on which the others keep "
    "their proportions; R² against the mean"
)
NO_MEANS = "a share cannot be held while the others change; see the effects"


def blend_model(bakes: pd.DataFrame, response: Response, question: Question) -> FamilyResult:
    """The answer for one response of a blend, from one row per bake.

    ``question.model`` chooses the degree ("mixture quadratic" when None). Raises TrialDataError for
    shares that make no whole, NotPossible when nothing was varied, when strips were named, or
    when the bakes are too few.
    """
    if question.strips:
        raise NotPossible(
            "Blends in strips that cut across each other cannot be analysed.",
            where=", ".join(question.strips),
            try_this="name the strips of one kind as the group, or as a block",
        )
    if question.group and question.weights:
        raise NotPossible(
            "A blend with groups takes no weights.",
            where=", ".join(question.group),
            try_this="leave the weights out, or give the groups as blocks",
        )
    check_frame(bakes, response, question)
    raw = bakes[response.name].to_numpy(dtype=np.float64)
    if is_constant(raw):
        return constant_answer(bakes, response, question, raw, varied(bakes, question.factors)[0])
    y, offset = centred(raw)
    design = blend_design(bakes, question, y)
    model = fit_model(design.variables, design.selection, design.ground, raw, offset)
    found = finite(_answer(bakes, response, question, raw, design, model), where=response.name)
    predictor = BlendPredictor(model, design.blends.names, design.blends.total)
    part, why = blend_part(design, predictor, response, question)
    if part is not None and not all(np.isfinite(number) for _, number in numbers(part)):
        part, why = None, {"blend": "the arithmetic ran out of range"}
    part = None if part is None else replace(part, tests=lack_of_fit(found.checks))
    measured = covariate_part(question, found, model)
    found = _weighted(found, bakes, question, raw) if question.weights else found
    return replace(
        found,
        predictor=predictor,
        parts=tuple(one for one in (part, measured) if one is not None),
        checks=(*found.checks, *covariate_checks(question, model)),
        reasons={**found.reasons, **why},
    )


def _answer(
    bakes: pd.DataFrame, response: Response, question: Question, raw: Floats, design: BlendDesign, model: Model
) -> FamilyResult:
    confidence = question.confidence
    fitted = design.ground.fitted(tuple(stratum.fitted for stratum in model.strata)) + model.offset
    tests = blend_tests(design, model)
    pairs, means, comparisons = _beside(design, model, confidence)
    case = Case(
        model=model,
        selection=design.selection,
        response=response,
        order=2,
        confidence=confidence,
        tests={line.term: line for line in tests},
        pairs=pairs,
        error=None,
        curvature={},
    )
    reasons = dict(why_missing(model, two_level=False, judged=False))
    reasons |= {} if means else {"means": NO_MEANS, "comparisons": NO_MEANS}
    return FamilyResult(
        model=ModelNote(
            kind="factors",
            terms=_names(design, model),
            groups=question.group,
            df_method="residual" if len(model.strata) == 1 else "strata",
            sums_of_squares="type 2",
            coding=CODING,
        ),
        tests=tuple(tests),
        residual=residual(model, raw, fitted),
        coefficients=tuple(scheffe_coefficients(design, model, confidence)),
        means=tuple(means),
        comparisons=tuple(comparisons),
        checks=tuple(blend_checks(design, model, question, bakes, raw, fitted)),
        evidence=(
            *_blends(design, model, case),
            *_others(design, case),
            *product_findings(design, model, response, {line.term: line.p for line in tests}, confidence),
        ),
        points=tuple(points(bakes, question, raw, fitted)),
        reasons=reasons,
    )


def _weighted(found: FamilyResult, bakes: pd.DataFrame, question: Question, raw: Floats) -> FamilyResult:
    """The note of the model, and R² against the weighted mean; bakes are not foretold with weights."""
    weights, left = bakes[question.weights].to_numpy(dtype=np.float64), found.residual
    around = raw - np.average(raw, weights=weights)
    whole = float(weights @ around**2)
    if left is not None:
        told = None if left.mean_sq is None or whole <= 0 else max(0.0, 1 - left.sum_sq / whole)
        left = replace(left, r_squared=told, press=None, r_squared_foretold=None)
    note = replace(found.model, estimation=f"weighted least squares (weights: {question.weights})")
    return replace(found, model=note, residual=left)


def _names(design: BlendDesign, model: Model) -> tuple[str, ...]:
    """Blocks and other factors, the shares, then blends of several."""
    products = [term for term in model.terms if design.is_product(term)]
    beside = [term.name for term in model.terms if not design.is_share(term) and term not in products]
    joint = [term.name for term in model.terms if design.is_share(term) and term.order > 1]
    # The share that the constant stands for has its products too, in Scheffé's form.
    crossed = dict.fromkeys(at for term in products for at in design.beside_blend(term))
    linear = [f"{name}:{model.variables[at].name}" for at in crossed for name in design.blends.names]
    higher = [term.name for term in products if len(design.in_blend(term)) > 1]
    return (*beside, *design.blends.names, *joint, *linear, *higher)


def _beside(
    design: BlendDesign, model: Model, confidence: float
) -> tuple[Mapping[int, list[Pair]], list[Mean], list[Comparison]]:
    """Means of the factors beside the blend, at the mean blend."""
    pairs: dict[int, list[Pair]] = {}
    means: list[Mean] = []
    comparisons: list[Comparison] = []
    for at in design.others:
        if model.find(at) is None or not has_table(model.variables[at]):
            continue
        slice_ = Slice(at)
        own = [] if model.variables[at].amount else compare(model, slice_, confidence)
        pairs[at] = own
        comparisons += as_comparisons(model, slice_, own)
        means += estimated_means(model, slice_, confidence, slice_letters(model, slice_, own, confidence))
    return pairs, means, comparisons


def _blends(design: BlendDesign, model: Model, case: Case) -> list[Finding]:
    """Each share along its line, then what blending adds."""
    found = []
    joint = [term for term in model.terms if design.is_share(term) and term.order > 1]
    for at, factor in enumerate(design.blends.factors):
        row, low, high = along_share(design, model, at)
        facts: dict[str, Any] = {
            "factor_kind": "amount",
            "factor_unit": factor.unit,
            "from": _said(low * design.blends.total),
            "to": _said(high * design.blends.total),
            "along": "others in proportion",
            "bends": any(at + design.first in term.members for term in joint),
        }
        found.append(_finding("effect", (factor.name,), row, facts, case))
    for term in joint:
        names = tuple(model.variables[member].name for member in term.members)
        row = even_blend(design, model, term.members)
        found.append(_finding("blend", names, row, {"order": term.order}, case))
    return found


def _others(design: BlendDesign, case: Case) -> list[Finding]:
    """Factors beside the blend, as in any factorial answer."""
    terms = {at: case.model.find(at) for at in design.others}
    told = [effect_of(case, term) for term in terms.values() if term is not None]
    lost = [term for term in case.selection.entangled if not term.block and not design.is_share(term)]
    return told + [
        cannot_tell(case.response, term.name, because="entangled", with_=case.selection.entangled[term])
        for term in lost
    ]


def _said(value: float) -> str:
    return f"{value:.6g}"


def _finding(kind: str, names: tuple[str, ...], row: Floats, facts: Mapping[str, Any], case: Case) -> Finding:
    contrast = case.model.contrast(row)
    low, high = contrast.interval(case.confidence)
    size = contrast.estimate
    return Finding(
        kind=kind,
        response=case.response.name,
        variables=names,
        size=size,
        low=low,
        high=high,
        unit=case.response.unit,
        direction="up" if size > 0 else "down" if size < 0 else "none",
        matters=judge(low, high, case.response.matters),
        p=None if not contrast.se or contrast.df is None else t_tails(size / contrast.se, contrast.df),
        facts=facts,
    )
