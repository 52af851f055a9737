"""How is it said which blend is best, and how the response runs along each share?"""

from __future__ import annotations

from collections.abc import Mapping

from analysis.blends.results import BlendPart, ShareLimits, Trace
from analysis.questions import Question
from analysis.results import ResponseResult
from analysis.words.numbers import (
    half_width,
    join_words,
    say_interval,
    say_level,
    say_number,
    start,
    with_unit,
)
from analysis.words.surfaces import reach_of_as_good

MOST = 4
ALONE = 0.005  # with less of what was baked as good, the best stands alone


def say_blend(part: BlendPart, result: ResponseResult, question: Question) -> tuple[str, ...]:
    """The best blend, what is as good, each share's line, the other levels."""
    units = {factor.name: factor.unit for factor in question.factors}
    said = [*_best(part, result, question, units), _as_good(part, result, units)]
    said += [_trace(trace, part, result, units) for trace in part.traces]
    said.append(_others(part, result, units))
    return tuple(start(sentence) for sentence in said if sentence)


def _best(part: BlendPart, result: ResponseResult, question: Question, units: Mapping[str, str]) -> list[str]:
    name, unit = result.response.name, result.response.unit
    wish = {"higher": "highest", "lower": "lowest", "target": "nearest its target"}[part.better]
    size = with_unit(say_number(part.best_response, half_width(part.low, part.high)), unit)
    interval = f" ({say_interval(part.low, part.high, question.confidence)})" if part.low is not None else ""
    new = ""
    if part.new_low is not None:
        low, high = (say_number(end, half_width(part.new_low, part.new_high)) for end in (part.new_low, part.new_high))
        new = f"; a further bake of it would mostly give {low} to {with_unit(high, unit)}"
    said = [
        f"of the blends inside what was baked, {name} is {wish} with {blend_in_words(part, units)}: {size} on "
        f"average{interval}{new}."
    ]
    if part.edge and part.better != "target":
        said.append("That blend lies where the bakes end: better may lie beyond, of which they tell nothing.")
    if not part.goal_given:
        said.append(f"A higher {name} was taken as better, as no goal was given.")
    return said


def blend_in_words(part: BlendPart, units: Mapping[str, str]) -> str:
    """The best blend, "wheat 60 %, rye 40 % and no oat, oven hot"."""
    shares = [_share(name, float(part.best[name]), part, units) for name in part.shares]
    held = [with_unit(f"{n} {say_level(v)}", units.get(n, "")) for n, v in part.best.items() if n not in part.shares]
    return join_words(shares) + (f", at {join_words(held)}" if held else "")


def _share(name: str, value: float, part: BlendPart, units: Mapping[str, str]) -> str:
    if abs(value) < 1e-6 * part.total:
        return f"no {name}"
    return with_unit(f"{name} {say_number(value, part.total / 5)}", units.get(name, ""))


def _as_good(part: BlendPart, result: ResponseResult, units: Mapping[str, str]) -> str:
    if not part.as_good or not part.as_good_share or part.as_good_share < ALONE:
        return ""
    ranges = [_range(name, limits, part, units) for name, limits in part.as_good.items()]
    return reach_of_as_good("blends", part.as_good_within, result.response.unit, ranges, part.as_good_share)


def _range(name: str, limits: ShareLimits, part: BlendPart, units: Mapping[str, str]) -> str:
    if max(abs(limits.low), abs(limits.high)) < 1e-6 * part.total:
        return f"no {name}"
    ends = [say_number(end, part.total / 5) for end in (limits.low, limits.high)]
    return with_unit(f"{name} {ends[0]} to {ends[1]}", units.get(name, ""))


def _trace(trace: Trace, part: BlendPart, result: ResponseResult, units: Mapping[str, str]) -> str:
    """Where along its line a share gives the most and the least."""
    if len(trace.points) < 2:
        return ""
    top, bottom = (pick(trace.points, key=lambda point: point.mean) for pick in (max, min))
    if top.mean == bottom.mean:
        return ""
    step = half_width(top.low, top.high)
    of = units.get(trace.share, "")
    parts = [
        f"at {with_unit(say_number(point.share, part.total / 5), of)} ({say_number(point.mean, step)})"
        for point in (top, bottom)
    ]
    unit = f" (in {result.response.unit})" if result.response.unit else ""
    return (
        f"along {trace.share}, the other shares in their usual proportions, {result.response.name} is highest "
        f"{parts[0]} and lowest {parts[1]}{unit}."
    )


def _others(part: BlendPart, result: ResponseResult, units: Mapping[str, str]) -> str:
    others = [level for level in part.levels if dict(level.at) != dict(part.at)]
    if not others:
        return ""
    said = []
    for level in others[:MOST]:
        held = join_words([with_unit(f"{n} {say_level(v)}", units.get(n, "")) for n, v in level.at.items()])
        shares = join_words([_share(name, float(level.best[name]), part, units) for name in part.shares])
        size = say_number(level.best_response, half_width(level.low, level.high))
        said.append(f"at {held} the best is {with_unit(size, result.response.unit)} with {shares}")
    more = f"; {len(others) - MOST} more are in the table" if len(others) > MOST else ""
    return f"{'; '.join(said)}{more}."
