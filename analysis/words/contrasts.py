"""How is a comparison said that was asked for in so many words?"""

from __future__ import annotations

from analysis.parts import ChosenContrast
from analysis.results import ResponseResult
from analysis.words.numbers import half_width, say_interval, say_level, say_p, say_signed, with_unit


def say_contrasts(result: ResponseResult, confidence: float) -> tuple[str, ...]:
    """Each chosen contrast with its interval; they are not adjusted for each other, which is said last."""
    found = result.family.contrasts
    if not found:
        return ()
    said = tuple(_one(contrast, result, confidence) for contrast in found)
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
