"""How is it said what a covariate did, and to what the means were adjusted?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.questions import Question
from analysis.results import ResponseResult
from analysis.words.numbers import half_width, join_words, say_interval, say_number, say_p, say_signed, start, with_unit

if TYPE_CHECKING:
    from analysis.linear.covariates import Covariate, CovariatesPart

ALARM = 0.05


def say_covariates(part: CovariatesPart, result: ResponseResult, question: Question) -> tuple[str, ...]:
    """One sentence for each covariate, then what the means stand for."""
    said = [start(_one(each, part, result, question)) for each in part.covariates]
    said += [f"{start(name)} explains nothing: {why}." for name, why in part.reasons.items()]
    at = [f"{each.name} {say_number(each.mean)}" for each in part.covariates if each.mean is not None]
    if at:
        whose = "its mean" if len(at) == 1 else "their means"
        said.append(f"Means are those to be expected at {join_words(at)}, {whose} over the bakes.")
    return tuple(said)


def _one(each: Covariate, part: CovariatesPart, result: ResponseResult, question: Question) -> str:
    name, response = each.name, result.response
    if each.levels:
        told = f" ({say_p(each.p)})" if each.p is not None else ""
        alike = each.p is None or each.p >= ALARM
        how = "does not visibly go along with" if alike else "goes along with"
        return f"{response.name} {how} {name}{told}; means count its {len(each.levels)} levels evenly."
    if each.slope is None:
        return f"{name} could not be told from other terms, so that nothing is known of its slope."
    step = half_width(each.low, each.high)
    size = with_unit(say_signed(each.slope, step), response.unit)
    interval = say_interval(each.low, each.high, question.confidence)
    unclear = each.low is None or each.high is None or each.low <= 0 <= each.high
    if unclear:
        return f"whether {response.name} goes along with {name} cannot be told: {size} for one more ({interval})."
    of = f"{name} from its mean on" if part.scale else name
    return f"for one more of {of}, {response.name} changes by {size} ({interval})."
