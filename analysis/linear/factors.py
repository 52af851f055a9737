"""Which variables matter for a response, and by how much?

The factorial answer: blocks, amounts, categories and their interactions by least
squares, each tested in the stratum in which it was changed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.linear.centre_points import centre_bakes
from analysis.linear.checks import all_checks
from analysis.linear.chosen import chosen_contrasts
from analysis.linear.coding import number_label, variables_of
from analysis.linear.coefficients import coefficients
from analysis.linear.curvature import check_curvature
from analysis.linear.door import check_frame, varied
from analysis.linear.equivalence import as_good_findings, equivalences, refused
from analysis.linear.evidence import Case, cannot_tell, evidence
from analysis.linear.finite import finite
from analysis.linear.fitting import is_constant
from analysis.linear.mixed_model import DF_METHODS, MixedModel
from analysis.linear.only_groups import scatter_only
from analysis.linear.part_baked import part_baked, told
from analysis.linear.predictor import LinearPredictor
from analysis.linear.reasons import NO_ERROR, hidden_terms, why_missing
from analysis.linear.scatter import scatter_checks, scatter_part
from analysis.linear.selection import Selection
from analysis.linear.settling import Settled, settle
from analysis.linear.tables import all_tests, levels, points, residual
from analysis.linear.treatments import all_two_level
from analysis.linear.two_level import effects, pseudo_error
from analysis.linear.unequal import UnequalModel
from analysis.parts import Equivalence
from analysis.questions import Factor, Question, Response
from analysis.results import Check, FamilyResult, ModelNote

Floats = NDArray[np.float64]

CODING = "sum to zero; amounts from the middle of their range"


def factor_model(bakes: pd.DataFrame, response: Response, question: Question) -> FamilyResult:
    """The factorial answer for one response, from one row per bake.

    Raises TrialDataError for gaps and text, NotPossible when nothing was varied, when
    there are fewer than three bakes, or when blocks leave nothing to compare.
    """
    if not question.factors:
        return scatter_only(bakes, response, question)
    check_frame(bakes, response, question)
    moving, still = varied(bakes, question.factors)
    raw = bakes[response.name].to_numpy(dtype=np.float64)
    if is_constant(raw):
        return constant_answer(bakes, response, question, raw, moving)
    blocks = [name for name in question.blocks if bakes[name].nunique() > 1]
    covariates = [name for name in question.covariates if bakes[name].nunique() > 1]
    question = _with_order(question)
    weights = bakes[question.weights].to_numpy(dtype=np.float64) if question.weights else None
    settled = settle(bakes, question, variables_of(bakes, moving, blocks, covariates), raw, weights)
    return finite(_answer(bakes, response, question, raw, settled, still), where=response.name)


def _with_order(question: Question) -> Question:
    """``model`` in terms of the highest interaction."""
    model = question.model or ("quadratic" if question.kind == "surface" else None)
    if model is None:
        return question
    return replace(question, model=model, order=1 if model == "main effects" else 2)


def _answer(
    bakes: pd.DataFrame,
    response: Response,
    question: Question,
    raw: Floats,
    settled: Settled,
    still: Sequence[Factor],
) -> FamilyResult:
    confidence = question.confidence
    model, ground, selection, fitted = settled.model, settled.ground, settled.selection, settled.fitted
    lines = model.tests(question.squares) if isinstance(model, UnequalModel) else all_tests(model, question.squares)
    references = {factor.name: factor.reference for factor in question.factors}
    table = levels(model, lines, confidence, references, question.adjust)
    factors = [variable for variable in model.variables if not variable.block]
    two_level = all_two_level(factors) or centre_bakes(factors) is not None
    error = pseudo_error(model, confidence) if two_level else None
    curvature = check_curvature(model, ground)
    case = Case(
        model=model,
        selection=selection,
        response=response,
        order=question.order,
        confidence=confidence,
        tests={line.term: line for line in lines},
        pairs=table.pairs,
        references=references,
        error=error,
        curvature={name: _p_of(check) for name, check in curvature.items()},
    )
    as_good, why_not = _as_good(bakes, response, question, settled)
    in_part = part_baked(model, selection, ground)
    return FamilyResult(
        model=_note(settled, question),
        tests=(*lines, *in_part),
        residual=residual(model, raw, fitted),
        coefficients=tuple(coefficients(model, confidence)),
        means=table.means,
        comparisons=table.comparisons,
        effects=tuple(effects(model, confidence, error)) if two_level else (),
        aliases=_aliases(selection),
        checks=tuple(
            group_checks(settled)
            + told(
                in_part,
                all_checks(
                    model=model,
                    selection=selection,
                    ground=ground,
                    question=question,
                    raw=raw,
                    fitted=fitted,
                    order=bakes["order"].to_numpy(dtype=np.int64),
                    names=[str(name) for name in bakes["bake"]],
                    still={factor.name: _only_level(bakes, factor) for factor in still},
                    curvature=curvature,
                    judged=error is not None,
                    bends=question.model == "quadratic",
                    screening=question.model == "main effects",
                ),
            )
        ),
        evidence=(*evidence(case), *as_good_findings(as_good, response, on_logs=True)),
        points=tuple(points(bakes, question, raw, fitted)),
        reasons={**why_missing(model, two_level=two_level, judged=error is not None), **why_not},
        contrasts=chosen_contrasts(model, question.contrasts, confidence),
        equivalence=as_good,
        predictor=LinearPredictor(model),
        variances=settled.scatter.variances if settled.scatter else (),
        parts=(scatter_part(settled.scatter, settled.groups, question.bake),) if settled.scatter else (),
    )


def _as_good(
    bakes: pd.DataFrame, response: Response, question: Question, settled: Settled
) -> tuple[tuple[Equivalence, ...], dict[str, str]]:
    """Equivalence within the margin that was given, and why it cannot be judged."""
    if response.margin is None:
        return (), {}
    references = {factor.name: factor.reference for factor in question.factors}
    model = settled.model
    if response.margin.ratio:
        raw = bakes[response.name].to_numpy(dtype=np.float64)
        if raw.min() <= 0:
            return (), {"equivalence": "a ratio needs readings above 0"}
        model = settled.again(np.log(raw))
    found = equivalences(model, response.margin, references, question.confidence)
    if not found:
        return (), {"equivalence": "no category was varied"}
    return found, {"equivalence": NO_ERROR} if refused(found) else {}


def _only_level(bakes: pd.DataFrame, factor: Factor) -> str:
    value = bakes[factor.name].iloc[0]
    return str(value) if factor.kind == "category" else number_label(float(value))


def _p_of(check: Check) -> float | None:
    value = check.facts.get("p")
    return value if isinstance(value, float) else None


def group_checks(settled: Settled) -> list[Check]:
    """What the groups gave rise to, and which terms they hide."""
    exact = not isinstance(settled.model, MixedModel)
    found = list(settled.notes)
    if settled.scatter is not None:
        found += scatter_checks(settled.scatter, settled.groups, exact=exact)
    return found + [
        Check(check="set with the group", verdict="do not rely", facts={"group": group, "terms": terms})
        for group, terms in hidden_terms(settled.model).items()
    ]


def _note(settled: Settled, question: Question) -> ModelNote:
    exact = not isinstance(settled.model, MixedModel)
    return ModelNote(
        kind="factors",
        terms=tuple(term.name for term in settled.model.terms),
        groups=tuple(group.name for group in settled.groups),
        estimation="least squares" if exact else "REML",
        df_method=DF_METHODS[question.small_sample] if not exact else "strata" if settled.groups else "residual",
        sums_of_squares=f"type {question.squares}",
        coding=CODING,
    )


def _aliases(selection: Selection) -> tuple[tuple[str, ...], ...]:
    """Chains of terms that share one effect, named first by the term that stands in the tables."""
    return tuple(
        (term.name, *(other.name for other in selection.aliases[term]))
        for term in selection.columns
        if term in selection.aliases
    )


def constant_answer(
    bakes: pd.DataFrame, response: Response, question: Question, raw: Floats, moving: Sequence[Factor]
) -> FamilyResult:
    """Every bake gave the same: nothing to test, and that is the answer."""
    why = "every bake gave the same value"
    parts = ("tests", "residual", "coefficients", "means", "comparisons", "effects")
    reasons: Mapping[str, str] = dict.fromkeys(parts, why)
    return FamilyResult(
        model=ModelNote(kind="factors", terms=(), groups=question.group, sums_of_squares=f"type {question.squares}"),
        checks=(Check(check="constant", verdict="do not rely", facts={"value": float(raw[0]), "bakes": len(raw)}),),
        evidence=tuple(cannot_tell(response, factor.name, because="constant") for factor in moving),
        points=tuple(points(bakes, question, raw, raw)),
        reasons=reasons,
    )
