"""How is it said where the scatter lies, and what is doubtful about it?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from analysis.questions import Response
from analysis.results import Finding
from analysis.words.numbers import half_width, join_words, say_interval, say_level, say_number, start, with_unit
from analysis.words.plurals import one_of, several

Facts = Mapping[str, Any]


def say_scatter(part: Any, about: Any, question: Any) -> tuple[str, ...]:
    """One sentence for each kind of group, coarse ones first, then what is left."""
    scale = about.family.model.transform
    unit = "" if scale else about.response.unit
    said = [_line(part, line, unit, part.confidence) for line in part.lines]
    if scale:
        from analysis.words.trust_checks import SCALES

        share = f", where {say_level(0.01)} is about 1 %" if scale == "log" else ""
        said.append(f"these sizes stand on the scale of the {SCALES.get(scale, scale)}{share}.")
    return tuple(start(sentence) for sentence in said)


def _line(part: Any, line: Any, unit: str, confidence: float) -> str:
    if line.slope_of:
        return (
            f"the effect of {line.slope_of} differs from {spoken(line.group)} to {spoken(line.group)} by about "
            f"{_size(line, unit)} per unit of {line.slope_of} (SD{_interval(line, confidence)})."
        )
    inside = f" of one {spoken(line.within)}" if line.within else ""
    who = part.smallest if line.group == "residual" else units(line.group)
    if line.boundary:
        return (
            f"the estimate of scatter between {who}{inside} is zero: they differ no more than what lies in them does."
        )
    zeros = dict(part.zeros)
    at = "".join(f"; compared at {name} {say_number(value)}" for name, value in zeros.items() if value)
    at = at if line.groups and any(other.slope_of and other.group == line.group for other in part.lines) else ""
    return f"{who}{inside} differ by about {_size(line, unit)} (SD{_interval(line, confidence)}{at})."


def say_widest(finding: Finding, response: Response, confidence: float) -> str:
    """The finding of a study of variances: the widest scatter, what lies within, and the mean."""
    facts = finding.facts
    step = half_width(facts.get("mean_low"), facts.get("mean_high"))
    mean = with_unit(say_number(facts.get("mean"), step), finding.unit)
    told = say_interval(facts.get("mean_low"), facts.get("mean_high"), confidence)
    return f"{widest(finding, confidence)}. The mean {response.name} is {mean}{f' ({told})' if told else ''}."


def widest(finding: Finding, confidence: float) -> str:
    """ "days differ by about 2.1 mm (SD, 95 % interval …), beside 1.4 mm between bakes"."""
    group = several(spoken(finding.variables[0]))
    smallest = finding.facts.get("smallest", "bakes")
    own = with_unit(say_number(finding.facts.get("smallest_sd")), finding.unit)
    if not finding.size:
        return f"{group} show no scatter of their own beside the {own} (SD) between {smallest}"
    told = _interval(finding, finding.facts.get("confidence", confidence))
    size = with_unit(say_number(finding.size), finding.unit)
    return f"{group} differ by about {size} (SD{told}), beside {own} between {smallest}"


def units(group: str) -> str:
    """ "recipes" for "replicate+recipe", whose replicate is named beside it."""
    return several(group.rpartition("+")[2])


def spoken(group: str) -> str:
    """ "day+oven" as it is read aloud: oven within day."""
    parts = group.split("+")
    return group if len(parts) == 1 else f"{parts[-1]} within {' and '.join(parts[:-1])}"


def _size(line: Any, unit: str) -> str:
    step = half_width(line.low, line.high)
    return with_unit(say_number(line.sd, step and min(step, line.sd or step)), unit)


def _interval(line: Any, confidence: float) -> str:
    if line.low is None and line.high is None:
        return ""
    return f", {say_interval(line.low, line.high, confidence)}"


def _zero(facts: Facts, fine: bool) -> str:
    group = spoken(str(facts.get("group", "groups")))
    tail = (
        "The tests keep its own error all the same, which stays right where groups are alike."
        if facts.get("exact")
        else "What was set for whole groups is still judged on as few degrees of freedom as there are groups for."
    )
    return (
        f"the estimate of scatter between {several(group)} is zero: they differ less than chance alone would do. {tail}"
    )


def _slope_edge(facts: Facts, fine: bool) -> str:
    return (
        f"whether the effect varies between groups ({facts.get('group', 'slope')}) cannot be told from these rows: its "
        "scatter, or how it goes along with the groups' level, was found at the edge of what is possible."
    )


def _group_left_out(facts: Facts, fine: bool) -> str:
    group = spoken(str(facts.get("group", "a group")))
    why = str(facts.get("why", "")).rstrip(".")
    told = f": {why}" if why else ""
    return f"the scatter between {several(group)} cannot be told from the rest and was left out{told}."


def _few_groups(facts: Facts, fine: bool) -> str:
    group, count = spoken(str(facts.get("group", "group"))), facts.get("groups", 2)
    return (
        f"{count} {several(group)} are too few to say how far {several(group)} scatter, so they were taken as a block: "
        "the answer holds for these, and whether it does for others stays open."
    )


def _slope_left_out(facts: Facts, fine: bool) -> str:
    amount, group = facts.get("amount", "the amount"), spoken(str(facts.get("group", "group")))
    if facts.get("because") == "few":
        return f"{facts.get('groups', 2)} {several(group)} are too few to say how the effect of {amount} varies."
    return (
        f"{amount} hardly changes within {one_of(group)}, so how its effect varies between {several(group)} cannot be "
        "told."
    )


def _not_settled(facts: Facts, fine: bool) -> str:
    return "the search for the variances did not settle; sizes of scatter and degrees of freedom are rough."


def _confounded(facts: Facts, fine: bool) -> str:
    """``terms`` were set for whole groups, and no group is left over to judge them by."""
    terms, group = facts.get("terms", ()), spoken(str(facts.get("group", "group")))
    return (
        f"{join_words(list(terms))} changed only from {group} to {group}, with too few {several(group)} to tell the "
        f"effect from what {several(group)} do anyway. Bake each level in two or more of them."
    )


SCATTER_CHECKS: dict[str, Callable[[Facts, bool], str]] = {
    "no scatter between groups": _zero,
    "slope at the edge": _slope_edge,
    "group left out": _group_left_out,
    "too few groups": _few_groups,
    "slope left out": _slope_left_out,
    "not settled": _not_settled,
    "set with the group": _confounded,
}
