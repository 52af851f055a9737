"""What to bake next?

A fixed set of rules over what an answer left open: too wide an interval, an optimum
at the edge, an undecided shape, effects that cannot be told apart, treatments baked
once, cells never baked. Each gives treatments that can be mixed as they stand.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise
from math import log
from typing import Any

from analysis.baked import Treatment, best_beyond, levels_baked, mean_at, same_level, treatments_baked
from analysis.findings import JOINT
from analysis.parting import fill_cells, part_aliases
from analysis.parts import Equivalence
from analysis.questions import Question
from analysis.results import BakePoint, Curve, DosePart, Finding, NextBakes, ResponseResult

MOST_TIMES = 10  # beyond this many times the bakes made so far, more bakes are no sensible advice
WITHIN_REACH = 3  # without a difference that matters: half-widths beyond this many sizes are left alone
DECIDED = 0.8  # weight from which one shape is taken as settled


def next_bakes(result: ResponseResult, question: Question) -> tuple[NextBakes, ...]:
    """What to bake next for one response, most pressing first. Empty when nothing was fitted."""
    if not result.family.points:
        return ()
    rules = (
        _as_good,
        part_aliases,
        _replicates,
        fill_cells,
        _more,
        _yardstick,
        _beyond,
        _between,
        _middle,
        _joint,
        _better,
    )
    found = [bakes for rule in rules for bakes in rule(result, question)]
    return tuple(found) if found else tuple(_confirmed(result))


# A substitute whose interval still reaches past the margin


def _as_good(result: ResponseResult, question: Question) -> Iterator[NextBakes]:
    """More bakes of the open pair that lies nearest to being settled: the interval has to fit beside its estimate."""
    best: tuple[int, Equivalence] | None = None
    for one in result.family.equivalence:
        scale = log if one.ratio else float
        if one.equivalent != "unsure" or one.low is None or one.high is None or (one.ratio and one.estimate <= 0):
            continue
        size, half = scale(one.estimate), (scale(one.high) - scale(one.low)) / 2
        room = min(abs(scale(one.margin_high) - size), abs(size - scale(one.margin_low)))
        if room <= 0 or half <= 0:
            continue
        more = math.ceil(result.n_bakes * ((half / room) ** 2 - 1))
        if 0 < more <= (MOST_TIMES - 1) * result.n_bakes and (best is None or more < best[0]):
            best = (more, one)
    if best is not None:
        more, one = best
        facts = {"a": one.a, "b": one.b, "response": result.response.name, "more": 2 * math.ceil(more / 2)}
        treatments: tuple[Treatment, ...] = ({one.factor: one.a}, {one.factor: one.b})
        yield NextBakes(why="margin open", treatments=treatments, facts=facts)


# More of the same: the interval is wider than what matters


def _more(result: ResponseResult, question: Question) -> Iterator[NextBakes]:
    if any(effect.pse is not None for effect in result.family.effects):
        return  # without replicates there is no error to scale; see _replicates
    open_ones = [f for f in result.findings if f.matters == "unsure" and _aim(f, result) is not None]
    mains = [finding for finding in open_ones if finding.kind == "effect"]
    chosen = mains or [finding for finding in open_ones if finding.kind in JOINT]
    if not chosen:
        return
    widest = max(chosen, key=lambda finding: _times(finding, result))
    treatments = _ends(widest, result, question)
    more = math.ceil(result.n_bakes * (_times(widest, result) - 1))
    each = math.ceil(more / max(len(treatments), 1))
    sensible = more <= (MOST_TIMES - 1) * result.n_bakes
    yield NextBakes(
        why="more bakes",
        treatments=tuple(treatments) if sensible else (),
        facts={
            "variables": tuple(dict.fromkeys(":".join(finding.variables) for finding in chosen)),
            "response": result.response.name,
            "half_width": _half(widest),
            "aim": _aim(widest, result),
            "unit": result.response.unit,
            "more": each * len(treatments) if sensible else None,
            "each": each,
        },
    )


def _half(finding: Finding) -> float:
    assert finding.low is not None
    assert finding.high is not None
    return (finding.high - finding.low) / 2


def _aim(finding: Finding, result: ResponseResult) -> float | None:
    """The half-width that would decide the finding; None when no number of bakes is foreseeable.

    An interval wider than what matters comes down to it; a narrower one that straddles
    the limit comes down to the distance between estimate and limit. Without a difference
    that matters the estimate itself has to be cleared.
    """
    if finding.low is None or finding.high is None or finding.size is None or finding.high <= finding.low:
        return None
    matters, half = result.response.matters, _half(finding)
    if matters is None:
        return abs(finding.size) if abs(finding.size) * WITHIN_REACH >= half else None
    aim = matters if half > matters else abs(abs(finding.size) - matters)
    return aim if 0 < aim < half else None


def _times(finding: Finding, result: ResponseResult) -> float:
    """How many times the bakes made so far: half-widths shrink with the square root of bakes."""
    aim = _aim(finding, result)
    return (_half(finding) / aim) ** 2 if aim else 1.0


def _ends(finding: Finding, result: ResponseResult, question: Question) -> list[Treatment]:
    """The treatments baked at the levels a finding compares."""
    baked = treatments_baked(result.family.points, question)
    wanted = _compared(finding)
    chosen = [
        one
        for one in baked
        if all(any(same_level(one.get(name), level) for level in levels) for name, levels in wanted.items())
    ]
    return chosen or baked


def _compared(finding: Finding) -> dict[str, tuple[Any, Any]]:
    facts = finding.facts
    compared = {}
    if "from" in facts and "to" in facts:
        compared[str(facts.get("of", finding.variables[0]))] = (facts["from"], facts["to"])
    if "by_from" in facts and "by_to" in facts:
        compared[str(facts["by"])] = (facts["by_from"], facts["by_to"])
    return compared


def _yardstick(result: ResponseResult, question: Question) -> Iterator[NextBakes]:
    """Without a difference that matters, an effect lost in the scatter can never be called too small."""
    effects = [finding for finding in result.findings if finding.kind == "effect"]
    lost = [f for f in effects if f.matters == "unsure" and f.low is not None and _aim(f, result) is None]
    if result.response.matters is None and lost:
        facts = {"variables": tuple(f.variables[0] for f in lost), "response": result.response.name}
        yield NextBakes(why="say what matters", treatments=(), facts=facts)


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
    gap = _widest_gap(levels_baked(result.family.points, dose.dose), dose)
    if best < DECIDED and gap is not None:
        levels = [curve.level for curve in dose.curves if curve.level is not None]
        treatments: tuple[Treatment, ...] = tuple({dose.dose: gap, str(dose.by): level} for level in levels)
        facts = {"variable": dose.dose, "response": result.response.name, "weight": best}
        yield NextBakes(why="dose between", treatments=treatments or ({dose.dose: gap},), facts=facts)


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
    if result.family.dose is not None:
        return
    for finding in result.findings:
        if finding.kind == "interaction" and finding.matters == "yes" and len(finding.variables) == 2:
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
