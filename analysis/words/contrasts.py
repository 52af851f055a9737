"""How is a comparison said that was asked for: with the level named as the reference, or in so many words?"""

from __future__ import annotations

from analysis.estimates import Comparison
from analysis.parts import ChosenContrast
from analysis.questions import Question
from analysis.results import ResponseResult
from analysis.words.finding_parts import METHODS
from analysis.words.numbers import half_width, join_words, say_interval, say_level, say_p, say_signed, start, with_unit

MOST_LEVELS = 8
TRENDS = (": linear", ": quadratic", ": cubic")


def asked_for(result: ResponseResult, question: Question) -> tuple[str, ...]:
    """All that was asked for besides: levels beside a reference, chosen contrasts."""
    said = (*say_references(result, question), *say_contrasts(result, question.confidence))
    return tuple(start(sentence) for sentence in said)


def say_references(result: ResponseResult, question: Question) -> tuple[str, ...]:
    """Every level beside the reference of its category, in one sentence for each category.

    Two levels are left out, as their difference is the finding itself; so are scores, whose comparisons
    stand on a hidden scale.
    """
    said = []
    for factor in question.factors:
        found = [
            one
            for one in result.family.comparisons
            if one.factor == factor.name and one.b == factor.reference and not one.at and one.low is not None
        ]
        if len(found) < 2 or result.family.model.kind == "score":
            continue
        adjusted = METHODS.get(found[0].method, "not adjusted for comparing several")
        more = f"; {len(found) - MOST_LEVELS} further levels stand in JSON" if len(found) > MOST_LEVELS else ""
        said.append(
            f"{result.response.name}, each {factor.name} less {factor.reference} ({adjusted}): "
            f"{join_words([_level(one, result, question.confidence) for one in found[:MOST_LEVELS]])}{more}."
        )
    return tuple(said)


def _level(one: Comparison, result: ResponseResult, confidence: float) -> str:
    size = with_unit(say_signed(one.difference, half_width(one.low, one.high)), result.response.unit)
    return f"{one.a} {size} ({say_interval(one.low, one.high, confidence)})"


def say_contrasts(result: ResponseResult, confidence: float) -> tuple[str, ...]:
    """Each chosen contrast with its interval; they are not adjusted for each other, which is said last."""
    found = result.family.contrasts
    if not found:
        return ()
    said = tuple(_one(contrast, result, confidence) for contrast in found)
    if any(one.name.endswith(TRENDS) for one in found):
        said += ("A trend weighs the levels to a length of 1: its sign and interval tell, but its size is no slope.",)
    if len(found) == 1:
        return said
    return (*said, "These were asked for one by one and are not adjusted for each other.")


def _one(contrast: ChosenContrast, result: ResponseResult, confidence: float) -> str:
    at = "".join(f", with {name} {say_level(level)}" for name, level in contrast.at.items())
    size = with_unit(say_signed(contrast.estimate, half_width(contrast.low, contrast.high)), result.response.unit)
    if contrast.low is None:
        return f"{result.response.name}, {contrast.name}{at}: {size}, with nothing left to judge it against."
    p = "" if contrast.p is None else f", {say_p(contrast.p)}"
    interval = say_interval(contrast.low, contrast.high, confidence)
    return f"{result.response.name}, {contrast.name}{at}: {size} ({interval}{p})."
