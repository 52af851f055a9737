"""Does the best treatment that the answer names hold when it is baked?

A surface, a blend, a curve or several goals name a treatment that may never have been baked. Until it
has been, twice, every other advice waits behind it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from analysis.baked import Treatment
from analysis.blends.results import BlendPart
from analysis.goals.results import GoalsPart
from analysis.parts import Part
from analysis.questions import Question
from analysis.results import BakePoint, NextBakes, ResponseResult
from analysis.surfaces.results import SurfacePart

ALONE = ("bake the best", "bake the best doses")  # best for one response alone
ENOUGH = 2  # bakes of the best treatment, from which it counts as confirmed
SAME = 0.01  # of what was baked of an amount: settings nearer than this are one treatment at the bench


def best_again(result: ResponseResult, question: Question) -> Iterator[NextBakes]:
    """The best treatment inside what was baked, where it was baked once at most; the first rule of ``next_bakes``."""
    if result.response.goal is None:
        return
    part = best_of(result)
    if part is not None:
        if isinstance(part, SurfacePart) and part.edge and part.onward:
            return  # it got better up to the edge: going on from there bakes the edge first
        yield from _of_settings(part, result)
    elif any(finding.matters == "yes" for finding in result.findings):
        yield from _of_curves(result)


def best_of(result: ResponseResult) -> SurfacePart | BlendPart | None:
    """The part of an answer that names a best treatment; None without one, or where nothing may matter."""
    if all(finding.matters == "no" for finding in result.findings):
        return None
    return next((part for part in result.family.parts if isinstance(part, SurfacePart | BlendPart)), None)


def _of_settings(part: SurfacePart | BlendPart, result: ResponseResult) -> Iterator[NextBakes]:
    best = {name: _tidy(value) for name, value in part.best.items()}
    times = times_baked(result.family.points, best)
    if times < ENOUGH:
        facts = {
            "response": result.response.name,
            "unit": result.response.unit,
            "times": times,
            "expected": part.best_response,
            "low": part.new_low,
            "high": part.new_high,
        }
        yield NextBakes(why="bake the best", treatments=(best,), facts=facts)


def _of_curves(result: ResponseResult) -> Iterator[NextBakes]:
    """The best dose of each curve that turns inside what was baked, in one advice."""
    dose = result.family.dose
    treatments: list[Treatment] = []
    forecasts: list[dict[str, Any]] = []
    for curve in dose.curves if dose is not None else ():
        if dose is None or curve.optimum is None or (curve.recommended is not None and curve.recommended.edge):
            continue
        best: Treatment = {dose.dose: _tidy(curve.optimum.dose)}
        if dose.by and curve.level is not None:
            best[dose.by] = curve.level
        times = times_baked(result.family.points, best)
        if times < ENOUGH:
            one = curve.optimum
            treatments.append(best)
            foretold = {"mean": one.response, "low": one.response_low, "high": one.response_high}
            forecasts.append({**foretold, "level": curve.level, "times": times})
    if treatments:
        facts = {"response": result.response.name, "unit": result.response.unit, "forecasts": tuple(forecasts)}
        yield NextBakes(why="bake the best doses", treatments=tuple(treatments), facts=facts)


def goals_best_first(results: Sequence[ResponseResult], parts: Sequence[Part]) -> tuple[ResponseResult, ...]:
    """The results with the treatment that serves all goals as the first next bake.

    What each response alone would have baked as its own best gives way to it: two treatments cannot both be the choice.
    """
    goals = next((part for part in parts if isinstance(part, GoalsPart)), None)
    if goals is None or goals.best is None or not results:
        return tuple(results)
    best = {name: _tidy(value) for name, value in goals.best.settings.items()}
    points = max((result.family.points for result in results), key=len)
    if times_baked(points, best) >= ENOUGH:
        return tuple(results)
    named = tuple(forecast.response for forecast in goals.best.forecasts)
    units = {result.response.name: result.response.unit for result in results}
    forecasts = tuple(
        {
            "response": one.response,
            "unit": units.get(one.response, ""),
            "mean": one.mean,
            "low": one.bake_low,
            "high": one.bake_high,
        }
        for one in goals.best.forecasts
    )
    facts = {"responses": named, "forecasts": forecasts, "times": times_baked(points, best)}
    first = NextBakes(why="bake for all goals", treatments=(best,), facts=facts)
    served = [
        replace(result, next_bakes=tuple(one for one in result.next_bakes if one.why not in ALONE))
        if result.response.name in named
        else result
        for result in results
    ]
    at = next((i for i, result in enumerate(served) if result.response.name in named), 0)
    served[at] = replace(served[at], next_bakes=(first, *served[at].next_bakes))
    return tuple(served)


def times_baked(points: Sequence[BakePoint], treatment: Mapping[str, Any]) -> int:
    """How many bakes stand at a treatment, amounts to within a hundredth of what was baked of them."""
    reach = {name: _reach(points, name) for name, level in treatment.items() if isinstance(level, int | float)}
    return sum(
        all(_same(point.settings.get(name), level, reach.get(name)) for name, level in treatment.items())
        for point in points
    )


def _reach(points: Sequence[BakePoint], name: str) -> float:
    levels = [float(point.settings[name]) for point in points if name in point.settings]
    return SAME * (max(levels) - min(levels)) if levels else 0.0


def _same(one: object, level: object, reach: float | None) -> bool:
    if reach is None or not isinstance(one, int | float) or not isinstance(level, int | float):
        return str(one) == str(level)
    return math.isclose(one, level, rel_tol=0.005, abs_tol=reach)


def _tidy(value: Any) -> Any:
    """A setting as one would weigh it: three significant digits."""
    return float(f"{value:.3g}") if isinstance(value, int | float) else value
