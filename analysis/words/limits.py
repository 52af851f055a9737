"""What does a finding not show?

One or two short sentences beside it: how large an effect is still possible, and where nothing was
baked. Said of every finding, the sure ones too.
"""

from __future__ import annotations

from analysis.baked import levels_baked
from analysis.questions import Factor, Question
from analysis.results import Analysis, Finding, ResponseResult
from analysis.words.finding_parts import varied
from analysis.words.numbers import half_width, join_words, say_level, say_number, start, with_unit, with_warmth

FOREMOST = 6  # findings whose limits are listed
SIZED = ("effect", "interaction", "curves differ")


def say_limits(finding: Finding, result: ResponseResult, question: Question) -> tuple[str, ...]:
    """What remains open after this finding, in sentences; () where that is all it says."""
    said = [_still_possible(finding, result), *(_range(factor, result) for factor in _amounts(finding, question))]
    return tuple(sentence for sentence in said if sentence)


def all_limits(analysis: Analysis) -> tuple[str, ...]:
    """Each limit once, those of the foremost findings first."""
    results = {result.response.name: result for result in analysis.responses}
    said = [
        limit
        for finding in analysis.findings[:FOREMOST]
        if finding.response in results
        for limit in say_limits(finding, results[finding.response], analysis.question)
    ]
    return tuple(dict.fromkeys(said))


def _still_possible(finding: Finding, result: ResponseResult) -> str:
    low, high, response = finding.low, finding.high, result.response
    if low is None or high is None or finding.kind not in SIZED:
        return ""
    what = f"{start(varied(finding))} may still change {response.name}"
    if len(finding.variables) > 1:
        of = str(finding.facts.get("of", finding.variables[0]))
        others = join_words([variable for variable in finding.variables if variable != of])
        what = f"What {of} does to {response.name} may still change with {others}"
    if finding.matters == "unsure":
        most = with_unit(say_number(max(abs(low), abs(high)), half_width(low, high)), finding.unit)
        return f"{what} by as much as {most}."
    if finding.matters == "no" and response.matters:
        least = with_unit(say_level(response.matters), response.unit)
        return f"{what} by less than {least}."
    return ""


def _amounts(finding: Finding, question: Question) -> list[Factor]:
    named = {factor.name: factor for factor in question.factors if factor.kind == "amount"}
    return [named[variable] for variable in dict.fromkeys(finding.variables) if variable in named]


def _range(factor: Factor, result: ResponseResult) -> str:
    levels = levels_baked(result.family.points, factor.name)
    if len(levels) < 2:
        return ""
    if len(levels) == 2:
        ends = join_words([say_level(level) for level in levels])
        return (
            f"{start(factor.name)} was baked at {with_warmth(ends, factor.unit)} only: what lies "
            "between or beyond is not shown."
        )
    beyond = with_warmth(f"{say_level(levels[0])} or above {say_level(levels[-1])}", factor.unit)
    return f"Below {beyond} of {factor.name} nothing was baked."
