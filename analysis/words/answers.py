"""What is the answer in one sentence?

Short words, the answer first. Three answers are possible: something mattered, any
difference is smaller than what matters, or this trial cannot tell.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from analysis.results import Analysis, Finding, ResponseResult
from analysis.words.amounts import amount_for_all, amount_to_use
from analysis.words.bends import BENT, lies_off
from analysis.words.equivalence import equivalence_headline
from analysis.words.finding_parts import (
    CANNOT_TELL,
    alias,
    from_to,
    leaves_out_zero,
    moved,
    numbers_of,
    varied,
    what_matters,
)
from analysis.words.findings import because, two_effects
from analysis.words.leads import goals_headline, surface_headline
from analysis.words.numbers import (
    half_width,
    join_words,
    say_interval,
    say_signed,
    start,
    with_unit,
)
from analysis.words.scatter import widest

Answer = Literal["mattered", "too small", "cannot tell"]
_NAMED = 4  # variables named before "and more"


def headline(analysis: Analysis) -> str:
    """The answer for each response in turn; first the amount that suits them all, where there is one."""
    return " ".join(headlines(analysis))


def headlines(analysis: Analysis) -> list[str]:
    """The sentences of the headline, one for each response."""
    confidence = analysis.question.confidence
    said = [response_headline(result, confidence) for result in in_order(analysis)]
    for_all = shared_headline(analysis)
    return [for_all, *said] if for_all else said


def shared_headline(analysis: Analysis) -> str:
    """The amount that suits every response, else the treatment that serves several goals; "" when there is none."""
    said = amount_for_all([result for result in analysis.responses if _asks_for_amount(result)])
    return start(f"{said}.") if said else goals_headline(analysis)


def in_order(analysis: Analysis) -> list[ResponseResult]:
    """The responses as the plan lists them; those where nothing is known to matter come last."""
    return sorted(analysis.responses, key=lambda result: answer(result) != "mattered")


def response_headline(result: ResponseResult, confidence: float = 0.95) -> str:
    """The answer for one response as one sentence, two where one would be hard to read."""
    return start(f"{_answer(result, confidence)}.")


def answer(result: ResponseResult) -> Answer:
    """Which of the three answers the findings of a response amount to; about a substitute, if that was asked."""
    as_good = {finding.facts["equivalent"] for finding in result.findings if finding.kind == "equivalence"}
    if as_good:
        return "mattered" if "no" in as_good else "cannot tell" if "unsure" in as_good else "too small"
    verdicts = [finding.matters for finding in result.findings if finding.kind != "cannot tell"]
    if "yes" in verdicts:
        return "mattered"
    return "too small" if verdicts and set(verdicts) == {"no"} and not _untold(result) else "cannot tell"


def _answer(result: ResponseResult, confidence: float) -> str:
    if as_good := equivalence_headline(result, confidence):
        return as_good
    if result.findings and result.findings[0].kind == "scatter":
        return widest(result.findings[0], confidence)
    said = answer(result)
    if said == "cannot tell":
        return _open(result, confidence)
    if said == "too small":
        return _too_small(result)
    if best := surface_headline(result, confidence):
        return best
    if _asks_for_amount(result):
        return amount_to_use(result, confidence)
    return _what_mattered(result, confidence)


def _asks_for_amount(result: ResponseResult) -> bool:
    """Whether the answer is an amount to use rather than an effect."""
    dose = result.family.dose
    recommended = dose is not None and any(curve.recommended for curve in dose.curves)
    return answer(result) == "mattered" and recommended and bool(result.response.goal)


def _untold(result: ResponseResult) -> list[Finding]:
    return [finding for finding in result.findings if finding.kind == "cannot tell"]


def _open(result: ResponseResult, confidence: float) -> str:
    name, response = result.response.name, result.response
    untold = _untold(result)
    if untold and len(untold) == len(result.findings):
        why = because(untold[0])
        return f"{CANNOT_TELL} what moves {name}{f': {why}' if why else ''}"
    kinds = ("effect", *BENT)
    seen = [f for f in result.findings if f.kind in kinds and f.matters == "unsure" and leaves_out_zero(f)]
    if seen:
        told = moved if seen[0].kind == "effect" else lies_off
        return (
            f"{told(seen[0], response)}, but {CANNOT_TELL} if by {what_matters(response) or 'what matters'}: "
            f"{numbers_of(seen[0], confidence)}"
        )
    bent = {name for f in result.findings if f.kind in BENT and f.matters != "no" for name in f.variables}
    small = [
        varied(f) for f in result.findings if f.kind == "effect" and f.matters == "no" and f.variables[0] not in bent
    ]
    unsure = [varied(f) for f in result.findings if f.kind == "effect" and f.matters == "unsure"]
    tail = f"; what {_names(small)} did is smaller than {what_matters(response)}" if small else ""
    if len(unsure) == 1:
        return f"{CANNOT_TELL} if {unsure[0]} moves {name}{tail}"
    return f"{CANNOT_TELL} what moves {name}{tail}"


def _too_small(result: ResponseResult) -> str:
    tried = [varied(finding) for finding in result.findings if finding.kind == "effect"]
    return (
        f"what {_names(list(dict.fromkeys(tried))) or 'was tried'} did to {result.response.name} is smaller than "
        f"{what_matters(result.response)}"
    )


def _what_mattered(result: ResponseResult, confidence: float) -> str:
    response = result.response
    telling = [finding for finding in result.findings if finding.matters == "yes" and finding.kind != "equivalence"]
    first = telling[0]
    others = _other_variables(first, telling)
    too = f"; {_names(others)} mattered too" if others else ""
    if first.kind in BENT:
        return f"{lies_off(first, response)}: {_off(first, confidence)}{too}"
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


def _size(finding: Finding, confidence: float) -> str:
    step = half_width(finding.low, finding.high)
    size = with_unit(say_signed(finding.size or 0.0, step), finding.unit)
    return f"{from_to(finding)}{size} ({say_interval(finding.low, finding.high, confidence)})"


def _off(finding: Finding, confidence: float) -> str:
    step = half_width(finding.low, finding.high)
    size = with_unit(say_signed(finding.size or 0.0, step), finding.unit)
    return f"{size} ({say_interval(finding.low, finding.high, confidence)})"


def _change(finding: Finding, confidence: float) -> str:
    interval = say_interval(finding.low, finding.high, confidence)
    return interval.replace("interval", "interval of the gap", 1)


def _names(variables: Sequence[str]) -> str:
    if len(variables) <= _NAMED:
        return join_words(variables)
    return f"{', '.join(variables[:_NAMED])} and {len(variables) - _NAMED} more"
