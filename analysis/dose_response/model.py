"""How does the response follow the dose, and which dose should be used?

``dose_model`` puts the parts of this room together: layout, choice of a shape, tests,
what is read off the curve, checks, findings.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.dose_response.anova import Decomposition, decompose, lack_of_fit
from analysis.dose_response.asked_intervals import as_asked
from analysis.dose_response.averaged import averaged_doses
from analysis.dose_response.best import Drawn, draw, recommend
from analysis.dose_response.checks import all_checks, scatters_unevenly
from analysis.dose_response.choosing import choose
from analysis.dose_response.compare import Choice
from analysis.dose_response.curves import ShapeFit, fit_shape
from analysis.dose_response.days import day_checks, model_note, scatter_part, variances
from analysis.dose_response.effective import effective_doses
from analysis.dose_response.evidence import Ask, by_effect, curves_differ, dose_effect, dose_p
from analysis.dose_response.free_shapes import fit_free
from analysis.dose_response.goals import aim_of
from analysis.dose_response.intervals import parameter_intervals
from analysis.dose_response.layout import Layout, Part, read_layout
from analysis.dose_response.never_below import never_below
from analysis.dose_response.optimum import find_optimum
from analysis.dose_response.potency import Found, relative_potency
from analysis.dose_response.predictor import DosePredictor
from analysis.dose_response.recommended import dose_findings
from analysis.dose_response.shapes import SHAPES
from analysis.dose_response.spread_part import spread_part
from analysis.dose_response.tables import bake_points, candidates, coefficients, curve_points, curve_residual, means
from analysis.dose_response.told import told_parts
from analysis.dose_results import Curve, DosePart, LackOfFit, Recommended
from analysis.parts import Part as AnyPart
from analysis.questions import Question, Response
from analysis.results import FamilyResult, Finding

# Lack of fit from which the curve's own misses set the spread of the recommended dose. Milder
# than the checks' levels: with few doses a wrong shape is seldom caught at 5 %.
DOUBTFUL = 0.1


def dose_model(
    bakes: pd.DataFrame, response: Response, question: Question, *, dose: str, by: str | None
) -> FamilyResult:
    """The whole dose-response answer for one response on a bake frame (DEVELOPERS.md).

    ``dose`` names an amount, ``by`` a category with one curve for each level, or None.
    Raises TrialDataError for a frame that is wrong and NotPossible for one that cannot
    answer (one dose only, a constant response, too few bakes, a shape that cannot be had).
    """
    with np.errstate(all="ignore"):
        layout = read_layout(bakes, response, question, dose=dose, by=by)
        choice, spread = choose(layout, question)
        parts = decompose(layout)
        misses = lack_of_fit(choice.chosen.fit, parts.pure)
        missed = parts.pure if misses is not None and misses.p < DOUBTFUL else None
        drawn = draw(choice.chosen.fit, choice.plausible, aim_of(response), seed=question.seed, missed=missed)
        curves, reasons = _curves(choice, drawn, response, question)
        family = _assemble(layout, choice, parts, misses, curves, drawn, reasons, response, question)
        told: tuple[AnyPart, ...] = spread_part(choice.chosen.fit, spread, question.weights)
        if question.unequal_spread and spread is None:
            why = "with a curve that has no formula the spread is taken as equal"
            family = replace(family, reasons={**family.reasons, "unequal_spread": why})
        predictor = DosePredictor(fit=choice.chosen.fit, ranked=choice.plausible, missed=missed)
        assert family.dose is not None
        told = (*told_parts(family.dose, question, dict(family.reasons)), *told)
        return replace(family, parts=(*family.parts, *told), predictor=predictor)


def _curves(
    choice: Choice, drawn: Drawn, response: Response, question: Question
) -> tuple[tuple[Curve, ...], dict[str, str]]:
    fit, aim = choice.chosen.fit, aim_of(response)
    uneven = question.intervals == "bootstrap" and scatters_unevenly(fit)
    curves, reasons = [], {}
    recommended: tuple[Recommended | None, ...] = recommend(fit, drawn, aim, confidence=question.confidence)
    if fit.shape.name == "flat":
        recommended = (None,) * len(fit.layout.parts)
        reasons["recommended"] = "no dose was seen to do better than another, so that none is recommended"
    for number, part in enumerate(fit.layout.parts):
        suffix = f" [{part.level}]" if part.level is not None else ""
        optimum, no_optimum = find_optimum(fit, number, aim, question.confidence)
        effective, no_effective = effective_doses(fit, number, question.confidence, question.effective)
        if no_optimum:
            reasons[f"optimum{suffix}"] = no_optimum
        elif optimum is not None and (optimum.low is None or optimum.high is None):
            reasons[f"optimum interval{suffix}"] = "the bakes do not close the interval of the best dose"
        if no_effective:
            reasons[f"effective{suffix}"] = no_effective
        curve = Curve(
            level=part.level,
            parameters=parameter_intervals(fit, number, question.confidence),
            optimum=optimum,
            recommended=recommended[number],
            effective=effective,
            points=curve_points(fit, number, question.confidence),
        )
        curve, more = as_asked(curve, fit, number, aim, question, uneven=uneven)
        curve, ended = never_below(curve, float(fit.layout.doses.min()))
        curves.append(curve)
        reasons |= more | {f"{name} at 0{suffix}": why for name, why in ended.items()}
    return tuple(curves), reasons


def _assemble(
    layout: Layout,
    choice: Choice,
    parts: Decomposition,
    misses: LackOfFit | None,
    curves: tuple[Curve, ...],
    drawn: Drawn,
    reasons: dict[str, str],
    response: Response,
    question: Question,
) -> FamilyResult:
    fit = choice.chosen.fit
    reasons = {**layout.reasons, **reasons, **{f"shape {name}": why for name, why in choice.refused.items()}}
    if parts.pure.df <= 0:
        reasons["tests"] = "no dose was baked twice under the same conditions, so that there is no pure error"
    if misses is None:
        reasons["lack_of_fit"] = "it needs replicate bakes and more doses than the curve has parameters"
    worth = Found()
    if len(layout.parts) > 1:
        worth = relative_potency(fit, _reference(layout, question), question.confidence)
        reasons |= worth.reasons or {}
    found, open_ends = variances(fit, question.confidence)
    reasons |= open_ends
    edges = {curve.recommended.edge for curve in curves if curve.recommended is not None}
    return FamilyResult(
        model=model_note(fit, tuple(test.term for test in parts.tests)),
        tests=parts.tests,
        residual=curve_residual(fit),
        coefficients=coefficients(fit, curves),
        means=means(fit, question.confidence),
        dose=DosePart(
            dose=layout.dose_name,
            by=layout.by_name,
            shape=fit.shape.name,
            curves=curves,
            candidates=candidates(choice, question.confidence),
            lack_of_fit=misses,
            pure_error=parts.residual if parts.pure.df > 0 else None,
            potency=worth.ratios,
            averaged=()
            if choice.forced
            else averaged_doses(choice.plausible, drawn, aim_of(response), confidence=question.confidence),
            edge=edges.pop() if len(edges) == 1 else None,
        ),
        checks=(*all_checks(layout, choice, question, curves, misses, parts.pure), *day_checks(found)),
        evidence=_evidence(choice, parts, curves, drawn, response, question),
        points=bake_points(fit),
        variances=found,
        parts=(*scatter_part(fit, found), *((worth.part,) if worth.part else ())),
        reasons=reasons,
    )


def _evidence(
    choice: Choice,
    parts: Decomposition,
    curves: tuple[Curve, ...],
    drawn: Drawn,
    response: Response,
    question: Question,
) -> tuple[Finding, ...]:
    fit = choice.chosen.fit
    layout = fit.layout
    units = {factor.name: factor.unit for factor in question.factors}
    ask = Ask(
        response=response.name,
        unit=response.unit,
        dose_unit=units.get(layout.dose_name, ""),
        matters=response.matters,
        confidence=question.confidence,
        seed=question.seed,
        aim=aim_of(response),
    )
    line = next((one.fit for one in choice.ranked if one.fit.shape.name == "line"), None)
    p = dose_p(fit, parts.tests, choice.against_flat)
    effect = dose_effect(fit, line, ask, p, drawn=drawn)
    found = [effect, *dose_findings(fit, curves, ask, effect)]
    if layout.by_name is not None and len(layout.parts) > 1:
        by_name = {test.term: test for test in parts.tests}
        by_test, interaction = by_name.get(layout.by_name), by_name.get(f"{layout.dose_name}:{layout.by_name}")
        one_curve = replace(fit.layout, parts=(_together(layout),))
        difference = curves_differ(fit, _common(one_curve, fit), ask, interaction)
        by_p = by_test.p if by_test is not None and by_test.p is not None else difference.p
        found += [by_effect(fit, ask, by_p, interaction=interaction), difference]
    return tuple(found)


def _common(layout: Layout, fit: ShapeFit) -> ShapeFit | None:
    """The same kind of curve through all bakes."""
    return fit_free(layout, fit.shape.name) if fit.shape.free else fit_shape(layout, SHAPES[fit.shape.name])


def _together(layout: Layout) -> Part:
    """All bakes as one curve, to ask whether one is enough."""
    doses, which = np.unique(layout.dose, return_inverse=True)
    return Part(level=None, rows=np.arange(layout.n), doses=doses, which=which)


def _reference(layout: Layout, question: Question) -> int:
    wanted = next((f.reference for f in question.factors if f.name == layout.by_name), None)
    names = [part.level for part in layout.parts]
    return names.index(wanted) if wanted in names else 0
