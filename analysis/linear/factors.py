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

from analysis.errors import NotPossible
from analysis.linear.centre_points import centre_bakes, with_curvature
from analysis.linear.checks import all_checks
from analysis.linear.chosen import chosen_contrasts
from analysis.linear.coding import number_label, variables_of
from analysis.linear.coefficients import coefficients
from analysis.linear.curvature import check_curvature
from analysis.linear.door import check_frame, varied
from analysis.linear.equivalence import as_good_findings, equivalences, refused
from analysis.linear.evidence import Case, cannot_tell, evidence
from analysis.linear.finite import finite
from analysis.linear.fitting import fit_model, is_constant
from analysis.linear.ground import Ground
from analysis.linear.grouping import lay_ground
from analysis.linear.least_squares import centred
from analysis.linear.predictor import LinearPredictor
from analysis.linear.reasons import NO_ERROR, why_missing
from analysis.linear.selection import Selection, select
from analysis.linear.stratum import Model
from analysis.linear.strips import lay_strips
from analysis.linear.tables import all_tests, levels, points, residual
from analysis.linear.treatments import all_two_level
from analysis.linear.two_level import effects, pseudo_error
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
    check_frame(bakes, response, question)
    moving, still = varied(bakes, question.factors)
    raw = bakes[response.name].to_numpy(dtype=np.float64)
    if is_constant(raw):
        return constant_answer(bakes, response, question, raw, moving)
    y, offset = centred(raw)
    blocks = [name for name in question.blocks if bakes[name].nunique() > 1]
    question = _with_order(question)
    bends = question.model == "quadratic"
    lay = lay_strips if question.strips else lay_ground
    ground, variables = lay(bakes, question, variables_of(bakes, moving, blocks), y)
    if ground.plots is None:
        variables = with_curvature(variables, question.order)
    screening = question.model == "main effects"
    selection = select(variables, question.order, ground, bends=bends, screening=screening)
    if all(term.block for term in selection.columns):
        raise NotPossible(
            f"No effect on {response.name} can be told from the blocks.",
            where=", ".join([*question.blocks, *question.group]),
            try_this="bake several treatments within each block, or leave the block out.",
        )
    model = fit_model(variables, selection, ground, raw, offset)
    return finite(
        _answer(bakes, response, question, raw, ground, selection, model, still),
        where=response.name,
    )


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
    ground: Ground,
    selection: Selection,
    model: Model,
    still: Sequence[Factor],
) -> FamilyResult:
    confidence = question.confidence
    fitted = ground.fitted(tuple(stratum.fitted for stratum in model.strata)) + model.offset
    lines = all_tests(model, question.squares)
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
        error=error,
        curvature={name: _p_of(check) for name, check in curvature.items()},
    )
    as_good, why_not = _as_good(bakes, response, question, model, ground, selection)
    return FamilyResult(
        model=_note(model, question),
        tests=tuple(lines),
        residual=residual(model, raw, fitted),
        coefficients=tuple(coefficients(model, confidence)),
        means=table.means,
        comparisons=table.comparisons,
        effects=tuple(effects(model, confidence, error)) if two_level else (),
        aliases=_aliases(selection),
        checks=tuple(
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
            )
        ),
        evidence=(*evidence(case), *as_good_findings(as_good, response)),
        points=tuple(points(bakes, question, raw, fitted)),
        reasons={**why_missing(model, two_level=two_level, judged=error is not None), **why_not},
        contrasts=chosen_contrasts(model, question.contrasts, confidence),
        equivalence=as_good,
        predictor=LinearPredictor(model),
    )


def _as_good(
    bakes: pd.DataFrame, response: Response, question: Question, model: Model, ground: Ground, selection: Selection
) -> tuple[tuple[Equivalence, ...], dict[str, str]]:
    """Equivalence within the margin that was given, and why it cannot be judged."""
    if response.margin is None:
        return (), {}
    references = {factor.name: factor.reference for factor in question.factors}
    if response.margin.ratio:
        raw = bakes[response.name].to_numpy(dtype=np.float64)
        if raw.min() <= 0:
            return (), {"equivalence": "a ratio needs readings above 0"}
        y, offset = centred(np.log(raw))
        model = fit_model(model.variables, selection, replace(ground, y=y), np.log(raw), offset)
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


def _note(model: Model, question: Question) -> ModelNote:
    return ModelNote(
        kind="factors",
        terms=tuple(term.name for term in model.terms),
        groups=question.group or question.strips,
        df_method="residual" if len(model.strata) == 1 else "strata",
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
