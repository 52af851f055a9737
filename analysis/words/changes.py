"""How is it said what would change the answer: an odd bake left out, another way of looking?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.questions import Question
from analysis.results import ResponseResult
from analysis.words.facts import listed
from analysis.words.numbers import (
    half_width,
    join_words,
    say_interval,
    say_percent,
    say_signed,
    start,
    with_unit,
)
from analysis.words.trust_checks import SCALES

if TYPE_CHECKING:
    from analysis.linear.sensitivity import Change, ChangesPart, FindingChange

VERDICTS = {"yes": "matters", "no": "is too small to matter", "unsure": "may or may not matter"}
BARE = {"yes": "differs from 0", "no": "is too small to matter", "unsure": "may be 0"}


def say_changes(part: ChangesPart, result: ResponseResult, question: Question) -> tuple[str, ...]:
    """One sentence for each change: which verdicts turn, else how far the finding goes that moves most."""
    return tuple(start(_change(change, result, question)) for change in part.changes)


def said_change(change: Change) -> str:
    """ "without bake B7", "with the covariate room temperature left out"."""
    names = listed(change.names)
    scale = SCALES.get(names, names)
    return {
        "bake": f"without bake {names}",
        "bakes": f"without bakes {names} together",
        "influence": f"without bake {names} (the answer leans on it)",
        "covariate": f"without {names} in the model",
        "robust": "with every bake counting fully",
        "unequal": "with one scatter for all treatments",
        "transform": f"without the {scale}",
        "weights": f"without the weights ({names})",
    }[change.what]


def _change(change: Change, result: ResponseResult, question: Question) -> str:
    said = said_change(change)
    if change.why:
        return f"{said}, nothing can be said: {change.why}"
    if not change.findings:
        return f"{said}, no finding is left to compare."
    turned = [one for one in change.findings if one.turns]
    lost = [one for one in change.findings if one.matters_then is None]
    if not turned and not lost:
        return f"{said}, no finding changes its verdict{_largest(change, result, question)}."
    parts = [_turned(one, result, question) for one in turned[:4]]
    if len(turned) > 4:
        parts.append(f"{len(turned) - 4} more findings change their verdict")
    if lost:
        parts.append(f"{join_words([named(one) for one in lost])} cannot be told at all")
    return f"{said}, {'; '.join(parts)}."


def named(one: FindingChange) -> str:
    """ "the effect of soda", "soda with acid"."""
    if one.kind == "interaction":
        return f"how the effect of {one.variables[0]} depends on {join_words(one.variables[1:])}"
    if one.kind == "bend":
        return f"the bend over {one.variables[0]}"
    if one.kind == "centre":
        return "the bend at the centre"
    return f"the effect of {join_words(one.variables)}"


def _turned(one: FindingChange, result: ResponseResult, question: Question) -> str:
    words = VERDICTS if result.response.matters else BARE
    then = words[one.matters_then or "unsure"]
    size = ""
    if one.size_then is not None:
        step = half_width(one.low_then, one.high_then)
        value = with_unit(say_signed(one.size_then, step), result.response.unit)
        size = f": {value} ({say_interval(one.low_then, one.high_then, question.confidence)})"
    return f"{named(one)} {then}, where it now {words[one.matters]}{size}"


def _largest(change: Change, result: ResponseResult, question: Question) -> str:
    moved = [
        (abs(one.size_then - one.size), one)
        for one in change.findings
        if one.size is not None and one.size_then is not None
    ]
    if not moved:
        return ""
    distance, one = max(moved, key=lambda pair: pair[0])
    step = half_width(one.low, one.high)
    before, after = (say_signed(value or 0.0, step) for value in (one.size, one.size_then))
    if before == after or not distance:
        narrow = _width(one)
        return f"; {named(one)} stays {with_unit(before, result.response.unit)}{narrow}"
    return f"; {named(one)} moves most, from {before} to {with_unit(after, result.response.unit)}"


def _width(one: FindingChange) -> str:
    now, then = half_width(one.low, one.high), half_width(one.low_then, one.high_then)
    if not now or not then or abs(then / now - 1) < 0.005:
        return ""
    wider = "wider" if then > now else "narrower"
    return f", with an interval {say_percent(abs(then / now - 1))} {wider}"
