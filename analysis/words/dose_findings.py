"""How is it said which dose is best, which is enough, and whether curves differ?

Facts that are read, all optional: ``level`` (of the curve), ``within`` and ``within_from`` (what stands in for a
difference that matters); for curves ``a``, ``b``, ``from`` and ``to`` (where their gap changes most).
"""

from __future__ import annotations

from analysis.questions import Response
from analysis.results import Finding
from analysis.words.finding_parts import (
    CANNOT_TELL,
    beyond,
    leaves_out_zero,
    numbers_of,
    reservation,
    unit_of,
    what_matters,
)
from analysis.words.numbers import (
    half_width,
    join_words,
    say_dose,
    say_dose_interval,
    say_level,
    say_number,
    with_unit,
    with_warmth,
)


def say_best_dose(finding: Finding, response: Response, confidence: float) -> str:
    variable, unit = finding.variables[0], unit_of(finding) or finding.unit
    best = {"minimise": "lowest", "target": "nearest its target"}.get(response.goal or "", "highest")
    return (
        f"{response.name}{_with_level(finding)} was {best} at {_dose(finding, unit)} of {variable} "
        f"({_dose_interval(finding, confidence)})."
    )


def say_recommended_dose(finding: Finding, response: Response, confidence: float) -> str:
    variable, unit = finding.variables[0], unit_of(finding) or finding.unit
    best = "best" if response.goal else "highest"
    interval = _dose_interval(finding, confidence)
    return (
        f"{_dose(finding, unit)} of {variable}{_with_level(finding)} is the smallest amount whose "
        f"{response.name} lies within {_within(finding, response)} of the {best} ({interval})."
    )


def _within(finding: Finding, response: Response) -> str:
    """The difference that matters, else the share of the curve's span that stands in for it."""
    within = finding.facts.get("within")
    if response.matters or within is None:
        return what_matters(response) or "what can be told apart"
    return f"{with_unit(say_number(within, within), response.unit)} ({finding.facts.get('within_from', 'assumed')})"


def _dose(finding: Finding, unit: str) -> str:
    return with_warmth(say_dose(finding.size or 0.0, finding.low, finding.high), unit)


def _dose_interval(finding: Finding, confidence: float) -> str:
    if finding.low is not None and finding.high is not None and half_width(finding.low, finding.high) is None:
        return "the shape alone fixes it"  # a straight line comes within a share of its span at the same dose always
    said = say_dose_interval(finding.low, finding.high, confidence) or "the bakes do not close its interval"
    return f"{said}, cut off at 0" if finding.kind == "best dose" and finding.low == 0 else said


def _with_level(finding: Finding) -> str:
    return f" with {finding.facts['level']}" if finding.facts.get("level") else ""


def say_curves_differ(finding: Finding, response: Response, confidence: float) -> str:
    dose, by = finding.variables[0], join_words(finding.variables[1:]) or "the groups"
    size = _gap_change(finding, confidence)
    if finding.matters == "no":
        return f"{response.name} follows {dose} alike for every {by}, to less than {what_matters(response)}{size}."
    if finding.matters == "unsure" and leaves_out_zero(finding):
        return f"{response.name} follows {dose} differently for each {by}{reservation(finding, response)}{size}."
    if finding.matters == "unsure":
        return f"{CANNOT_TELL} whether {response.name} follows {dose} differently for each {by}{size}."
    return f"{response.name} follows {dose} differently for each {by}{size}{beyond(finding, response)}."


def _gap_change(finding: Finding, confidence: float) -> str:
    """ ": the gap between yogurt and lemon juice changes by 6.1 mm (…) from 0.5 to 2.5 % flour"."""
    facts = finding.facts
    if finding.size is None:
        return ""
    size = numbers_of(finding, confidence, signed=False)
    if not {"a", "b", "from", "to"} <= set(facts):
        return f": by up to {size}"
    ends = f"{say_level(facts['from'])} to {say_level(facts['to'])}"
    span = f"from {with_warmth(ends, unit_of(finding))}"
    return f": the gap between {facts['a']} and {facts['b']} changes by {size} {span}"
