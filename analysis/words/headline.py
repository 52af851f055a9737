"""What is the answer in one sentence?

Short words, the answer first. Three answers are possible: something mattered, any
difference is smaller than what matters, or this trial cannot tell.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from analysis.baked import best_beyond
from analysis.questions import Response
from analysis.results import Analysis, Curve, DosePart, Finding, ResponseResult
from analysis.words.findings import (
    CANNOT_TELL,
    alias,
    because,
    from_to,
    leaves_out_zero,
    moved,
    numbers_of,
    two_effects,
    what_matters,
)
from analysis.words.numbers import (
    half_width,
    join_words,
    say_amount,
    say_dose,
    say_interval,
    say_signed,
    start,
    with_unit,
)

Answer = Literal["mattered", "too small", "cannot tell"]
_NAMED = 4  # variables named before "and more"
BEST = {"maximise": "highest", "minimise": "lowest"}


def headline(analysis: Analysis) -> str:
    """The answer for each response in turn, most telling first; one sentence for each."""
    confidence = analysis.question.confidence
    return " ".join(response_headline(result, confidence) for result in _most_telling_first(analysis))


def response_headline(result: ResponseResult, confidence: float = 0.95) -> str:
    """The answer for one response as one sentence, two where one would be hard to read."""
    return start(f"{_answer(result, confidence)}.")


def answer(result: ResponseResult) -> Answer:
    """Which of the three answers the findings of a response amount to."""
    verdicts = [finding.matters for finding in result.findings if finding.kind != "cannot tell"]
    if "yes" in verdicts:
        return "mattered"
    return "too small" if verdicts and set(verdicts) == {"no"} and not _untold(result) else "cannot tell"


def _most_telling_first(analysis: Analysis) -> list[ResponseResult]:
    first = {finding.response: finding.rank for finding in reversed(analysis.findings)}
    return sorted(analysis.responses, key=lambda result: first.get(result.response.name, len(first) + 1))


def _answer(result: ResponseResult, confidence: float) -> str:
    said = answer(result)
    if said == "cannot tell":
        return _open(result, confidence)
    if said == "too small":
        return _too_small(result)
    dose = result.family.dose
    recommended = dose is not None and any(curve.recommended for curve in dose.curves)
    if dose is not None and recommended and result.response.goal:
        return _amount_to_use(dose, result, confidence)
    return _what_mattered(result, confidence)


def _untold(result: ResponseResult) -> list[Finding]:
    return [finding for finding in result.findings if finding.kind == "cannot tell"]


def _open(result: ResponseResult, confidence: float) -> str:
    name, response = result.response.name, result.response
    untold = _untold(result)
    if untold and len(untold) == len(result.findings):
        why = because(untold[0])
        return f"{CANNOT_TELL} what moves {name}{f': {why}' if why else ''}"
    seen = [f for f in result.findings if f.kind == "effect" and f.matters == "unsure" and leaves_out_zero(f)]
    if seen:
        return (
            f"{moved(seen[0], response)}, but {CANNOT_TELL} if by {what_matters(response) or 'what matters'}: "
            f"{numbers_of(seen[0], confidence)}"
        )
    small = [f.variables[0] for f in result.findings if f.kind == "effect" and f.matters == "no"]
    unsure = [f.variables[0] for f in result.findings if f.kind == "effect" and f.matters == "unsure"]
    tail = f"; what {_names(small)} did is smaller than {what_matters(response)}" if small else ""
    if len(unsure) == 1:
        return f"{CANNOT_TELL} if {unsure[0]} moves {name}{tail}"
    return f"{CANNOT_TELL} what moves {name}{tail}"


def _too_small(result: ResponseResult) -> str:
    tried = [finding.variables[0] for finding in result.findings if finding.kind == "effect"]
    return (
        f"what {_names(list(dict.fromkeys(tried))) or 'was tried'} did to {result.response.name} is smaller than "
        f"{what_matters(result.response)}"
    )


def _what_mattered(result: ResponseResult, confidence: float) -> str:
    response = result.response
    telling = [finding for finding in result.findings if finding.matters == "yes"]
    first = telling[0]
    others = _other_variables(first, telling)
    too = f"; {_names(others)} mattered too" if others else ""
    if first.kind == "interaction":
        of = str(first.facts.get("of", first.variables[0]))
        by = join_words([variable for variable in first.variables if variable != of])
        change = f" ({_change(first, confidence)})" if first.low is not None else ""
        both = f". It is {two_effects(first)}{change}" if two_effects(first) else ""
        return f"what {of} does to {response.name} depends on {by}{too}{both}"
    if first.kind == "curves differ":
        return f"how {response.name} follows {first.variables[0]} depends on {join_words(first.variables[1:])}{too}"
    if first.direction == "hump":
        return f"{response.name} turned as {first.variables[0]} went up: {_size(first, confidence)}{too}"
    return f"{moved(first, response)}: {_size(first, confidence)}{alias(first)}{too}"


def _other_variables(first: Finding, telling: Sequence[Finding]) -> list[str]:
    """Variables of further effects that mattered, in order of rank."""
    others = [f.variables[0] for f in telling if f.kind == "effect" and f.variables[0] not in first.variables]
    return list(dict.fromkeys(others))


def _amount_to_use(dose: DosePart, result: ResponseResult, confidence: float) -> str:
    response, unit = result.response, _dose_unit(result, dose.dose)
    best = f"{BEST[response.goal]} {response.name}" if response.goal in BEST else f"{response.name} nearest its target"
    curves = [curve for curve in dose.curves if curve.recommended]
    if len(curves) == 1 and curves[0].level is None:
        return f"for the {best} use {_range(curves[0], unit)} of {dose.dose}{_gives(curves[0], response, confidence)}"
    # The unit once, at the first: a list of full phrases is hard to read.
    said = [f"{_range(curve, '' if at else unit)} with {curve.level}" for at, curve in enumerate(curves)]
    open_ended = [str(curve.level) for curve in curves if best_beyond(curve)]
    beyond = f"; with {join_words(open_ended)} the best may lie beyond what was baked" if open_ended else ""
    return f"the best {dose.dose} for {response.name} is {join_words(said)}{beyond}"


def _range(curve: Curve, unit: str) -> str:
    """ "1.4 to 1.9 % flour": the smallest and the largest dose that do as well as the best."""
    recommended = curve.recommended
    assert recommended is not None
    low = say_dose(recommended.dose, recommended.low, recommended.high)
    high = say_dose(recommended.as_good_to, recommended.low, recommended.high)
    return with_unit(low if low == high else f"{low} to {high}", unit)


def _gives(curve: Curve, response: Response, confidence: float) -> str:
    recommended, optimum = curve.recommended, curve.optimum
    assert recommended is not None
    beyond = best_beyond(curve)
    if beyond:
        return f", but the best may lie beyond the {'most' if beyond == 'high' else 'least'} that was baked"
    plateau = curve.parameters.get("plateau")
    if optimum is not None:
        return (
            f": at best {_height(optimum.response, optimum.response_low, optimum.response_high, response, confidence)}"
        )
    if plateau is not None:
        return f": it levels off at {_height(plateau.estimate, plateau.low, plateau.high, response, confidence)}"
    return ""


def _height(value: float, low: float | None, high: float | None, response: Response, confidence: float) -> str:
    step = half_width(low, high)
    interval = f" ({say_interval(low, high, confidence)})" if step else ""
    return f"{say_amount(value, response.unit, step)}{interval}"


def _dose_unit(result: ResponseResult, dose: str) -> str:
    units = [f.facts.get("factor_unit") for f in result.findings if f.variables[:1] == (dose,)]
    return str(next((unit for unit in units if unit), ""))


def _size(finding: Finding, confidence: float) -> str:
    step = half_width(finding.low, finding.high)
    size = with_unit(say_signed(finding.size or 0.0, step), finding.unit)
    return f"{from_to(finding)}{size} ({say_interval(finding.low, finding.high, confidence)})"


def _change(finding: Finding, confidence: float) -> str:
    interval = say_interval(finding.low, finding.high, confidence)
    return interval.replace("interval", "interval of the gap", 1)


def _names(variables: Sequence[str]) -> str:
    if len(variables) <= _NAMED:
        return join_words(variables)
    return f"{', '.join(variables[:_NAMED])} and {len(variables) - _NAMED} more"
