"""How is a finding said?

Direction, size, unit, interval, then the verdict against the difference that
matters. A wide interval is never read as "no effect": either any difference is
smaller than what matters, or this trial cannot tell.

Facts that the sentences use, all optional: ``from`` and ``to`` (levels the size
goes between), ``factor_kind``, ``factor_unit``, ``method`` (of the interval),
``aliased_with``, ``bends`` (the model holds a bend or blends of it), ``reference`` (each level was
compared with it), ``within_margin`` (as good as that was shown); for an interaction ``of``, ``of_unit``,
``by``, ``by_from``, ``by_to``, ``by_unit``, ``effect_at_from``, ``effect_at_to``;
for a dose ``level``; for "cannot tell" ``because``, ``with``, ``why``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from analysis.questions import Response
from analysis.results import Finding
from analysis.words.numbers import (
    half_width,
    join_words,
    number_shown,
    say_digits,
    say_dose,
    say_dose_interval,
    say_interval,
    say_level,
    say_number,
    say_signed,
    start,
    with_unit,
    with_warmth,
)
from analysis.words.ratios import as_ratio
from analysis.words.scatter import say_widest

CANNOT_TELL = "this trial cannot tell"
POWERS = {"^2": " squared", "^3": " cubed", "^4": " to the fourth"}
_POWER = re.compile(r"\^[234](?=:|$)")
_JOINED = re.compile(r"(?<!\d):|:(?!\d)")  # the colon of a time of day, 10:30, joins nothing


def say_finding(finding: Finding, response: Response, confidence: float = 0.95) -> str:
    """One finding as one sentence. An unknown kind gets a plain sentence with its numbers."""
    say = KINDS.get(finding.kind, _plain)
    return start(say(finding, response, confidence))


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


def _effect(finding: Finding, response: Response, confidence: float) -> str:
    variable = finding.variables[0]
    size = f"{from_to(finding)}{numbers_of(finding, confidence)}{as_ratio(finding, confidence)}"
    if finding.matters == "no":
        return f"{_too_small(finding, response)}: {size}{alias(finding)}."
    if finding.direction == "hump":
        tail = _beyond(finding, response) if finding.matters == "yes" else f"; {CANNOT_TELL} whether that matters"
        turned = "fell and rose again" if finding.facts.get("turn") == "down" else "rose and fell again"
        return f"{response.name} {turned} as {variable} went up: {size}{tail}."
    if finding.facts.get("within_margin") and finding.matters != "yes":
        return f"what {variable} did to {response.name}, {size}, lies within the margin{alias(finding)}."
    if finding.matters != "yes" and not leaves_out_zero(finding):
        would = with_unit(say_level(response.matters), response.unit) if response.matters else ""
        would = f"; {would} would matter" if would else ""
        return f"{CANNOT_TELL} whether {varied(finding)} moves {response.name}: {size}{would}{alias(finding)}."
    return (
        f"{moved(finding, response)}{_reservation(finding, response)}: "
        f"{size}{_beyond(finding, response)}{alias(finding)}."
    )


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


def _too_small(finding: Finding, response: Response) -> str:
    """``bends``: only the ends were compared, and between them the response may go another way."""
    if finding.facts.get("bends"):
        change = f"{finding.variables[0]} changes {response.name} by less than {what_matters(response)}"
        return f"from its lowest to its highest, {change}"
    return f"any difference that {varied(finding)} makes to {response.name} is smaller than {what_matters(response)}"


def _reservation(finding: Finding, response: Response) -> str:
    if finding.matters == "yes":
        return ""
    return f", but {CANNOT_TELL} whether by as much as {what_matters(response) or 'would matter'}"


def _beyond(finding: Finding, response: Response) -> str:
    return f", more than {what_matters(response)}" if finding.matters == "yes" and response.matters else ""


def alias(finding: Finding) -> str:
    """ "; it cannot be told from oven": what changed together with it in every bake."""
    others = finding.facts.get("aliased_with", ())
    return f"; it cannot be told from {join_words([say_term(term) for term in others], 'or')}" if others else ""


def say_term(term: str) -> str:
    """ "soda:acid source" as "soda with acid source", "soda^2" as "soda squared"."""
    said = _POWER.sub(lambda power: POWERS[power[0]], term)
    return _JOINED.sub(" with ", said)


def _interaction(finding: Finding, response: Response, confidence: float) -> str:
    facts = finding.facts
    if facts.get("times"):
        return say_times(finding, response, confidence)
    first = str(facts.get("of", finding.variables[0]))
    others = join_words([variable for variable in finding.variables if variable != first])
    if facts.get("shares"):
        others = f"the blend of {join_words(facts['shares'])}, most of all on its {others}"
    both = two_effects(finding)
    size = f"{both}, a change of {numbers_of(finding, confidence)}" if both else numbers_of(finding, confidence)
    if finding.matters == "no":
        size = numbers_of(finding, confidence)
        return (
            f"any change in the effect of {first} on {response.name} with {others} is smaller than "
            f"{what_matters(response)}: {size}{alias(finding)}."
        )
    if finding.matters != "yes" and not leaves_out_zero(finding):
        return (
            f"{CANNOT_TELL} whether the effect of {first} on {response.name} depends on {others}: "
            f"{size}{alias(finding)}."
        )
    return (
        f"the effect of {first} on {response.name} depends on {others}{_reservation(finding, response)}: "
        f"{size}{_beyond(finding, response)}{alias(finding)}."
    )


def say_times(finding: Finding, response: Response, confidence: float) -> str:
    """An interaction on the scale of logarithms, where effects are ratios."""
    of = str(finding.facts.get("of", finding.variables[0]))
    others = join_words([variable for variable in finding.variables if variable != of])
    size, low, high = finding.facts["times"]
    interval = "" if low is None else f" ({say_interval(low, high, confidence)})"
    ratio = f"{two_effects(finding)}, the one {say_number(size, half_width(low, high))} times the other{interval}"
    if finding.matters == "yes":
        return f"the ratio by which {of} changes {response.name} depends on {others}: {ratio}{alias(finding)}."
    return (
        f"{CANNOT_TELL} whether the ratio by which {of} changes {response.name} depends on {others}: "
        f"{ratio}{alias(finding)}."
    )


def two_effects(finding: Finding) -> str:
    """ "+3.1 mm with lemon juice, +9.2 mm with yogurt"; empty when the two are not known."""
    facts = finding.facts
    if facts.get("effect_at_from") is None or facts.get("effect_at_to") is None:
        return ""
    step, unit = half_width(finding.low, finding.high), str(facts.get("by_unit", ""))
    if facts.get("times"):
        first, second = (
            f"{say_digits(facts[f'effect_at_{end}'], 3)} times with {_at(facts, end, unit)}" for end in ("from", "to")
        )
        return f"{first} but {second}"
    said = [
        f"{with_unit(say_signed(facts[f'effect_at_{end}'], step), finding.unit)} with {_at(facts, end, unit)}"
        for end in ("from", "to")
    ]
    # Rounded to the same size, "+3 mm but +3 mm" says nothing; the change itself is said beside it.
    if said[0].partition(" with ")[0] == said[1].partition(" with ")[0]:
        return ""
    return f"{said[0]} but {said[1]}"


def _at(facts: Mapping[str, Any], end: str, unit: str) -> str:
    """ "yogurt", or "oven at 170 °C" for an amount (whose levels may come as text)."""
    level = say_level(facts[f"by_{end}"])
    if number_shown(level) is None:
        return level
    return f"{facts['by']} at {with_warmth(level, unit)}"


def _best_dose(finding: Finding, response: Response, confidence: float) -> str:
    variable, unit = finding.variables[0], unit_of(finding) or finding.unit
    best = {"minimise": "lowest", "target": "nearest its target"}.get(response.goal or "", "highest")
    return (
        f"{response.name}{_with_level(finding)} was {best} at {_dose(finding, unit)} of {variable} "
        f"({_dose_interval(finding, confidence)})."
    )


def _recommended_dose(finding: Finding, response: Response, confidence: float) -> str:
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


def _curves_differ(finding: Finding, response: Response, confidence: float) -> str:
    dose, by = finding.variables[0], join_words(finding.variables[1:]) or "the groups"
    size = _gap_change(finding, confidence)
    if finding.matters == "no":
        return f"{response.name} follows {dose} alike for every {by}, to less than {what_matters(response)}{size}."
    if finding.matters == "unsure" and leaves_out_zero(finding):
        return f"{response.name} follows {dose} differently for each {by}{_reservation(finding, response)}{size}."
    if finding.matters == "unsure":
        return f"{CANNOT_TELL} whether {response.name} follows {dose} differently for each {by}{size}."
    return f"{response.name} follows {dose} differently for each {by}{size}{_beyond(finding, response)}."


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


def _cannot_tell(finding: Finding, response: Response, confidence: float) -> str:
    what = join_words(finding.variables) if finding.variables else "what was changed"
    why = because(finding)
    moves = "move" if len(finding.variables) > 1 else "moves"
    return f"{CANNOT_TELL} whether {what} {moves} {response.name}{f': {why}' if why else ''}."


def because(finding: Finding) -> str:
    facts = finding.facts
    others = join_words([f'"{say_term(other)}"' for other in facts.get("with", ())])
    if facts.get("because") == "entangled":
        return f"in these bakes it changed together with {others or 'something else'}"
    if facts.get("because") == "constant":
        return "every bake gave the same value"
    if facts.get("because") == "whole plots":
        return "it changed only between groups of bakes, and there are too few groups to judge it"
    return str(facts.get("why", facts.get("because", ""))).rstrip(".")


def _equivalence(finding: Finding, response: Response, confidence: float) -> str:
    from analysis.words.equivalence import say_equivalence

    return say_equivalence(finding, response, confidence)


def _plain(finding: Finding, response: Response, confidence: float) -> str:
    about = join_words(finding.variables) or "the trial"
    return f"{finding.kind} of {about} on {response.name}: {numbers_of(finding, confidence)}."


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


BENT = ("bend", "blend", "centre")  # kinds that say how far something lies off a straight line


def lies_off(finding: Finding, response: Response) -> str:
    """ "in the middle of the soda range (from 0.5 to 2.5 %) rise lies above the straight line"."""
    positive = (finding.size or 0) > 0
    if finding.kind == "blend":
        more = "more" if positive else "less"
        return (
            f"an even blend of {join_words(finding.variables)} gives {more} {response.name} than the mean of its parts"
        )
    if finding.kind == "centre":
        return f"half way along {join_words(finding.variables)} {response.name} {_side(finding)}"
    span = from_to(finding).rstrip(", ")
    return (
        f"in the middle of the {finding.variables[0]} range ({span}) {response.name} lies "
        f"{'above' if positive else 'below'} the straight line"
    )


def say_centre(finding: Finding, response: Response, confidence: float) -> str:
    """The bakes at the middle of all amounts against the plane through the corners."""
    size, amounts = numbers_of(finding, confidence), join_words(finding.variables)
    if finding.matters == "no":
        return f"half way along {amounts} {response.name} bends by less than {what_matters(response)}: {size}."
    if finding.matters != "yes" and not leaves_out_zero(finding):
        return f"{CANNOT_TELL} whether {response.name} bends half way along {amounts}: {size}."
    return (
        f"{lies_off(finding, response)}{_reservation(finding, response)}: {size}{_beyond(finding, response)}. Over "
        "which of them it bends, this trial cannot tell."
    )


def _side(finding: Finding) -> str:
    return f"lies {'above' if (finding.size or 0) > 0 else 'below'} what the corners foretell"


def _bend(finding: Finding, response: Response, confidence: float) -> str:
    """The middle of the doses against the straight line between both ends."""
    variable, size = finding.variables[0], numbers_of(finding, confidence)
    span = from_to(finding).rstrip(", ")
    if finding.matters == "no":
        return f"over {variable} ({span}) {response.name} bends by less than {what_matters(response)}: {size}."
    if finding.matters != "yes" and not leaves_out_zero(finding):
        return f"{CANNOT_TELL} whether {response.name} bends over {variable} ({span}): {size}."
    return f"{lies_off(finding, response)}{_reservation(finding, response)}: {size}{_beyond(finding, response)}."


def _blend(finding: Finding, response: Response, confidence: float) -> str:
    """An even blend against the straight line between its parts."""
    parts, size = join_words(finding.variables), numbers_of(finding, confidence)
    if finding.matters == "no":
        return f"an even blend of {parts} gives within {what_matters(response)} of what its parts give: {size}."
    if finding.matters != "yes" and not leaves_out_zero(finding):
        return f"{CANNOT_TELL} whether a blend of {parts} gives more or less {response.name} than its parts: {size}."
    return f"{lies_off(finding, response)}{_reservation(finding, response)}: {size}{_beyond(finding, response)}."


KINDS: dict[str, Callable[[Finding, Response, float], str]] = {
    "effect": _effect,
    "interaction": _interaction,
    "bend": _bend,
    "blend": _blend,
    "best dose": _best_dose,
    "recommended dose": _recommended_dose,
    "curves differ": _curves_differ,
    "cannot tell": _cannot_tell,
    "equivalence": _equivalence,
    "scatter": say_widest,
    "centre": say_centre,
}
