"""How is an analysis of scores, of yes and no, or of counts said?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from analysis.results import ResponseResult
from analysis.scores.results import DoseLimit, LikelihoodRatio, ScoreContrast, ScorePart, Shares
from analysis.words.facts import Facts
from analysis.words.numbers import (
    half_width,
    join_words,
    say_count,
    say_interval,
    say_level,
    say_number,
    say_p,
    say_share,
    start,
    with_unit,
)

MOST_SAID = 6


def say_scores(part: ScorePart, about: ResponseResult, question: Any) -> tuple[str, ...]:
    """What it was taken as, what each level gives, what the doses are; then how the groups differ."""
    said = [_taken_as(part, about), *_averaged(part)]
    told = told_levels(part)
    said += [_level(one, part, about, question.confidence) for one in told]
    if len(part.levels) > len(told):
        said.append(f"The {len(part.levels) - len(told)} further levels stand in a table of the report, and in JSON.")
    typical = _typical(part)
    said += [_dose(one, question, typical) for one in part.effective if one.dose is not None]
    said += [_contrast(one, part, question.confidence) for one in part.contrasts if one.ratio is not None]
    said += [_group(one) for one in part.group_tests]
    said += [
        _no_spread(check.facts, True) for check in about.family.checks if check.check == "no spread between groups"
    ]
    return tuple(start(sentence) for sentence in said)


def told_levels(part: ScorePart) -> tuple[Shares, ...]:
    """The levels that get a sentence each: the first of many, never all but one."""
    return part.levels if len(part.levels) <= MOST_SAID + 1 else part.levels[:MOST_SAID]


def _taken_as(part: ScorePart, about: ResponseResult) -> str:
    name = about.response.name
    if part.scale == "count":
        return f"{name} was taken as a count: effects multiply it."
    if part.scale == "yes-no":
        return f"{name} was taken as yes or no: effects act on the odds of yes ({part.link} link)."
    steps = f"{part.labels[0]} to {part.labels[-1]}"
    return (
        f"{name} was taken as ordered scores ({steps}), without saying that each step is as large as the next "
        f"({part.link} link); means are expected scores."
    )


def _averaged(part: ScorePart) -> tuple[str, ...]:
    if not part.approximations:
        return ()
    names = [variance.group for variance in part.approximations[0].variances if not variance.boundary]
    return (f"Expected values are averages over every {join_words(names)}, not over those who took part only.",)


def _level(one: Shares, part: ScorePart, about: ResponseResult, confidence: float) -> str:
    where = join_words([f"{name} {say_level(level)}" for name, level in one.settings.items()])
    step = half_width(one.low, one.high)
    if part.scale == "yes-no":
        ends = [None if end is None else 100 * end for end in (one.low, one.high)]
        wide = half_width(*ends)
        share = f"{say_number(100 * one.mean, wide)} %"
        if ends[0] is None or ends[1] is None:
            return f"{where}: {share} yes."
        between = f"{say_number(ends[0], wide)} to {say_number(ends[1], wide)} %"
        return f"{where}: {share} yes ({say_share(confidence)} interval {between})."
    mean = with_unit(say_number(one.mean, step), about.response.unit)
    said = f"{where}: expected {about.response.name} {mean} ({say_interval(one.low, one.high, confidence)})"
    if not one.fitted:
        return f"{said}."
    foremost = max(one.fitted, key=lambda label: one.fitted[label])
    return f"{said}; most often {foremost} ({say_share(round(one.fitted[foremost], 2))})."


def _typical(part: ScorePart) -> str:
    """Levels are averages over all groups, doses are those of a group in the middle: it has to be said."""
    if not part.approximations:
        return ""
    names = [variance.group for variance in part.approximations[0].variances if not variance.boundary]
    return f"with a typical {join_words(names)}, " if names else ""


def _dose(one: DoseLimit, question: Any, typical: str = "") -> str:
    unit = next((factor.unit for factor in question.factors if factor.name == question.dose), "")
    step = half_width(one.fieller_low, one.fieller_high) or half_width(one.low, one.high)
    low, high = (one.fieller_low, one.fieller_high) if one.fieller_low is not None else (one.low, one.high)
    dose = with_unit(say_number(one.dose, step), unit)
    if low is None or high is None:
        return f"{typical}{say_share(one.fraction)} yes is reached at {dose}; these readings do not close its interval."
    return (
        f"{typical}{say_share(one.fraction)} yes is reached at {dose} "
        f"({say_share(question.confidence)} interval {say_number(low, step)} to {say_number(high, step)})."
    )


def _contrast(one: ScoreContrast, part: ScorePart, confidence: float) -> str:
    """A chosen contrast as a factor; its size in scores, shares or counts stands beside the other contrasts."""
    of = {"yes-no": "the odds of yes", "count": "the count"}.get(part.scale, "the odds of a higher score")
    at = "".join(f", with {name} {say_level(level)}" for name, level in one.at.items())
    step = half_width(one.ratio_low, one.ratio_high)
    times = f"{of} times {say_number(one.ratio or 0.0, step)}"
    if one.ratio_low is None:
        return f"{one.name}{at}: {times}, without an interval."
    return f"{one.name}{at}: {times} ({say_interval(one.ratio_low, one.ratio_high, confidence)})."


def _group(one: LikelihoodRatio) -> str:
    if one.p < 0.05:
        return f"Readings of one {one.term} are alike ({say_p(one.p)}); that was allowed for."
    return f"It is not clear whether readings of one {one.term} are alike ({say_p(one.p)}); it was allowed for."


# Methods

METHOD_KINDS = {
    "cumulative link": "a cumulative-link model",
    "binomial": "a binomial model",
    "counts": "a model of counts (Poisson)",
}


def say_score_method(result: ResponseResult, question: Any) -> str:
    """What a statistician needs to repeat it."""
    family, model = result.family, result.family.model
    part = next(part for part in family.parts if isinstance(part, ScorePart))
    terms = join_words([term.replace(":", " with ") for term in model.terms])
    groups = f"; {join_words(model.groups)} as random groups" if model.groups else ""
    counted = f", each counted by {question.weights}" if question.weights else ""
    link = "" if part.link == "log" else f" with a {part.link} link"
    sentences = [
        f"{result.response.name} was analysed for {say_count(result.n_readings, 'reading')}, not averaged{counted}",
        f"{METHOD_KINDS[model.kind]}{link} holds {terms}{groups}, fitted by {model.estimation}",
        "positive effects raise the response; categories stand against their reference level",
        f"terms were tested by likelihood ratios of type 2; p and intervals: {model.df_method}",
        f"intervals are {say_share(question.confidence)}, two-sided" if question is not None else "",
        "intervals of effects are by profile likelihood" if not (model.groups or part.widened) else
        "intervals of effects are estimate and standard error",
        "intervals of expected values are by the delta method",
        "differences of shares are put together from Wilson limits of each share (Newcombe 1998)"
        if part.scale == "yes-no" else "",
        "standard errors are multiplied by the root of Pearson's X² over its degrees of freedom, for more scatter "
        "than counting (quasi-likelihood); no law of that scatter is assumed" if part.widened else "",
        _compared(result),
        "tests of different terms are not adjusted for each other" if len(family.tests) > 1 else "",
    ]  # fmt: skip
    return " ".join(f"{start(sentence)}." for sentence in sentences if sentence)


def _compared(result: ResponseResult) -> str:
    methods = list(dict.fromkeys(one.method for one in result.family.comparisons))
    said = [method.removeprefix("z, ").removeprefix("t, ") for method in methods]
    return f"levels were compared by {join_words(said)}".replace("by on", "on") if said else ""


# Checks


def _separation(facts: Facts, fine: bool) -> str:
    terms = join_words([str(term) for term in facts.get("terms", ())])
    groups = facts.get("groups", ())
    left = f" Spread between {join_words(list(groups))} could not be allowed for as well." if groups else ""
    return (
        f"{terms} parts the readings so cleanly that these data set no upper limit to the effect. Sizes were "
        f"held finite by a penalty (Firth); the open end of an interval says at least how much.{left}"
    )


def _proportional(facts: Facts, fine: bool) -> str:
    if fine:
        return f"each factor moves all steps of the scale alike, as far as {facts.get('tests', 0)} tests can see."
    terms = join_words([str(term) for term in facts["terms"]])
    return (
        f"{terms} does not move every step of the scale alike ({say_p(facts['p'])}); read the shares of each "
        "score rather than one size for all."
    )


def _spread(facts: Facts, fine: bool) -> str:
    if fine:
        return "scores scatter alike at all levels, as far as the tests can see."
    terms = join_words([str(term) for term in facts["terms"]])
    return f"scores scatter more at some levels of {terms} than at others ({say_p(facts['p'])})."


def _interaction(facts: Facts, fine: bool) -> str:
    terms = join_words([str(term).replace(":", " with ") for term in facts.get("terms", ())])
    return (
        f"effects depend on each other ({terms}, {say_p(facts.get('p', 1.0))}), which the model leaves out; ask "
        "with --model interactions."
    )


def _bend(facts: Facts, fine: bool) -> str:
    names = join_words([str(term).removesuffix("^2") for term in facts.get("terms", ())])
    return (
        f"the response turns or flattens over {names} ({say_p(facts.get('p', 1.0))}), which a straight line leaves "
        "out; ask with --model quadratic."
    )


def _never(facts: Facts, fine: bool) -> str:
    return f"never given: {join_words([str(score) for score in facts.get('scores', ())])}; the steps around it are one."


def _seldom(facts: Facts, fine: bool) -> str:
    scores = join_words([str(score) for score in facts.get("scores", ())])
    return f"fewer than {facts.get('few', 3)} readings gave {scores}; shares of it are rough."


def _counting(facts: Facts, fine: bool) -> str:
    times = say_number(float(facts.get("dispersion", 1.0)))
    what = "counts scatter" if facts.get("scale") == "count" else "shares scatter"
    tail = "; the intervals were widened for it" if facts.get("widened") else ""
    return f"{what} {times} times as much as chance alone would let them{tail}."


def _no_spread(facts: Facts, fine: bool) -> str:
    names = join_words([str(name) for name in facts.get("groups", ())])
    return f"readings of one {names} are no more alike than others; its spread came out as 0 and was left out."


def _few_groups(facts: Facts, fine: bool) -> str:
    names = join_words([str(name) for name in facts.get("groups", ())])
    return f"there are fewer than 5 of {names}; how much they differ is hardly known, and intervals are too narrow."


def _left_out(facts: Facts, fine: bool) -> str:
    why = [f"{name} ({reason})" for name, reason in facts.get("why", {}).items()]
    return f"not used as a group: {join_words(why)}."


def _two_tops(facts: Facts, fine: bool) -> str:
    return "two starts led to different fits; the better one is shown, but do not rest a decision on it."


def _integral(facts: Facts, fine: bool) -> str:
    if facts.get("method") == "quadrature":
        return (
            "Laplace's approximation moved an estimate too much, so the groups were integrated by 10-point quadrature."
        )
    return "Laplace's approximation was checked by 10-point quadrature, which agrees."


def _bakes(facts: Facts, fine: bool) -> str:
    return (
        f"{facts.get('bakes', 0)} bakes were scored {facts.get('readings', 0)} times, but each treatment was baked "
        "once: tasters agree about the bakes, and another bake of the same treatment may differ."
    )


SCORE_CHECKS: dict[str, Callable[[Facts, bool], str]] = {
    "separation": _separation,
    "proportional odds": _proportional,
    "equal spread of scores": _spread,
    "interaction of scores": _interaction,
    "bend of scores": _bend,
    "scores never given": _never,
    "scores seldom given": _seldom,
    "scatter of counts": _counting,
    "no spread between groups": _no_spread,
    "few groups of scores": _few_groups,
    "groups left out": _left_out,
    "two tops": _two_tops,
    "integral of groups": _integral,
    "bakes of scores": _bakes,
}
