"""What does the second-order model of a response look like, and where is it best?

Takes the answer of a linear model with its predictor, whoever fitted it, and adds the surface (or, for
a first-order model, the path of steepest ascent) as a part of the answer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.linear.finite import numbers
from analysis.parts import Part
from analysis.predicting import Predictor
from analysis.questions import Question, Response
from analysis.results import FamilyResult
from analysis.surfaces.best import as_good, best_settings, better, loss
from analysis.surfaces.canonical import canonical_axes, shape, signs
from analysis.surfaces.climb import Treatments, beyond_edge, climb_part
from analysis.surfaces.quadratic import Coding, Quadratic, corner_coding, model_rows, quadratic_of
from analysis.surfaces.region import Region, baked_region, turning_point
from analysis.surfaces.results import Code, LevelSurface, Limits, SurfacePart
from analysis.surfaces.ridge import ridge
from analysis.surfaces.terms import joint_tests, surface_coefficients
from analysis.surfaces.turning import turning_region

Floats = NDArray[np.float64]

MOST_LEVELS = 24  # combinations of what does not bend
FEWEST = 2

ONE_BENDS = (
    "fewer than two amounts have a bend in the model: that takes three settings of each, and bakes enough to tell "
    "them; for one amount ask for a dose curve"
)
TOO_MANY = "too many combinations of categories and amounts at two settings"
NOT_QUADRATIC = "on the scale of the response the model is no second-order polynomial; leave the transformation out"
NO_ERROR = "nothing is left to judge it against"
NO_TURN = "along one direction the surface has no bend at all, so that it turns nowhere"
OUT_OF_RANGE = "the arithmetic ran out of range"


def with_surface(family: FamilyResult, bakes: pd.DataFrame, response: Response, question: Question) -> FamilyResult:
    """The answer with its surface, its path, or the reason why there is none."""
    asked = question.kind == "surface" or question.model == "quadratic"
    if family.predictor is None or not family.points:
        return family
    bending = _bending(family, question)
    why: str | None = None
    part: Part | None = None
    try:
        if len(bending) >= FEWEST:
            part, why = _surface(family, bending, bakes, response, question)
        else:
            why = ONE_BENDS
            part = climb_part(family, bakes, response, question)
    except np.linalg.LinAlgError:
        why = OUT_OF_RANGE
    if part is not None and not all(np.isfinite(number) for _, number in numbers(part)):
        part, why = None, OUT_OF_RANGE
    reasons = {**family.reasons, "surface": why} if asked and why is not None else family.reasons
    return replace(family, parts=(*family.parts, *([part] if part else [])), reasons=reasons)


def _bending(family: FamilyResult, question: Question) -> list[str]:
    """Amounts whose square is in the model."""
    fitted = set(family.model.terms)
    return [factor.name for factor in question.factors if factor.kind == "amount" and f"{factor.name}^2" in fitted]


def _scatter(family: FamilyResult, predictor: Predictor) -> float | None:
    """How far one more bake may lie from its mean: with the scatter between groups, where there are any."""
    spread = sum(one.variance for one in family.variances if one.covariance is None)
    return float(np.sqrt(spread)) if spread > 0 else predictor.sd


def _surface(
    family: FamilyResult, bending: Sequence[str], bakes: pd.DataFrame, response: Response, question: Question
) -> tuple[SurfacePart | None, str | None]:
    predictor = family.predictor
    assert predictor is not None
    coding = corner_coding(bakes, bending)
    combinations = _combinations(predictor, bending)
    if len(combinations) > MOST_LEVELS:
        return None, TOO_MANY
    region = baked_region(coding.coded(bakes[list(bending)].to_numpy(dtype=np.float64)))
    found: list[tuple[Mapping[str, Any], Quadratic]] = []
    for held in combinations:
        quadratic = quadratic_of(predictor, coding, held)
        if quadratic is None:
            return None, NOT_QUADRATIC
        found.append((held, replace(quadratic, sd=_scatter(family, predictor))))
    levels = [_level(held, quadratic, region, response, question) for held, quadratic in found]
    lost = loss(np.array([level.best_response for level in levels]), response)
    at = int(np.argmin(lost))
    part = _part(*found[at], levels[at], region, response, question)
    tests = joint_tests(found[at][1], family.checks)
    return replace(part, levels=tuple(levels) if len(levels) > 1 else (), tests=tests), None


def _combinations(predictor: Predictor, bending: Sequence[str]) -> list[dict[str, Any]]:
    """Every level of the categories with both ends of the amounts that do not bend."""
    choices: dict[str, Sequence[Any]] = {}
    for name, span in predictor.spans.items():
        if name not in bending:
            choices[name] = span.levels or (span.low, span.high)
    return [dict(zip(choices, settings, strict=True)) for settings in product(*choices.values())]


def _level(
    held: Mapping[str, Any], quadratic: Quadratic, region: Region, response: Response, question: Question
) -> LevelSurface:
    turn = turning_point(quadratic)
    best = best_settings(quadratic, region, response)
    value, low, high = quadratic.interval(model_rows(best)[0], question.confidence)
    return LevelSurface(
        at=dict(held),
        stationary=None if turn is None else quadratic.coding.named(turn),
        stationary_response=None if turn is None else float(quadratic.mean(turn)[0]),
        stationary_inside=None if turn is None else bool(region.inside(turn)[0]),
        best={**quadratic.coding.named(best), **held},
        best_response=value,
        low=low,
        high=high,
    )


def _part(
    held: Mapping[str, Any],
    quadratic: Quadratic,
    level: LevelSurface,
    region: Region,
    response: Response,
    question: Question,
) -> SurfacePart:
    coding, confidence = quadratic.coding, question.confidence
    way = better(response)
    best = coding.coded(np.array([float(level.best[name]) for name in coding.names]))
    turn = turning_point(quadratic)
    axes = canonical_axes(quadratic, confidence)
    good = as_good(quadratic, region, best, response, confidence)
    spread = None if quadratic.sd is None else quadratic.sd**2
    row = model_rows(best)[0]
    new = (None, None) if spread is None else quadratic.interval(row, confidence, more=spread)[1:]
    _, low, high = (None,) * 3 if turn is None else quadratic.interval(model_rows(turn)[0], confidence)
    limits, closed = _region(quadratic, turn, confidence)
    return SurfacePart(
        amounts=coding.names,
        coding={n: Code(middle=float(m), half=float(h)) for n, m, h in _zipped(coding)},
        better=way,
        goal_given=response.goal is not None,
        at=dict(held),
        coefficients=surface_coefficients(quadratic),
        stationary=level.stationary,
        stationary_response=level.stationary_response,
        stationary_low=low,
        stationary_high=high,
        stationary_inside=level.stationary_inside,
        region=limits,
        region_closed=closed,
        eigenvalues=tuple(axis.eigenvalue for axis in axes),
        axes=axes,
        shape=shape(axes),
        signs=signs(axes),
        best=level.best,
        best_response=level.best_response,
        low=level.low,
        high=level.high,
        new_low=new[0],
        new_high=new[1],
        edge=region.at_edge(best),
        as_good={} if good is None else good.limits,
        as_good_share=None if good is None else good.share,
        as_good_within=None if good is None else good.within,
        onward=_onward(quadratic, best, held, region, response),
        ridge=ridge(quadratic, region, confidence, sign=_sign(quadratic, response)),
        reasons=_reasons(quadratic, turn, closed),
    )


def _onward(
    quadratic: Quadratic, best: Floats, held: Mapping[str, Any], region: Region, response: Response
) -> Treatments:
    """Only where the best lies at the edge, and a goal says which way is better."""
    if response.goal not in ("maximise", "minimise") or not region.at_edge(best):
        return ()
    lowest = quadratic.coding.real(region.points.min(axis=0))
    return beyond_edge(quadratic, best, held, _sign(quadratic, response), lowest)


def _zipped(coding: Coding) -> Any:
    return zip(coding.names, coding.middle, coding.half, strict=True)


def _sign(quadratic: Quadratic, response: Response) -> float:
    """Which way the ridge is followed: up, down, or towards the target."""
    way = better(response)
    if way == "target":
        return 1.0 if float(response.target or 0.0) >= float(quadratic.beta[0]) else -1.0
    return 1.0 if way == "higher" else -1.0


def _region(quadratic: Quadratic, turn: Floats | None, confidence: float) -> tuple[Mapping[str, Limits], bool | None]:
    found = None if turn is None else turning_region(quadratic, turn, confidence)
    if found is None:
        return {}, None
    low, high = quadratic.coding.real(found.low), quadratic.coding.real(found.high)
    limits = {
        name: Limits(low=_end(a), high=_end(b)) for name, a, b in zip(quadratic.coding.names, low, high, strict=True)
    }
    return limits, found.closed


def _end(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _reasons(quadratic: Quadratic, turn: Floats | None, closed: bool | None) -> dict[str, str]:
    found: dict[str, str] = {}
    if quadratic.covariance is None:
        found |= dict.fromkeys(("low", "high", "new_low", "new_high", "shape", "region"), NO_ERROR)
    elif closed is False:
        found["region"] = "it stays open: how far it reaches cannot be told from these bakes"
    if turn is None:
        found |= dict.fromkeys(("stationary", "region"), NO_TURN)
    return found
