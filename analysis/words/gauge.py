"""How is it said whether the measuring is good enough, whose scatter it is, and what to do?"""

from __future__ import annotations

import math
from collections.abc import Callable

from analysis.control.gauge.results import (
    GOOD,
    MEND,
    Component,
    GaugeAnswer,
    GaugeFinding,
    Share,
    WorthPoint,
)
from analysis.words.numbers import (
    say_amount,
    say_count,
    say_number,
    say_percent,
    say_share,
    with_unit,
)

LABELS = {
    "repeatability": "repeats by one person",
    "person": "between people",
    "person by piece": "people on some pieces",
    "reproducibility": "people, all in all",
    "gauge": "measuring, all in all",
    "piece": "between pieces",
    "total": "everything",
}
MEND_FIRST = "Mend the measuring before the recipe."
WISHED = 5  # groups of pieces: common practice, no source
MOST_ENDS = 10.0  # an interval that ends beyond 1000 % is said to have no useful end


def say_gauge_answer(answer: GaugeAnswer) -> tuple[str, ...]:
    """The headline, how sure it is, what it is made of, and what to do."""
    verdict, largest = (_found(answer, kind) for kind in ("verdict", "largest part"))
    said = [_headline(answer), _sureness(answer, verdict), _largest(answer, largest)]
    return tuple(line for line in [*said, *say_what_to_do(answer, largest)] if line)


def say_gauge_finding(finding: GaugeFinding, answer: GaugeAnswer) -> str:
    """One finding as a sentence or two."""
    return SAID[finding.kind](answer, finding)


def _found(answer: GaugeAnswer, kind: str) -> GaugeFinding:
    return next(finding for finding in answer.findings if finding.kind == kind)


def _headline(answer: GaugeAnswer) -> str:
    taken = say_percent(answer.judged.value)
    if answer.judged_by == "tolerance":
        of = f"takes up {taken} of the tolerance"
    else:
        of = f"makes up {taken} of the spread of all readings"
    if answer.verdict == "mend":
        return f"{MEND_FIRST} The measuring {of}; more than {say_percent(MEND)} is too much."
    if answer.verdict == "good":
        return f"The measuring is good: it {of}. Up to {say_percent(GOOD)} can be forgotten."
    return f"The measuring will do: it {of}. From {say_percent(GOOD)} to {say_percent(MEND)} is fair."


def _sureness(answer: GaugeAnswer, finding: GaugeFinding) -> str:
    share = say_share_interval(answer.judged, answer.question.confidence)
    if not share:
        return ""
    if finding.facts["sure"]:
        return f"The true share is {share}: the verdict stands."
    more = "more people" if 1 < len(answer.people) < 6 else "more pieces"
    return f"The true share is {share}. That leaves room for another verdict; {more} would tell."


def say_share_interval(share: Share, confidence: float) -> str:
    """ "15 % to 81 % (95 % interval)"; "" where neither end is known."""
    if share.low is None:
        return ""
    if share.high is None or share.high > MOST_ENDS:
        return f"{say_percent(share.low)} or more ({say_share(confidence)} interval)"
    return f"{say_percent(share.low)} to {say_percent(share.high)} ({say_share(confidence)} interval)"


def say_component(one: Component, unit: str) -> str:
    """Its SD to two digits: the spread of a spread does not carry more."""
    return say_amount(one.sd, unit, one.sd or None)


def say_component_ends(one: Component) -> str:
    """ "0.82 to 1.4", or "0.82 to no known end"."""
    ends = [None if sd is None else say_number(sd, sd or None) for sd in (one.sd_low, one.sd_high)]
    return f"{ends[0] or '–'} to {ends[1] or 'no known end'}"


def _largest(answer: GaugeAnswer, finding: GaugeFinding) -> str:
    used, unit = answer.used, answer.question.unit
    own = say_component(used.components["repeatability"], unit)
    if "reproducibility" not in used.components:
        return f"Readings of one person on the same piece scatter with an SD of {own}."
    people = say_component(used.components["reproducibility"], unit)
    if finding.variables == ("repeatability",):
        return f"Most of it is one person who reads the same piece again: SD {own}. People add {people}."
    return f"Most of it lies between people: SD {people}. One person who reads a piece again adds {own}."


def say_what_to_do(answer: GaugeAnswer, largest: GaugeFinding) -> tuple[str, ...]:
    """The first steps; none where the measuring is good."""
    if answer.verdict == "good":
        return ()
    if largest.variables == ("repeatability",):
        steps = ["Read each piece more than once and take the mean, always at the same spot and in the same way."]
        steps += ["A finer scale may help too."] if _is_coarse(answer) else []
    else:
        steps = ["Agree on one way to measure, try it on the same pieces, and check that people then agree."]
        steps += ["Until then let one person read all bakes of a trial."]
    return tuple(steps)


