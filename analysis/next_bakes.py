"""What to bake next?

A fixed set of rules over what an answer left open: too wide an interval, an optimum
at the edge, an undecided shape, effects that cannot be told apart, treatments baked
once, cells never baked. Each gives treatments that can be mixed as they stand.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any

from analysis.baked import Treatment, best_beyond, levels_baked, mean_at, treatments_baked
from analysis.best_again import best_again, best_of
from analysis.dose_results import Curve, DosePart
from analysis.findings import JOINT
from analysis.more_bakes import as_good_open, more_bakes, say_what_matters
from analysis.parting import fill_cells, part_aliases
from analysis.questions import Question
from analysis.results import BakePoint, NextBakes, ResponseResult

DECIDED = 0.8  # weight from which one shape is taken as settled
DRAWS = 400  # of plausible curves, to see where they part


def next_bakes(result: ResponseResult, question: Question) -> tuple[NextBakes, ...]:
    """What to bake next for one response, most pressing first. Empty when nothing was fitted."""
    if not result.family.points:
        return ()
    rules = (
        best_again,
        as_good_open,
        part_aliases,
        _replicates,
        fill_cells,
        more_bakes,
        say_what_matters,
        _beyond,
        _between,
        _middle,
        _joint,
        _climb,
        _better,
    )
    found = [bakes for rule in rules for bakes in rule(result, question)]
    return tuple(found) if found else tuple(_confirmed(result))


# Treatments baked once: replicate the largest


def _replicates(result: ResponseResult, question: Question) -> Iterator[NextBakes]:
    residual = result.family.residual
    unreplicated = any(effect.pse is not None for effect in result.family.effects)
    if not unreplicated and (residual is None or residual.df > 0):
        return
    told = [finding for finding in result.findings if finding.kind != "cannot tell"]
    telling = [finding for finding in told if finding.matters != "no"] or told[:1]
    top = list(dict.fromkeys(variable for finding in telling for variable in finding.variables))[:2]
    baked = treatments_baked(result.family.points, question)
    corners: dict[tuple[Any, ...], Treatment] = {}
    for treatment in baked:
        corners.setdefault(tuple(treatment.get(name) for name in top), treatment)
    if top:
        facts = {"variables": tuple(top), "response": result.response.name}
        yield NextBakes(why="replicate", treatments=tuple(corners.values())[:8], facts=facts)


# The best lies at the edge of the range


def _beyond(result: ResponseResult, question: Question) -> Iterator[NextBakes]:
    dose = result.family.dose
    if dose is None or result.response.goal is None or not _moved_by(dose.dose, result):
        return
    for curve in dose.curves:
        edge = best_beyond(curve)
        further = _one_step_further(levels_baked(result.family.points, dose.dose), edge)
        if edge and further is not None:
            level = {dose.by: curve.level} if dose.by and curve.level is not None else {}
            facts = {"variable": dose.dose, "response": result.response.name, "edge": edge, **level}
            yield NextBakes(why="extend the range", treatments=({dose.dose: further, **level},), facts=facts)


def _moved_by(variable: str, result: ResponseResult) -> bool:
    """Did the variable matter, or may it have?"""
    return any(variable in f.variables and f.kind in ("effect", *JOINT) and f.matters != "no" for f in result.findings)


def _one_step_further(levels: Sequence[float], edge: str | None) -> float | None:
    """The next dose beyond an edge, by the last step; half-way to nothing when that would be below 0."""
    if edge is None or len(levels) < 2:
        return None
    if edge == "high":
        return _tidy(levels[-1] + (levels[-1] - levels[-2]))
    below = levels[0] - (levels[1] - levels[0])
    if below < 0 <= levels[0]:
        below = levels[0] / 2
    return _tidy(below) if below < levels[0] else None


# More than one shape agrees


def _between(result: ResponseResult, question: Question) -> Iterator[NextBakes]:
    dose = result.family.dose
    if dose is None or len(dose.candidates) < 2 or not _moved_by(dose.dose, result):
        return
    best = max(candidate.weight for candidate in dose.candidates)
    if best >= DECIDED:
        return
    doses = levels_baked(result.family.points, dose.dose)
    gap = _most_disputed(result, dose, doses, question.seed) or _widest_gap(doses, dose)
    if gap is not None:
        levels = [curve.level for curve in dose.curves if curve.level is not None]
        treatments: tuple[Treatment, ...] = tuple({dose.dose: gap, str(dose.by): level} for level in levels)
        facts = {"variable": dose.dose, "response": result.response.name, "weight": best}
        yield NextBakes(why="dose between", treatments=treatments or ({dose.dose: gap},), facts=facts)


def _most_disputed(result: ResponseResult, dose: DosePart, doses: Sequence[float], seed: int) -> float | None:
    """The dose between those baked at which the plausible curves lie furthest apart, over all levels.

    That is where one more bake tells most about the shape (Atkinson & Fedorov 1975, Biometrika 62:57).
    """
    predictor = result.family.predictor
    inner = [low + (high - low) * part for low, high in pairwise(doses) for part in (1 / 3, 1 / 2, 2 / 3)]
    if predictor is None or not inner:
        return None
    import numpy as np
    import pandas as pd

    levels = [curve.level for curve in dose.curves]
    rows = [
        {dose.dose: value, **({dose.by: level} if dose.by and level is not None else {})}
        for value in inner
        for level in levels
    ]
    draws = predictor.draws(pd.DataFrame(rows), count=DRAWS, seed=seed)
    if draws is None or not np.isfinite(draws).all():
        return None
    apart = draws.var(axis=0).reshape(len(inner), len(levels)).sum(axis=1)
    return _tidy(inner[int(np.argmax(apart))]) if apart.max() > 0 else None


def _widest_gap(levels: Sequence[float], dose: DosePart) -> float | None:
    """The middle of the widest gap between doses; of equal gaps the one nearest to where the curve turns."""
    gaps = list(pairwise(levels))
    if not gaps:
        return None
    widest = max(high - low for low, high in gaps)
    middles = [(low + high) / 2 for low, high in gaps if high - low >= 0.999 * widest]
    turn = _turn(dose.curves[0]) if dose.curves else None
    return _tidy(min(middles, key=lambda middle: abs(middle - turn)) if turn is not None else middles[0])


def _turn(curve: Curve) -> float | None:
    if curve.optimum is not None:
        return curve.optimum.dose
    if "breakpoint" in curve.parameters:
        return curve.parameters["breakpoint"].estimate
    return curve.recommended.dose if curve.recommended else None


# An amount that mattered was baked at two levels only


def _middle(result: ResponseResult, question: Question) -> Iterator[NextBakes]:
    if result.family.dose is not None:
        return
    amounts = {factor.name for factor in question.factors if factor.kind == "amount"}
    for finding in result.findings:
        name = finding.variables[0] if finding.variables else ""
        levels = levels_baked(result.family.points, name) if name in amounts else []
        if finding.kind == "effect" and finding.matters == "yes" and len(levels) == 2:
            rest = _best_setting(result, question)
            facts = {"variable": name, "response": result.response.name}
            treatment = {**rest, name: _tidy((levels[0] + levels[1]) / 2)}
            yield NextBakes(why="level between", treatments=(treatment,), facts=facts)
            return


def _best_setting(result: ResponseResult, question: Question) -> Treatment:
    """The settings of the best bake, by fitted value; without a goal, of the first treatment."""
    response = result.response
    points = [point for point in result.family.points if point.fitted is not None]
    if response.goal is None or not points:
        return treatments_baked(result.family.points, question)[0]

    def worth(point: BakePoint) -> float:
        fitted = point.fitted or 0.0
        if response.goal == "target" and response.target is not None:
            return -abs(fitted - response.target)
        return -fitted if response.goal == "minimise" else fitted

    best = max(points, key=worth)
    return {factor.name: best.settings[factor.name] for factor in question.factors if factor.name in best.settings}


# An interaction that matters


def _joint(result: ResponseResult, question: Question) -> Iterator[NextBakes]:
    """Level by level, where nothing has weighed all settings together: a named best has, and would be contradicted."""
    if result.family.dose is not None or (result.response.goal is not None and best_of(result) is not None):
        return
    for finding in result.findings:
        # With "along" a share is among them, which is not set by itself.
        joint = finding.kind == "interaction" and finding.matters == "yes" and len(finding.variables) == 2
        if joint and "along" not in finding.facts:
            of = str(finding.facts.get("of", finding.variables[0]))
            by = next(variable for variable in finding.variables if variable != of)
            facts = {"of": of, "by": by, "response": result.response.name}
            yield NextBakes(why="interaction", treatments=tuple(_best_of_each(result, of, by)), facts=facts)
            return


def _best_of_each(result: ResponseResult, of: str, by: str) -> Iterator[Treatment]:
    """For each level of ``by`` the level of ``of`` that did best; both ends when no goal says which is better."""
    levels = levels_baked(result.family.points, of)
    for other in levels_baked(result.family.points, by):
        means = {level: mean_at(result.family.points, {of: level, by: other}) for level in levels}
        known = {level: mean for level, mean in means.items() if mean is not None}
        if result.response.goal in ("maximise", "minimise") and known:
            pick = max if result.response.goal == "maximise" else min
            yield {of: pick(known, key=lambda level: known[level]), by: other}
        else:
            yield from ({of: level, by: other} for level in (levels[0], levels[-1]))


# A first-order model gets better along one path


def _climb(result: ResponseResult, question: Question) -> Iterator[NextBakes]:
    for part in result.family.parts:
        onward = getattr(part, "onward", ())
        at_edge = part.key == "climb" or (part.key == "surface" and getattr(part, "edge", False))
        if at_edge and onward and result.response.goal is not None:
            facts = {"response": result.response.name, "better": getattr(part, "better", "higher")}
            facts |= {"surface": part.key == "surface"}
            yield NextBakes(why="climb", treatments=tuple(onward), facts=facts)


# Another treatment may be better than what now looks best


def _better(result: ResponseResult, question: Question) -> Iterator[NextBakes]:
    from analysis.likely_better import likely_better

    yield from likely_better(result, question)


# Nothing open: bake the choice again


def _confirmed(result: ResponseResult) -> Iterator[NextBakes]:
    dose = result.family.dose
    facts = {"response": result.response.name}
    if dose is None or result.response.goal is None or not any(f.matters == "yes" for f in result.findings):
        return
    treatments = [
        {dose.dose: _tidy(curve.recommended.dose), **({str(dose.by): curve.level} if curve.level is not None else {})}
        for curve in dose.curves
        if curve.recommended
    ]
    if treatments:
        yield NextBakes(why="confirm", treatments=tuple(treatments), facts=facts)


def _tidy(dose: float) -> float:
    """A dose as one would weigh it: three significant digits."""
    return float(f"{dose:.3g}")
