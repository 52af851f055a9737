"""What would other settings give? A treatment is typed, one interval for each response comes back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.words.numbers import join_words
from analysis.words.what_if import say_not_baked_there, say_settings, say_what_if
from tracker.errors import InputError
from tracker.intake.numbers import number_text, read_number
from tracker.intake.spreadsheet import nearest

if TYPE_CHECKING:
    from analysis.predicting import Span
    from analysis.results import Analysis, ResponseResult

Settings = dict[str, float | str]


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A setting to be chosen: ``levels`` of a category, else ``low`` to ``high``; ``value`` is proposed, as text."""

    name: str
    unit: str
    levels: tuple[str, ...]
    low: float | None
    high: float | None
    value: str


@dataclass(frozen=True, kw_only=True)
class Foretold:
    """``low`` and ``high``: where one new bake falls (None when unknown); ``baked``: lowest and highest mean baked."""

    response: str
    unit: str
    mean: float
    low: float | None
    high: float | None
    baked: tuple[float, float] | None
    words: str


def settings_asked(analysis: Analysis) -> tuple[Asked, ...]:
    """The factors of those responses that can be foretold; the treatment the answer speaks for is proposed."""
    from tracker.workflow.promised import recommended

    proposed = recommended(analysis)
    units = {factor.name: factor.unit for factor in analysis.question.factors}
    asked = []
    for name, span in _spans(analysis).items():
        middle = span.levels[0] if span.levels else (span.low or 0.0)
        value = proposed.get(name, middle)
        asked.append(
            Asked(
                name=name,
                unit=units.get(name, ""),
                levels=span.levels,
                low=span.low,
                high=span.high,
                value=value if isinstance(value, str) else _typable(value, span),
            )
        )
    return tuple(asked)


def _typable(value: float, span: Span) -> str:
    """A proposed amount to four digits, never beyond what was baked."""
    short = float(f"{value:.4g}")
    inside = min(max(short, span.low if span.low is not None else short), span.high if span.high is not None else short)
    return number_text(inside)


def foretell(analysis: Analysis, typed: Mapping[str, str]) -> tuple[Foretold, ...]:
    """What each response is foretold to be. Raises InputError for a setting that is open, no number or not baked."""
    settings = read_settings(analysis, typed)
    said = say_settings(settings, analysis.question.factors)
    found = (_foretell(result, settings, said, analysis.question.confidence) for result in analysis.responses)
    return tuple(each for each in found if each is not None)


def _foretell(result: ResponseResult, settings: Settings, said: str, confidence: float) -> Foretold | None:
    from math import isfinite

    from analysis.goals.intervals import intervals
    from analysis.predicting import Settings

    predictor = result.family.predictor
    if predictor is None or not set(predictor.spans) <= set(settings):
        return None
    frame = Settings({name: [settings[name]] for name in predictor.spans})
    means = predictor.mean(frame)
    if not isfinite(float(means[0])):
        return None
    bake = intervals(predictor, frame, means, confidence)[1][0]
    fitted = [point.fitted for point in result.family.points if point.fitted is not None]
    response = result.response
    return Foretold(
        response=response.name,
        unit=response.unit,
        mean=float(means[0]),
        low=bake[0],
        high=bake[1],
        baked=(min(fitted), max(fitted)) if fitted else None,
        words=say_what_if(response.name, response.unit, said, float(means[0]), bake, confidence),
    )


def read_settings(analysis: Analysis, typed: Mapping[str, str]) -> Settings:
    """Settings as typed, within what was baked. Raises InputError."""
    units = {factor.name: factor.unit for factor in analysis.question.factors}
    settings: Settings = {}
    for name, span in _spans(analysis).items():
        text = typed.get(name, "").strip()
        if not text:
            raise InputError(f"{name} was left open.", where="what if", try_this="a value for each setting")
        if span.levels:
            if text not in span.levels:
                near = nearest(text, span.levels)
                raise InputError(
                    f'{name} was never "{text}"; its levels are {join_words(span.levels)}.',
                    where="what if",
                    try_this=near or span.levels[0],
                )
            settings[name] = text
            continue
        value = read_number(text, what=name, where="what if")
        if span.low is not None and span.high is not None and not span.low <= value <= span.high:
            raise InputError(
                say_not_baked_there(name, units.get(name, ""), value, span.low, span.high),
                where="what if",
                try_this=f"a value from {number_text(span.low)} to {number_text(span.high)}",
            )
        settings[name] = value
    return settings


def _spans(analysis: Analysis) -> dict[str, Span]:
    found: dict[str, Span] = {}
    for result in analysis.responses:
        if result.family.predictor is not None:
            found.update(result.family.predictor.spans)
    return found