def _is_coarse(answer: GaugeAnswer) -> bool:
    return any(check.check == "scale step" and check.verdict != "fine" for check in answer.checks)


def _people(answer: GaugeAnswer, finding: GaugeFinding) -> str:
    high, low = finding.variables
    unit, size = answer.question.unit, finding.size or 0.0
    ends = _ends(finding.low, finding.high, unit, answer.question.confidence)
    step = _half(finding)
    if finding.verdict == "yes":
        return f"{high} reads higher than {low}, by {say_amount(size, unit, step)}{ends}."
    if size <= 0:
        return "All people read alike on average."
    return f"{high} read {say_amount(size, unit, step)} higher than {low}, but chance may have done that{ends}."


def _half(finding: GaugeFinding) -> float | None:
    if finding.low is None or finding.high is None:
        return None
    return min((finding.high - finding.low) / 2, abs(finding.size or 0.0)) or None


def _ends(low: float | None, high: float | None, unit: str, confidence: float) -> str:
    if low is None or high is None:
        return ""
    step = (high - low) / 2
    ends = f"{say_number(low, step)} to {with_unit(say_number(high, step), unit)}"
    return f" ({say_share(confidence)} interval {ends})"


def _nothing(answer: GaugeAnswer, finding: GaugeFinding) -> str:
    what = {
        "person": "No spread between people was seen beyond chance",
        "person by piece": "Nobody was seen to read some pieces higher than others do",
        "piece": "The pieces were not seen to differ beyond what the measuring scatters",
    }[finding.variables[0]]
    most = "" if finding.high is None else f", and may be up to {say_amount(finding.high, answer.question.unit)}"
    return f"{what}. Its SD is set to 0{most}."


def _odd(answer: GaugeAnswer, finding: GaugeFinding) -> str:
    unit, facts = answer.question.unit, finding.facts
    who, piece = finding.variables
    value, others = say_amount(facts["value"], unit), say_amount(facts["expected"], unit, _repeats(answer))
    if facts["pair"]:
        both = f"the two readings of piece {piece} by {who} lie far apart ({value} and {others})"
        return f"Row {facts['row']}: {both}. Check them."
    rest = f"the other readings of {who} say {others}"
    return f"Row {facts['row']}: {who} read {value} on piece {piece}, where {rest}. Check it."


def _repeats(answer: GaugeAnswer) -> float:
    return answer.used.components["repeatability"].sd


def _classes(_: GaugeAnswer, finding: GaugeFinding) -> str:
    groups = math.floor(finding.size or 0.0)
    if groups < 2:
        return "The measuring cannot sort these pieces even into two groups."
    wish = "" if groups >= WISHED else f"; {WISHED} or more are wished for"
    return f"The measuring can sort these pieces into {groups} groups{wish}."


def _worth(answer: GaugeAnswer, finding: GaugeFinding) -> str:
    worth, unit = answer.worth, answer.question.unit
    one, enough = _point(answer, 1), _point(answer, worth.enough)
    if worth.enough == 1:
        said = (
            "In a trial one reading of each bake is enough. Bakes differ so much that a second one narrows the SD of a "
            "bake's mean by less than 5 %."
        )
    else:
        said = (
            f"Take {worth.enough} readings of each bake: the SD of a bake's mean falls from {_three(one.sd)} to "
            f"{with_unit(_three(enough.sd), unit)}. One more gains less than 5 %."
        )
    if worth.people > 1:
        said += f" {say_count(worth.people, 'person', 'people').capitalize()} who each read so help more than one."
    if worth.anyone_sd is not None and worth.anyone_sd > 1.02 * one.sd:
        said += (
            f" Let the same people read every bake: with whoever is there one reading has an SD of "
            f"{_three(worth.anyone_sd)} in place of {with_unit(_three(one.sd), unit)}."
        )
    return said


def _three(sd: float) -> str:
    return say_number(sd, sd / 10)


def _point(answer: GaugeAnswer, readings: int) -> WorthPoint:
    return next(point for point in answer.worth.points if point.people == 1 and point.readings == readings)


SAID: dict[str, Callable[[GaugeAnswer, GaugeFinding], str]] = {
    "verdict": lambda answer, finding: _headline(answer),
    "largest part": _largest,
    "people differ": _people,
    "nothing seen": _nothing,
    "odd reading": _odd,
    "classes": _classes,
    "readings worth": _worth,
}
