"""How is a finding said?

Direction, size, unit, interval, then the verdict against the difference that matters.

Facts that the sentences use beside those of ``finding_parts``, all optional: ``bends`` (the model holds a bend
or blends of it), ``within_margin`` (as good as that was shown); for an interaction ``of``, ``of_unit``,
``by``, ``by_from``, ``by_to``, ``by_unit``, ``effect_at_from``, ``effect_at_to``; for "cannot tell" ``because``,
``with``, ``why``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from analysis.questions import Response
from analysis.results import Finding
from analysis.words.bends import say_bend, say_blend, say_centre
from analysis.words.dose_findings import say_best_dose, say_curves_differ, say_recommended_dose
from analysis.words.finding_parts import (
    CANNOT_TELL,
    alias,
    beyond,
    from_to,
    leaves_out_zero,
    moved,
    numbers_of,
    reservation,
    say_term,
    varied,
    what_matters,
)
from analysis.words.numbers import (
    half_width,
    join_words,
    number_shown,
    say_digits,
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


def say_finding(finding: Finding, response: Response, confidence: float = 0.95) -> str:
    """One finding as one sentence. An unknown kind gets a plain sentence with its numbers."""
    say = KINDS.get(finding.kind, _plain)
    return start(say(finding, response, confidence))


def _effect(finding: Finding, response: Response, confidence: float) -> str:
    variable = finding.variables[0]
    size = f"{from_to(finding)}{numbers_of(finding, confidence)}{as_ratio(finding, confidence)}"
    if finding.matters == "no":
        return f"{_too_small(finding, response)}: {size}{alias(finding)}."
    if finding.direction == "hump":
        tail = beyond(finding, response) if finding.matters == "yes" else f"; {CANNOT_TELL} whether that matters"
        turned = "fell and rose again" if finding.facts.get("turn") == "down" else "rose and fell again"
        return f"{response.name} {turned} as {variable} went up: {size}{tail}."
    if finding.facts.get("within_margin") and finding.matters != "yes":
        return f"what {variable} did to {response.name}, {size}, lies within the margin{alias(finding)}."
    if finding.matters != "yes" and not leaves_out_zero(finding):
        would = with_unit(say_level(response.matters), response.unit) if response.matters else ""
        would = f"; {would} would matter" if would else ""
        return f"{CANNOT_TELL} whether {varied(finding)} moves {response.name}: {size}{would}{alias(finding)}."
    return (
        f"{moved(finding, response)}{reservation(finding, response)}: "
        f"{size}{beyond(finding, response)}{alias(finding)}."
    )


def _too_small(finding: Finding, response: Response) -> str:
    """``bends``: only the ends were compared, and between them the response may go another way."""
    if finding.facts.get("bends"):
        change = f"{finding.variables[0]} changes {response.name} by less than {what_matters(response)}"
        return f"from its lowest to its highest, {change}"
    return f"any difference that {varied(finding)} makes to {response.name} is smaller than {what_matters(response)}"


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
        f"the effect of {first} on {response.name} depends on {others}{reservation(finding, response)}: "
        f"{size}{beyond(finding, response)}{alias(finding)}."
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


KINDS: dict[str, Callable[[Finding, Response, float], str]] = {
    "effect": _effect,
    "interaction": _interaction,
    "bend": say_bend,
    "blend": say_blend,
    "best dose": say_best_dose,
    "recommended dose": say_recommended_dose,
    "curves differ": say_curves_differ,
    "cannot tell": _cannot_tell,
    "equivalence": _equivalence,
    "scatter": say_widest,
    "centre": say_centre,
}
