"""How is a compromise between several goals said?

First the treatment and how surely it meets every goal, then what each goal gets, what holds it
back, where else all goals are met, and what was assumed.
"""

from __future__ import annotations

from collections.abc import Mapping

from analysis.goals.results import Forecast, Front, GoalRegion, GoalsPart, GoalTaken, Sureness, Treatment
from analysis.questions import Question
from analysis.results import Analysis
from analysis.words.numbers import (
    half_width,
    join_words,
    say_interval,
    say_list,
    say_number,
    say_percent,
    start,
    with_unit,
    with_warmth,
)

WORTH_NAMING = 0.05  # of what was baked: a smaller region is told at a lesser sureness
HELD_BACK = 0.95  # a goal that is met more surely than this holds nothing back
CLEARLY = 0.03  # a surest treatment that is surer by less is not worth a sentence


def say_goals(part: GoalsPart, about: Analysis, question: Question) -> tuple[str, ...]:
    """Every sentence of the part."""
    best = part.best or part.nearest
    if best is None:
        return (*_left_out(part), f"the goals were not weighed against each other: {part.reasons['best']}.")
    said = [*_lead(part, best, question), *_cautions(best)]
    said += [_one(goal, forecast, question) for goal, forecast in zip(part.goals, best.forecasts, strict=True)]
    said += [*_bottleneck(part, best), *_baked(part, question), *_region(part.region, question)]
    said += [*_surest(part, best, question), *_fronts(part), *_taken(part), *_left_out(part)]
    return tuple(map(start, said))


def say_settings(settings: Mapping[str, float | str], question: Question) -> str:
    """ "soda 1.52 % flour, acid yogurt", numbers to three digits."""
    units = {factor.name: factor.unit for factor in question.factors}
    return say_list(
        [
            f"{name} {value if isinstance(value, str) else with_warmth(say_number(value), units.get(name, ''))}"
            for name, value in settings.items()
        ]
    )


def say_sureness(share: float) -> str:
    """A share of what may be true, never said as certain: "97 %"."""
    if share > 0.995:
        return "more than 99 %"
    return "less than 1 %" if share < 0.005 else say_percent(share)


def say_wish(goal: GoalTaken) -> str:
    """ "70 mm or more, 80 mm or more wished for"."""
    low, high, full = (None if v is None else say_number(v) for v in (goal.low, goal.high, goal.full))
    if goal.goal == "target":
        return f"{full} wished for, {with_unit(f'{low} to {high}', goal.unit)} good enough"
    more, enough = ("more", low) if goal.goal == "maximise" else ("less", high)
    return f"{with_unit(f'{full}', goal.unit)} or {more} wished for, {enough} or {more} good enough"


def _lead(part: GoalsPart, best: Treatment, question: Question) -> list[str]:
    names = join_words([goal.response for goal in part.goals])
    where = say_settings(best.settings, question)
    if part.nearest is not None:
        return [*_contradictions(part), f"nearest to all goals is {where}: {_misses(part, best)}."]
    said = f"inside what was baked, the best compromise of {names} is {where}"
    if best.chance is None:
        return [f"{said}; nothing tells how surely it meets every goal."]
    every = "both goals" if len(part.goals) == 2 else f"all {len(part.goals)} goals"
    once = (
        "" if best.chance_bake is None else f", and one new bake would meet them all in {_of_hundred(best.chance_bake)}"
    )
    return [f"{said}. Its means meet {every} with a sureness of {say_sureness(best.chance)}{once}."]


def _of_hundred(share: float) -> str:
    times = round(100 * share)
    if times >= 100:
        return "more than 99 of 100 tries"
    return f"about {times} of 100 tries" if times else "fewer than 1 of 100 tries"


def _contradictions(part: GoalsPart) -> list[str]:
    said = []
    for one in part.contradictions:
        if len(one.goals) == 1:
            goal = next(goal for goal in part.goals if goal.response == one.goals[0])
            said.append(f"the goal of {one.goals[0]} cannot be met inside what was baked ({say_wish(goal)}).")
        elif len(one.goals) == 2:
            said.append(
                f"{one.goals[0]} and {one.goals[1]} contradict each other: no treatment inside what was baked is "
                "foretold to be good enough in both."
            )
        else:
            said.append(f"no treatment inside what was baked is foretold to be good enough in {join_words(one.goals)}.")
    return said or ["no treatment inside what was baked is foretold to meet all goals."]


def _misses(part: GoalsPart, best: Treatment) -> str:
    found = []
    for goal, forecast in zip(part.goals, best.forecasts, strict=True):
        if not forecast.met:
            end = goal.low if goal.low is not None and forecast.mean <= goal.low else goal.high
            away = abs(forecast.mean - end) if end is not None else 0.0
            found.append(f"{forecast.response} misses what is good enough by {with_unit(say_number(away), goal.unit)}")
    return join_words(found) or "it only just misses"


def _cautions(best: Treatment) -> list[str]:
    said = []
    if not best.inside:
        said.append("no bakes lie all round this treatment: it stands in a corner of the ranges that nobody baked.")
    if best.edge:
        said.append(
            f"it lies at the end of what was baked of {join_words(best.edge)}: better may lie beyond, but nothing is "
            "known there."
        )
    if not best.baked:
        said.append("this very treatment was not baked; bake it before you rely on it.")
    return said


