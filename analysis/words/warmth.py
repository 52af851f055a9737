"""What is a temperature of the page in °F?

A report is computed and said in °C, as its trial was planned and is recorded; a reader who bakes in °F
gets every setting that was baked in °F as well, and what a difference comes to, which has no 32 in it.
"""

from __future__ import annotations

from analysis.results import Analysis
from analysis.words.numbers import CELSIUS, FAHRENHEIT, join_words, say_level, say_setting, written

MOST_SAID = 8  # settings; of more, the lowest and the highest
TEN_DEGREES = 10.0


def say_warmth(analysis: Analysis) -> tuple[str, ...]:
    """One sentence where °F is wished for and something is in °C; nothing otherwise."""
    if written().temperature != "F":
        return ()
    told = [f"{name} {join_words(_both(levels))}" for name, levels in _settings(analysis).items()]
    responses = [one.response.name for one in analysis.responses if one.response.unit.strip() == CELSIUS]
    if not told and not responses:
        return ()
    settings = f": {'; '.join(told)}" if told else ""
    difference = f"A difference of {say_level(TEN_DEGREES)} {CELSIUS} is {say_level(1.8 * TEN_DEGREES)} {FAHRENHEIT}."
    return (f"Temperatures stand in {CELSIUS} here, as they were planned and analysed{settings}. {difference}",)


def _settings(analysis: Analysis) -> dict[str, list[float]]:
    """The levels that were baked of each factor in °C, in rising order."""
    found: dict[str, list[float]] = {}
    for factor in analysis.question.factors:
        if factor.unit.strip() != CELSIUS:
            continue
        points = [point for one in analysis.responses for point in one.family.points]
        levels = sorted({float(v) for p in points if isinstance(v := p.settings.get(factor.name), int | float)})
        if levels:
            found[factor.name] = levels if len(levels) <= MOST_SAID else [levels[0], levels[-1]]
    return found


def _both(levels: list[float]) -> list[str]:
    return [f"{say_level(level)} {CELSIUS} is {say_setting(level, CELSIUS)}" for level in levels]
