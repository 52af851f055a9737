"""How is a surface said: what is best, what shape that is, and which way to go?

The settings to choose come first, always inside what was baked; what lies outside is called so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from analysis.questions import Question
from analysis.results import ResponseResult
from analysis.surfaces.results import Axis, ClimbPart, Limits, SurfacePart
from analysis.words.numbers import (
    half_width,
    join_words,
    say_interval,
    say_level,
    say_number,
    say_share,
    say_signed,
    start,
    with_unit,
    with_warmth,
)

SHAPES = {
    "maximum": "the surface has a top: from there {name} falls in every direction",
    "minimum": "the surface has a bottom: from there {name} rises in every direction",
    "saddle": "the surface is a saddle: {name} falls in one direction and rises in another, so that where it levels "
    "out is neither best nor worst",
    "rising ridge": "the surface is a rising ridge: across it {name} falls, and along it {name} goes on changing at "
    "the middle of what was baked, without a bend that shows",
    "stationary ridge": "the surface is a level ridge: across it {name} falls, along it little changes, so that you "
    "may choose freely along it",
    "rising valley": "the surface is a sloping valley: across it {name} rises, and along it {name} goes on changing at "
    "the middle of what was baked, without a bend that shows",
    "stationary valley": "the surface is a level valley: across it {name} rises, along it little changes",
    "flat": "{name} does not bend here by more than the scatter could give: no direction shows a bend that stands out",
}
ALONE = 0.005  # with less of what was baked as good, the best stands alone
STEP = 0.05  # a change smaller than this part of a step is not worth naming


def say_surface(part: SurfacePart, result: ResponseResult, question: Question) -> tuple[str, ...]:
    """Best settings, what is as good, shape, where it levels out, directions, the other levels."""
    units = {factor.name: factor.unit for factor in question.factors}
    said = [*_best(part, result, question, units), _as_good(part, result, units), _shape(part, result)]
    if part.shape != "flat":  # without a bend, the point and the directions are what the scatter made them
        said.append(_levels_out(part, result, question, units))
        said += [_along(axis, result, units) for axis in part.axes]
    said.append(_others(part, result, units))
    return tuple(start(sentence) for sentence in said if sentence)


def _best(part: SurfacePart, result: ResponseResult, question: Question, units: Mapping[str, str]) -> list[str]:
    name, unit = result.response.name, result.response.unit
    wish = {"higher": "highest", "lower": "lowest", "target": "nearest its target"}[part.better]
    step = half_width(part.low, part.high)
    size = with_unit(say_number(part.best_response, step), unit)
    interval = f" ({say_interval(part.low, part.high, question.confidence)})" if part.low is not None else ""
    new = ""
    if part.new_low is not None:
        low, high = (say_number(end, half_width(part.new_low, part.new_high)) for end in (part.new_low, part.new_high))
        new = f"; a further bake there would mostly give {low} to {with_unit(high, unit)}"
    where = "at the edge of what was baked" if part.edge else "inside what was baked"
    said = [f"{name} is {wish} at {settings_in_words(part, units)}, {where}: {size} on average{interval}{new}."]
    if part.edge and part.better != "target":
        said.append("Better may lie beyond that edge, of which these bakes tell nothing.")
    if not part.goal_given:
        said.append(f"A higher {name} was taken as better, as no goal was given.")
    return said


def settings_in_words(part: SurfacePart, units: Mapping[str, str]) -> str:
    """The best settings, "soda 1.23 % and oven 182 °C with yogurt"."""
    amounts = [
        f"{name} {with_warmth(_setting(float(part.best[name]), part, name), units.get(name, ''))}"
        for name in part.amounts
    ]
    held = [f"{n} {with_warmth(say_level(v), units.get(n, ''))}" for n, v in part.best.items() if n not in part.amounts]
    return join_words(amounts) + (f", with {join_words(held)}" if held else "")


def _setting(value: float, part: SurfacePart, name: str) -> str:
    """To a hundredth of the half range or so."""
    return say_number(value, part.coding[name].half / 4)


def _as_good(part: SurfacePart, result: ResponseResult, units: Mapping[str, str]) -> str:
    if not part.as_good or not part.as_good_share or part.as_good_share < ALONE:
        return ""
    ranges = [_range(name, limits, part, units) for name, limits in part.as_good.items()]
    return reach_of_as_good("settings", part.as_good_within, result.response.unit, ranges, part.as_good_share)


def reach_of_as_good(what: str, within: float | None, unit: str, ranges: Sequence[str], share: float) -> str:
    """Over which ranges the settings or blends lie that are as good as the best, and how much of it all that is."""
    near = "that cannot be told from it" if within is None else f"within {with_unit(say_number(within), unit)} of it"
    part = f" ({say_share(round(share, 2))} of what was baked)"
    return f"{what} {near} reach over {join_words(list(ranges))}{part}, though not every combination of these."


def _range(name: str, limits: Limits, part: SurfacePart, units: Mapping[str, str]) -> str:
    unit = units.get(name, "")
    if limits.low is None and limits.high is None:
        return f"{name} anywhere"
    if limits.low is None or limits.high is None:
        end = limits.high if limits.low is None else limits.low
        side = "up to" if limits.low is None else "from"
        return with_unit(f"{name} {side} {_setting(float(end or 0.0), part, name)}", unit)
    return with_unit(f"{name} {_setting(limits.low, part, name)} to {_setting(limits.high, part, name)}", unit)


def _shape(part: SurfacePart, result: ResponseResult) -> str:
    if part.shape is None:
        return f"by its coefficients the surface has a {part.signs}, with nothing left to judge that by."
    return f"{SHAPES[part.shape].format(name=result.response.name)}."


def _levels_out(part: SurfacePart, result: ResponseResult, question: Question, units: Mapping[str, str]) -> str:
    if part.stationary is None:
        return f"it levels out nowhere: {part.reasons.get('stationary', 'there is no such point')}."
    if not part.stationary_inside and part.region_closed is False:
        return (
            f"where {result.response.name} levels out lies outside what was baked, so it is no advice; how far off "
            "cannot be told."
        )
    point = join_words([with_unit(f"{n} {_setting(v, part, n)}", units.get(n, "")) for n, v in part.stationary.items()])
    where = "inside what was baked" if part.stationary_inside else "outside what was baked, so it is no advice"
    if part.region_closed is None:
        known = ""
    elif part.region_closed:
        ranges = join_words([_range(n, limits, part, units) for n, limits in part.region.items()])
        known = f"; the {say_share(question.confidence)} region of that point reaches over {ranges}"
    else:
        known = "; how far off it may be cannot be told, as its region stays open"
    return f"{result.response.name} levels out at {point}, {where}{known}."


def _along(axis: Axis, result: ResponseResult, units: Mapping[str, str]) -> str:
    """ "Along soda up 0.3 % with oven 4 °C lower, …"."""
    step = half_width(axis.low, axis.high)
    size = with_unit(say_signed(axis.eigenvalue, step), result.response.unit)
    done = {
        "down": f"{result.response.name} bends down: {size} one such step from where it levels out",
        "up": f"{result.response.name} bends up: {size} one such step from where it levels out",
        "flat": f"no bend stands out ({size} for one such step)",
    }[axis.bend]
    return f"along {_direction(axis.change, axis.direction, units)}, {done}."


def _direction(change: Mapping[str, float], weights: Mapping[str, float], units: Mapping[str, str]) -> str:
    moved = {name: value for name, value in change.items() if abs(weights[name]) >= STEP}
    parts = []
    for name, value in moved.items():
        way = "up" if value > 0 else "down"
        parts.append(f"{name} {way} by {with_unit(say_number(abs(value), value), units.get(name, ''))}")
    return join_words(parts)


def _others(part: SurfacePart, result: ResponseResult, units: Mapping[str, str]) -> str:
    """The best of the other levels, when there are any."""
    others = [level for level in part.levels if dict(level.at) != dict(part.at)]
    if not others:
        return ""
    said = []
    for level in others[:4]:
        held = join_words([with_unit(f"{n} {say_level(v)}", units.get(n, "")) for n, v in level.at.items()])
        settings = join_words([f"{n} {_setting(float(level.best[n]), part, n)}" for n in part.amounts])
        size = say_number(level.best_response, half_width(level.low, level.high))
        said.append(f"with {held} the best is {with_unit(size, result.response.unit)} at {settings}")
    more = f"; {len(others) - 4} more are in the table" if len(others) > 4 else ""
    return f"{'; '.join(said)}{more}."


def say_climb(part: ClimbPart, result: ResponseResult, question: Question) -> tuple[str, ...]:
    """Which way it gets better, what the edge gives, and that beyond it nothing is known."""
    units = {factor.name: factor.unit for factor in question.factors}
    name, unit = result.response.name, result.response.unit
    top = max(abs(value) for value in part.slopes.values())
    weights = {n: value / top for n, value in part.slopes.items()}
    last = part.steps[-1]
    size = with_unit(say_number(last.response, half_width(last.low, last.high)), unit)
    interval = f" ({say_interval(last.low, last.high, question.confidence)})" if last.low is not None else ""
    wish = {"higher": "rises", "lower": "falls", "target": "nears its target"}[part.better]
    said = [
        f"{name} {wish} fastest along {_direction(part.step, weights, units)}: from "
        f"{with_unit(say_number(part.steps[0].response, half_width(last.low, last.high)), unit)} at the middle to "
        f"{size}{interval} at the edge of what was baked. Beyond that edge the path is a guess.",
    ]
    if not part.goal_given:
        said.append(f"A higher {name} was taken as better, as no goal was given.")
    if part.bends == "untested":
        said.append("Whether it bends on the way was not tested: no middle settings were baked.")
    return tuple(start(sentence) for sentence in said)


def say_climb_next(facts: Mapping[str, Any]) -> str:
    """``response``, ``better``; ``surface``: from the best at the edge of a surface, else along a path."""
    wish = {"lower": "lower", "target": "nearer its target"}.get(str(facts["better"]), "higher")
    if facts.get("surface"):
        return (
            f"{facts['response']} was best at the edge of what was baked, and was still getting {wish} there: bake "
            "these in turn, each further out, and stop when it gets worse."
        )
    return (
        f"{facts['response']} gets {wish} along one path and shows no bend yet: bake these in turn, the first at the "
        "edge of what was baked and the others beyond it, and stop when it gets worse."
    )
