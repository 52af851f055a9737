"""How is it said what a treatment that was not baked would give?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from analysis.questions import Factor
from analysis.words.numbers import half_width, join_words, say_number, say_setting, say_share, start, with_unit


def say_settings(settings: Mapping[str, float | str], factors: Sequence[Factor]) -> str:
    """ "soda 1.5 % flour and acid source vinegar"."""
    units = {factor.name: factor.unit for factor in factors}
    return join_words([f"{name} {say_setting(value, units.get(name, ''))}" for name, value in settings.items()])


def say_what_if(
    response: str,
    unit: str,
    settings: str,
    mean: float,
    bake: tuple[float | None, float | None],
    confidence: float,
) -> str:
    """One sentence: the treatment, what is foretold, and where one new bake would fall."""
    low, high = bake
    step = half_width(low, high)
    foretold = with_unit(say_number(mean, step), unit)
    said = f"{start(settings)}: {response} {foretold} is foretold"
    if low is None or high is None:
        return f"{said}; how far one bake may lie from it, these bakes cannot tell."
    ends = with_unit(f"{say_number(low, step)} to {say_number(high, step)}", unit)
    return f"{said}; one new bake falls within {ends}, {say_share(confidence)} sure."


def say_not_baked_there(factor: str, unit: str, typed: float, low: float, high: float) -> str:
    """What lies outside of what was baked is not foretold."""
    baked = with_unit(f"{say_number(low)} to {say_number(high)}", unit)
    return f"{start(factor)} was baked from {baked}; nothing is foretold for {say_setting(typed, unit)}."
