"""How is it said what to bake next?

The reason first, in a sentence; the treatments stand beside it as a list.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from analysis.questions import Question
from analysis.results import NextBakes
from analysis.words.finding_parts import say_term
from analysis.words.numbers import (
    half_width,
    join_words,
    say_count,
    say_level,
    say_list,
    say_number,
    start,
    with_unit,
    with_warmth,
)
from analysis.words.surfaces import say_climb_next

Facts = Mapping[str, Any]


def say_next(bakes: NextBakes, question: Question | None = None) -> str:
    """Why these bakes, in one sentence. ``question`` gives the units of the treatments."""
    say = REASONS.get(bakes.why, _plain(bakes.why))
    return start(say(bakes.facts))


def say_treatment(treatment: Mapping[str, Any], question: Question | None = None) -> str:
    """ "soda 1.5 % flour, acid source yogurt"."""
    units = {factor.name: factor.unit for factor in question.factors} if question else {}
    return say_list(
        [f"{name} {with_warmth(say_level(level), units.get(name, ''))}" for name, level in treatment.items()]
    )


def _plain(why: str) -> Callable[[Facts], str]:
    return lambda facts: f"{why}: these treatments would settle it."


def _more_bakes(facts: Facts) -> str:
    """``variables``, ``response``, ``more`` bakes in all, ``each`` per treatment, ``half_width``, ``aim``, ``unit``."""
    variables = join_words([say_term(name) for name in facts["variables"]])
    do = "do" if len(facts["variables"]) > 1 else "does"
    what = facts.get("of", "bake")
    width, aim, unit = facts["half_width"], facts["aim"], facts.get("unit", "")
    wide = f"its interval reaches {with_unit(say_number(width, width), unit)} to each side"
    if facts["more"] is None:
        return (
            f"what {variables} {do} to {facts['response']} is open: {wide}, and to get that down to "
            f"{with_unit(say_number(aim, aim), unit)} would take more {what}s than is sensible. Steady the process or "
            "the reading first."
        )
    return (
        f"what {variables} {do} to {facts['response']} is open: {wide}, and about "
        f"{say_count(facts['more'], f'more {what}')} ({facts['each']} of each treatment) would bring that "
        f"down to {with_unit(say_number(aim, aim), unit)}."
    )


def _extend(facts: Facts) -> str:
    """``variable``, ``response``, ``edge`` ("low" or "high")."""
    end = "highest" if facts["edge"] == "high" else "lowest"
    step = "up" if facts["edge"] == "high" else "down"
    return (
        f"{facts['response']} was best at the {end} {facts['variable']} that was baked, so the best may lie beyond: go "
        f"one step further {step}."
    )


def _between(facts: Facts) -> str:
    """``variable``, ``response``."""
    return (
        f"more than one curve of {facts['response']} over {facts['variable']} agrees with these bakes: at this dose, "
        "where they lie furthest apart, a bake tells most."
    )


def _middle(facts: Facts) -> str:
    return (
        f"{facts['variable']} mattered for {facts['response']} and was baked at two levels only: a level between shows "
        "whether the response bends."
    )


def _interaction(facts: Facts) -> str:
    """``of``, ``by``, ``response``."""
    return (
        f"the effect of {facts['of']} on {facts['response']} depends on {facts['by']}: choose {facts['of']} separately "
        f"for each {facts['by']}, and bake the choice again."
    )


def _break_alias(facts: Facts) -> str:
    """``terms``, ``response``."""
    terms = join_words([say_term(term) for term in facts["terms"]])
    return f"{terms} cannot be told apart on {facts['response']}: in these treatments they part."


def _fill_cells(facts: Facts) -> str:
    return f"these combinations were never baked: with them, {say_term(facts['term'])} can be judged."


def _replicate(facts: Facts) -> str:
    variables = join_words(facts["variables"])
    return (
        f"each treatment was baked once: bake these again to see whether {variables} "
        f"{'stand' if len(facts['variables']) > 1 else 'stands'} out from the scatter between like bakes."
    )


def _confirm(facts: Facts) -> str:
    return f"bake the choice again on another day, to see whether {facts['response']} comes out as foretold."


def _margin_open(facts: Facts) -> str:
    """``a``, ``b``, ``response``, ``more`` bakes (or readings: ``of``) in all."""
    more = say_count(facts["more"], f"more {facts.get('of', 'bake')}")
    return (
        f"whether {facts['a']} is as good as {facts['b']} for {facts['response']} is open: about {more}, half of each, "
        "should bring the interval to one side of the margin."
    )


def _likely_better(facts: Facts) -> str:
    """``response``, ``gain`` expected of the first bake, ``unit``, ``goal``."""
    gain = with_unit(say_number(facts["gain"], facts["gain"]), facts.get("unit", ""))
    better = {"minimise": "lower", "target": "nearer its target"}.get(str(facts.get("goal")), "higher")
    return (
        f"{facts['response']} may be {better} than at what now looks best: with a bake of the first of these, the "
        f"treatment you would choose is expected to be better by about {gain}."
    )


def _yardstick(facts: Facts) -> str:
    """``variables``, ``response``."""
    return (
        f"what {join_words(facts['variables'])} may do to {facts['response']} lies within the scatter. Say what "
        "difference would matter: without it, no number of bakes can show that an effect is too small."
    )


def _bake_best(facts: Facts) -> str:
    """``response``, ``unit``, ``times`` baked so far, ``expected``, ``low`` and ``high`` of one bake."""
    return (
        f"the treatment that looks best for {facts['response']} was {_times(facts['times'])}: bake it twice, to see "
        f"whether it gives the {_foretold(facts['expected'], facts['low'], facts['high'], str(facts['unit']))} "
        "foretold."
    )


def _bake_best_doses(facts: Facts) -> str:
    """``response``, ``unit``, ``forecasts`` (level, times baked, mean with its interval)."""
    forecasts, unit = facts["forecasts"], str(facts["unit"])
    said = [
        _foretold(one["mean"], one["low"], one["high"], unit) + (f" with {one['level']}" if one.get("level") else "")
        for one in forecasts
    ]
    times = _times(max(one["times"] for one in forecasts))
    if len(said) == 1:
        return (
            f"the dose that looks best for {facts['response']} was {times}: bake it twice, to see whether it gives the "
            f"{said[0]} on average foretold."
        )
    return (
        f"the doses that look best for {facts['response']} were {times}: bake each twice to see. On average they are "
        f"foretold to give {join_words(said)}."
    )


def _bake_for_goals(facts: Facts) -> str:
    """``responses``, ``forecasts`` (response, mean, low, high of one bake), ``times`` baked so far."""
    said = [
        f"{one['response']} {_foretold(one['mean'], one['low'], one['high'], one['unit'])}"
        for one in facts["forecasts"]
    ]
    return (
        f"the treatment that serves all goals best was {_times(facts['times'])}: bake it twice before it is believed. "
        f"Foretold are {join_words(said)}."
    )


def _times(times: int) -> str:
    return "baked once only" if times else "not baked yet"


def _foretold(value: float, low: float | None, high: float | None, unit: str) -> str:
    step = half_width(low, high)
    if low is None or high is None:
        return with_unit(say_number(value, step), unit)
    ends = f"{say_number(low, step)} to {say_number(high, step)}"
    return f"{with_unit(say_number(value, step), unit)} ({ends})"


REASONS: dict[str, Callable[[Facts], str]] = {
    "bake the best": _bake_best,
    "bake the best doses": _bake_best_doses,
    "bake for all goals": _bake_for_goals,
    "more bakes": _more_bakes,
    "extend the range": _extend,
    "dose between": _between,
    "level between": _middle,
    "interaction": _interaction,
    "break aliases": _break_alias,
    "fill empty cells": _fill_cells,
    "replicate": _replicate,
    "confirm": _confirm,
    "likely better": _likely_better,
    "margin open": _margin_open,
    "say what matters": _yardstick,
    "climb": say_climb_next,
}
