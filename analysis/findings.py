"""What matters most?

Takes the evidence of the families, unranked, and puts it in the order in which
a baker should read it. Sizes and intervals stay numbers; ``analysis.words``
makes the sentences.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from statistics import median

from analysis.questions import Response
from analysis.results import Finding, Matters

# Kinds that say how one variable acts depending on another.
JOINT = ("interaction", "curves differ")
# Kinds whose size is a dose: they follow the finding about that dose, whatever their number.
DOSES = ("best dose", "recommended dose")
_VERDICTS: tuple[Matters, ...] = ("yes", "unsure", "no")


def judge(low: float | None, high: float | None, matters: float | None) -> Matters:
    """Does the interval from ``low`` to ``high`` clear the difference that matters?

    Wholly outside (-matters, matters) "yes", wholly inside "no", else "unsure".
    Without ``matters`` an interval that leaves out 0 says "yes" and any other
    "unsure": with no yardstick nothing can be called too small.
    """
    if low is None or high is None:
        return "unsure"
    if matters is None or matters <= 0:
        return "yes" if low > 0 or high < 0 else "unsure"
    if low >= matters or high <= -matters:
        return "yes"
    if -matters < low and high < matters:
        return "no"
    return "unsure"


def rank(evidence: Iterable[Finding], responses: Sequence[Response]) -> tuple[Finding, ...]:
    """The evidence in reading order, ranks 1 … n.

    By verdict (yes, unsure, no), then by size against the difference that matters; an
    interaction that matters comes before the main effects it involves, because either of
    them alone misleads; a best or recommended dose follows the finding about that dose;
    what cannot be told comes last.
    """
    evidence = _with_margins(list(evidence))
    yardsticks = {response.name: _yardstick(response, evidence) for response in responses}
    plain = [finding for finding in evidence if finding.kind not in DOSES]
    ordered = sorted(plain, key=lambda finding: _place(finding, yardsticks))
    ordered = _joint_first(ordered)
    for finding in (finding for finding in evidence if finding.kind in DOSES):
        ordered.insert(_after_its_dose(ordered, finding), finding)
    return tuple(replace(finding, rank=number) for number, finding in enumerate(ordered, start=1))


def _with_margins(evidence: Sequence[Finding]) -> list[Finding]:
    """The evidence, an effect marked where its very pair was shown to be as good, within the margin.

    Of that pair it is then not said that the trial cannot tell, nor are more bakes asked for.
    """
    as_good = {
        (one.response, one.variables, frozenset((str(one.facts["a"]), str(one.facts["b"]))))
        for one in evidence
        if one.kind == "equivalence" and one.facts["equivalent"] == "yes"
    }

    def pair(one: Finding) -> frozenset[str]:
        return frozenset((str(one.facts.get("from")), str(one.facts.get("to"))))

    return [
        replace(one, facts={**one.facts, "within_margin": True})
        if one.kind == "effect" and (one.response, one.variables, pair(one)) in as_good
        else one
        for one in evidence
    ]


def _yardstick(response: Response, evidence: Sequence[Finding]) -> float:
    """What a size is measured in, so that responses in mm and points can share one list.

    The difference that matters; without one, the usual half-width of the response's intervals.
    """
    if response.matters:
        return response.matters
    own = [finding for finding in evidence if finding.response == response.name and finding.kind not in DOSES]
    widths = [(f.high - f.low) / 2 for f in own if f.low is not None and f.high is not None and f.high > f.low]
    sizes = [abs(finding.size) for finding in own if finding.size]
    return median(widths) if widths else max(sizes, default=1.0)


def _place(finding: Finding, yardsticks: dict[str, float]) -> tuple[bool, bool, int, float]:
    """A substitute that was asked about comes first: it is the question."""
    size = abs(finding.size) if finding.size is not None else 0.0
    return (
        finding.kind == "cannot tell",
        finding.kind != "equivalence",
        _VERDICTS.index(finding.matters),
        -size / yardsticks.get(finding.response, 1.0),
    )


def _joint_first(ordered: list[Finding]) -> list[Finding]:
    """Move each interaction that matters up to just before the first main effect it involves."""
    for finding in [one for one in ordered if one.kind in JOINT and one.matters == "yes"]:
        at = ordered.index(finding)
        first = next((i for i, other in enumerate(ordered[:at]) if _is_main_effect_of(other, finding)), at)
        ordered.insert(first, ordered.pop(at))
    return ordered


def _is_main_effect_of(other: Finding, joint: Finding) -> bool:
    return (
        other.kind not in JOINT
        and other.response == joint.response
        and len(other.variables) == 1
        and other.variables[0] in joint.variables
    )


def _after_its_dose(ordered: Sequence[Finding], finding: Finding) -> int:
    """Behind the finding about the dose and the dose findings that stand there already."""
    variable = finding.variables[:1]
    for i, other in enumerate(ordered):
        if other.kind not in DOSES and other.response == finding.response and other.variables[:1] == variable:
            at = i + 1
            while at < len(ordered) and ordered[at].kind in DOSES:
                at += 1
            return at
    return next((i for i, other in enumerate(ordered) if other.kind == "cannot tell"), len(ordered))
