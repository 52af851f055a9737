"""How is it said that a response lies off the straight line?

A bend over doses, a blend against its parts, centre points against the corners.
"""

from __future__ import annotations

from analysis.questions import Response
from analysis.results import Finding
from analysis.words.finding_parts import (
    CANNOT_TELL,
    beyond,
    from_to,
    leaves_out_zero,
    numbers_of,
    reservation,
    what_matters,
)
from analysis.words.numbers import (
    join_words,
)

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
        f"{lies_off(finding, response)}{reservation(finding, response)}: {size}{beyond(finding, response)}. Over "
        "which of them it bends, this trial cannot tell."
    )


def _side(finding: Finding) -> str:
    return f"lies {'above' if (finding.size or 0) > 0 else 'below'} what the corners foretell"


def say_bend(finding: Finding, response: Response, confidence: float) -> str:
    """The middle of the doses against the straight line between both ends."""
    variable, size = finding.variables[0], numbers_of(finding, confidence)
    span = from_to(finding).rstrip(", ")
    if finding.matters == "no":
        return f"over {variable} ({span}) {response.name} bends by less than {what_matters(response)}: {size}."
    if finding.matters != "yes" and not leaves_out_zero(finding):
        return f"{CANNOT_TELL} whether {response.name} bends over {variable} ({span}): {size}."
    return f"{lies_off(finding, response)}{reservation(finding, response)}: {size}{beyond(finding, response)}."


def say_blend(finding: Finding, response: Response, confidence: float) -> str:
    """An even blend against the straight line between its parts."""
    parts, size = join_words(finding.variables), numbers_of(finding, confidence)
    if finding.matters == "no":
        return f"an even blend of {parts} gives within {what_matters(response)} of what its parts give: {size}."
    if finding.matters != "yes" and not leaves_out_zero(finding):
        return f"{CANNOT_TELL} whether a blend of {parts} gives more or less {response.name} than its parts: {size}."
    return f"{lies_off(finding, response)}{reservation(finding, response)}: {size}{beyond(finding, response)}."
