"""What do the sentences of all findings share?

Size with unit and interval, from where to where, how it compares with the difference that
matters, and what it cannot be told from. A wide interval is never read as "no effect": either any
difference is smaller than what matters, or this trial cannot tell.

Facts that are read, all optional: ``from`` and ``to`` (levels the size goes between), ``at`` (where
along the dose), ``factor_kind``, ``factor_unit``, ``method`` (of the interval), ``aliased_with``,
``reference`` (each level was compared with it).
"""

from __future__ import annotations

import re

from analysis.questions import Response
from analysis.results import Finding
from analysis.words.numbers import (
    half_width,
    join_words,
    say_interval,
    say_level,
    say_number,
    say_signed,
    with_unit,
    with_warmth,
)

CANNOT_TELL = "this trial cannot tell"
# How an interval was made, where that is worth a word; a plain t interval is not.
METHODS = {
    "Tukey-Kramer": "adjusted for comparing every pair",
    "Dunnett": "adjusted for comparing each with the reference",
    "Holm": "adjusted step by step; intervals by Bonferroni",
    "Bonferroni": "adjusted by the number of comparisons",
    "Scheffé": "adjusted for every contrast there could be",
    "Games-Howell": "adjusted for comparing every pair, each with its own scatter",
    "max t": "adjusted for taking the largest of several",
    "Lenth": "judged against the small effects",
}
POWERS = {"^2": " squared", "^3": " cubed", "^4": " to the fourth"}
_POWER = re.compile(r"\^[234](?=:|$)")
_JOINED = re.compile(r"(?<!\d):|:(?!\d)")  # the colon of a time of day, 10:30, joins nothing


def unit_of(finding: Finding) -> str:
    return str(finding.facts.get("factor_unit", ""))


def is_amount(finding: Finding) -> bool:
    return finding.facts.get("factor_kind") == "amount"


def what_matters(response: Response) -> str:
    """ "the 3 mm that matters"; empty when none was given."""
    if not response.matters:
        return ""
    if not response.unit:
        return f"the difference of {say_level(response.matters)} that matters"
    return f"the {with_unit(say_level(response.matters), response.unit)} that matters"


def leaves_out_zero(finding: Finding) -> bool:
    return finding.low is not None and finding.high is not None and (finding.low > 0 or finding.high < 0)


def numbers_of(finding: Finding, confidence: float, *, signed: bool = True) -> str:
    """ "+8.2 mm (95 % interval 3.1 to 13.3)"."""
    if finding.size is None:
        return "size not known"
    step = half_width(finding.low, finding.high)
    size = (say_signed if signed else say_number)(finding.size, step)
    return f"{with_unit(size, finding.unit)} ({_interval(finding, confidence)})"


def _interval(finding: Finding, confidence: float) -> str:
    if finding.low is None and finding.high is None:
        return "no interval, for want of anything to judge it against"
    said = METHODS.get(str(finding.facts.get("method", "")), "")
    return say_interval(finding.low, finding.high, confidence) + (f", {said}" if said else "")


def varied(finding: Finding) -> str:
    """ "acid", or "another acid than yogurt" where all were compared with one reference and not with each other."""
    reference = finding.facts.get("reference")
    return f"another {finding.variables[0]} than {reference}" if reference else finding.variables[0]


def from_to(finding: Finding) -> str:
    """ "from 0.5 to 2.5 % flour, " or "yogurt against lemon juice, "."""
    if "from" not in finding.facts or "to" not in finding.facts:
        return ""
    said = say_number if finding.direction == "hump" else say_level  # a turning point is estimated, not set
    first, second = said(finding.facts["from"]), said(finding.facts["to"])
    if is_amount(finding):
        return f"from {with_warmth(f'{first} to {second}', unit_of(finding))}, "
    return f"{second} against {first}{_at_dose(finding)}, "


def _at_dose(finding: Finding) -> str:
    """ " at soda 0.5": where along the dose the largest difference lies."""
    at = finding.facts.get("at", {})
    return f" at {join_words([f'{name} {say_level(level)}' for name, level in at.items()])}" if at else ""


def moved(finding: Finding, response: Response) -> str:
    """ "more soda raised rise height"."""
    variable = finding.variables[0]
    if not is_amount(finding):
        return f"{variable} changed {response.name}"
    return f"more {variable} {'raised' if (finding.size or 0) > 0 else 'lowered'} {response.name}"


def reservation(finding: Finding, response: Response) -> str:
    if finding.matters == "yes":
        return ""
    return f", but {CANNOT_TELL} whether by as much as {what_matters(response) or 'would matter'}"


def beyond(finding: Finding, response: Response) -> str:
    return f", more than {what_matters(response)}" if finding.matters == "yes" and response.matters else ""


def alias(finding: Finding) -> str:
    """ "; it cannot be told from oven": what changed together with it in every bake."""
    others = finding.facts.get("aliased_with", ())
    return f"; it cannot be told from {join_words([say_term(term) for term in others], 'or')}" if others else ""


def say_term(term: str) -> str:
    """ "soda:acid source" as "soda with acid source", "soda^2" as "soda squared"."""
    said = _POWER.sub(lambda power: POWERS[power[0]], term)
    return _JOINED.sub(" with ", said)