def _one(goal: GoalTaken, forecast: Forecast, question: Question) -> str:
    step = half_width(forecast.low, forecast.high)
    said = f"there {goal.response} comes to {with_unit(say_number(forecast.mean, step), goal.unit)}"
    if goal.certain:
        return f"{said}, worked out from the weights ({say_wish(goal)})."
    bake = ""
    if forecast.bake_low is not None and forecast.bake_high is not None:
        wide = half_width(forecast.bake_low, forecast.bake_high)
        bake = f"; one new bake {say_number(forecast.bake_low, wide)} to {say_number(forecast.bake_high, wide)}"
    interval = say_interval(forecast.low, forecast.high, question.confidence)
    return f"{said} ({interval}{bake}); {say_wish(goal)}."


def _bottleneck(part: GoalsPart, best: Treatment) -> list[str]:
    if part.bottleneck is None:
        return []
    one = next(forecast for forecast in best.forecasts if forecast.response == part.bottleneck)
    if one.chance is not None and one.chance >= HELD_BACK:
        return []
    sure = "" if one.chance is None else f", met by itself with a sureness of {say_sureness(one.chance)}"
    return [f"the goal that holds the others back is {part.bottleneck}{sure}."]


def _baked(part: GoalsPart, question: Question) -> list[str]:
    baked = part.best_baked
    if baked is None or (part.best or part.nearest) == baked:
        return []
    where = say_settings(baked.settings, question)
    if not all(one.met for one in baked.forecasts):
        missed = join_words([one.response for one in baked.forecasts if not one.met])
        return [f"of the treatments that were baked, {where} comes nearest; it misses {missed}."]
    sure = "" if baked.chance is None else f", with a sureness of {say_sureness(baked.chance)}"
    return [f"of the treatments that were baked, {where} is the best compromise{sure}."]


def _region(region: GoalRegion | None, question: Question) -> list[str]:
    if region is None:
        return []
    over = join_words([axis.name for axis in region.axes])
    others = f", with {say_settings(region.others, question)}," if region.others else ""
    surest = sorted((one for one in region.sureness if one.share > 0), key=lambda each: -each.chance)
    if not surest:
        return [f"over {over}{others} no treatment meets all goals with a sureness of 50 %."]
    one = next((each for each in surest if each.share >= WORTH_NAMING), surest[-1])
    return [
        f"over {over}{others} all goals are met with a sureness of at least {say_sureness(one.chance)} in "
        f"{_part(one.share)} of what was baked, somewhere {_reach(region, one, question)}."
    ]


def _part(share: float) -> str:
    return "less than 1 %" if share < 0.01 else say_percent(share)


def _reach(region: GoalRegion, one: Sureness, question: Question) -> str:
    units = {factor.name: factor.unit for factor in question.factors}
    parts = []
    for axis, reach in zip(region.axes, one.reach, strict=True):
        if reach and isinstance(reach[0], str):
            parts.append(f"{axis.name} {join_words([str(level) for level in reach], 'or')}")
        else:
            low, high = (say_number(float(end)) for end in reach)
            ends = low if low == high else f"{low} to {high}"
            parts.append(f"{axis.name} {with_unit(ends, units.get(axis.name, ''))}")
    return f"within {join_words(parts)}"


def _surest(part: GoalsPart, best: Treatment, question: Question) -> list[str]:
    region = part.region
    if region is None or region.surest is None or region.surest_chance is None or best.chance is None:
        return []
    if region.surest_chance < best.chance + CLEARLY:
        return []
    where = say_settings(region.surest, question)
    return [f"all goals are met most surely with {where}: a sureness of {say_sureness(region.surest_chance)}."]


def _fronts(part: GoalsPart) -> list[str]:
    units = {goal.response: goal.unit for goal in part.goals}
    return [_front(front, units) for front in part.fronts]


def _front(front: Front, units: Mapping[str, str]) -> str:
    def at(place: int) -> tuple[str, str]:
        point = front.points[place]
        return (
            with_unit(say_number(point.first), units.get(front.first, "")),
            with_unit(say_number(point.second), units.get(front.second, "")),
        )

    (a, b), (c, d) = at(0), at(-1)
    return (
        f"doing better in {front.first} is paid for in {front.second}, and the other way round: "
        f"{a} goes with {b}, {c} with {d}."
    )


def _taken(part: GoalsPart) -> list[str]:
    said = []
    for goal in part.goals:
        if not goal.given:
            said.append(
                f"what is good enough for {goal.response} was not said in full; taken was {say_wish(goal)}, from what "
                "was baked and the difference that matters. Say what you accept to make this yours."
            )
        if goal.model is not None:
            what = "bends" if goal.model == "interactions" else "bends and interactions"
            said.append(
                f"{goal.response} was foretold without {what}: they add nothing here that can be told from the "
                "scatter. Naming a model for it keeps them."
            )
    return said


def _left_out(part: GoalsPart) -> list[str]:
    return [f"{name} has a goal but was left out here: {why}." for name, why in part.left_out.items()]
