"""Why this design, and what would the next best cost?

Short sentences without terms of theory: the person who asked may never have read a plan.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from analysis.designs.advice import Advice, runs_of_plots
from analysis.designs.situations import Reason
from analysis.designs.trying import Option, Sureness
from analysis.words.design_names import tell_apart
from analysis.words.numbers import join_words, say_count, say_number, start, with_unit
from analysis.words.plans import say_chance

Facts = Mapping[str, Any]


def _each(facts: Facts) -> str:
    return join_words(facts["factors"])


def _resolution(facts: Facts) -> str:
    if facts["resolution"] > 4:
        mixed = "Single effects and pairs of things can all be told apart."
    elif facts["resolution"] == 4:
        mixed = "Single effects stay clear; pairs of things are mixed with other pairs."
    else:
        mixed = "Single effects are mixed with pairs of things: a sign of where to look, no proof."
    return f"{facts['runs']} chosen combinations stand for all {2 ** facts['factors']}. {mixed}"


def _ladder(facts: Facts) -> str:
    """What so few or so many doses can show, and no more."""
    doses = f"{facts['doses']} doses of {facts['factor']}"
    if facts["doses"] >= 5:
        return f"{doses} show the whole curve, and where it stops rising."
    if facts["doses"] == 4:
        return f"{doses} show the curve, and about where it stops rising."
    if facts["doses"] == 3:
        return f"{doses} show if more is better, and if the middle beats both ends; not where the best lies."
    return f"{doses} show if more is better; a best between them would stay hidden."


def _block_each_day(facts: Facts) -> str:
    fit = facts.get("fit")
    though = f", though {fit} fit: so the days come out even" if fit and fit > facts["bakes"] else ""
    return f"Up to {facts['bakes']} bakes a day{though}. The plan takes the days out, so a warm day spoils nothing."


WORDS: Mapping[str, Callable[[Facts], str]] = {
    "a ladder of doses": _ladder,
    "a curve for each kind": lambda f: (
        f"{f['doses']} doses of {f['factor']} with every {join_words(f['others'])} show one curve for each, "
        "and if they differ."
    ),
    "each kind a few times": lambda f: (
        f"Each of the {f['treatments']} kinds of {f['factor']} is baked a few times, in an order drawn by lot."
    ),
    "every kind each day": lambda f: (
        f"Each {f['day']} holds all {f['treatments']} kinds, so a good or bad day does no kind a favour."
    ),
    "a part of the kinds each day": lambda f: (
        f"A day is too short for all {f['treatments']} kinds, so they take turns: any two kinds meet about "
        "equally often."
    ),
    "a square": lambda f: (
        f"Each kind is baked once on each {f['rows']} and once in each {f['columns']}, so neither does it a favour."
    ),
    "all combinations": lambda f: (
        f"All {f['treatments']} combinations are baked, so you also see what {_each(f)} do together."
        if len(f["factors"]) > 1
        else f"Both ends of {_each(f)} are baked, several times each."
    ),
    "a part of all combinations": _resolution,
    "a screening that shows bends": lambda f: (
        f"Three doses of each of the {f['factors']} amounts, in few bakes. It shows which ones matter and which "
        "have their best in the middle."
    ),
    "the smallest screening": lambda f: (
        f"The fewest bakes that can show which of {f['factors']} things matter. It takes for granted that they "
        "work one by one; where two work together, it can mislead."
    ),
    "corners and star points": lambda f: (
        f"High and low doses of {_each(f)}, and the middles between them, show where the best dose lies."
    ),
    "corners and far star points": lambda f: (
        f"Five doses each of {_each(f)} show where the best lies. The days can be taken out cleanly."
    ),
    "edges and middle": lambda f: (
        f"Three doses each of {_each(f)}, but never all at their ends at once, show where the best dose lies."
    ),
    "an even shell": lambda f: f"Few bakes spread evenly around a middle show where the best of {_each(f)} lies.",
    "three doses of each": lambda f: (
        f"All {f['treatments']} combinations of three doses show where the best of {_each(f)} lies."
    ),
    "blends within bounds": lambda f: f"Blends of {_each(f)} that keep within the shares you gave, well spread out.",
    "pure kinds and half blends": lambda f: (
        f"Each of {_each(f)} alone and each two half and half show if a blend beats its parts."
    ),
    "every even blend": lambda f: f"Each of {_each(f)} alone, and every even blend of some or all of them.",
    "whole plots": lambda f: (
        f"{start(_each(f))} cannot be set afresh for each bake, so a few bakes in a row share one setting."
    ),
    "chosen by computer": lambda f: (
        "No ready-made plan fits, so the bakes that tell the most together were searched for."
    ),
    "find out which matter first": lambda f: (
        f"With {f['factors']} things at once no plan of this size shows the best of each. Find out first which of "
        "them matter, then plan a second trial for those."
    ),
    "kept for a while": lambda f: (
        f"You set {_each(f)} {f['times']} times in all, each time anew. What it does is judged by those settings, "
        "not by the bakes."
    ),
    "a block each day": _block_each_day,
    "as far as the bakes go": lambda f: (
        f"It is the most that {f['most']} bakes can tell: more repeats need a higher limit."
    ),
    "days in the error": lambda f: (
        f"It takes {say_count(f['days'], 'day')}, and this plan cannot take them out: if days differ, "
        "all answers get less sure."
    ),
    "spread unknown": lambda f: (
        f"Nobody can say yet how closely {f['response']} will be known: how much two bakes of the same thing differ "
        "is not known. Bake one thing three or four times first, or see it from the repeats in this plan."
    ),
    "no difference that matters": lambda f: (
        f"What difference in {f['response']} matters was not said, so the plan may be too large or too small."
    ),
    "nothing measured": lambda f: "Nothing is measured yet, so nothing can be said of how sure the answer will be.",
    "settings taken to differ as bakes do": lambda f: (
        f"How far {join_words(f['responses'])} moves from one setting to the next of the same kind is not known. "
        "It was taken to be as far as from bake to bake."
    ),
    "too few bakes": lambda f: (
        f"Even so it may miss it: {say_chance(f['power'])} trials like this one would "
        + (
            f"show for {f['response']} that the two are alike, if they are."
            if f["same"]
            else f"see the difference that matters in {f['response']}."
        )
    ),
    "set afresh each time": lambda f: (
        f"This plan changes {_each(f)} from bake to bake. Set it afresh for each of the {f['bakes']} bakes, or "
        "the answer will look surer than it is."
    ),
}


def say_reason(reason: Reason) -> str:
    """One reason or caution in a sentence or two."""
    return WORDS[reason.key](reason.facts)


def say_size(option: Option) -> str:
    """ "24 bakes in 3 days"."""
    days = "" if option.days is None else f" in {say_count(option.days, 'day')}"
    return f"{say_count(option.bakes, 'bake')}{days}"


def say_sureness(sure: Sureness) -> str | None:
    """What would be known of one response; None when nobody can say."""
    if sure.half_width is None:
        return None
    width = with_unit(f"± {say_number(sure.half_width, sure.half_width)}", sure.unit)
    known = f"{start(sure.response)} would be known to {width}"
    if sure.power is None or sure.matters is None:
        return f"{known}."
    matters = with_unit(say_number(sure.matters), sure.unit)
    seen = (
        f"two that are alike would be found so, within {matters}, in"
        if sure.same
        else f"a difference of {matters} would be seen in"
    )
    return f"{known}; {seen} {say_chance(sure.power)} trials."


def say_runner_up(advice: Advice) -> str | None:
    """What the next best would be, and what it would cost more or less; None without one."""
    other, chosen = advice.runner_up, advice.chosen
    if other is None:
        return None
    costs = [_more(other.bakes - chosen.bakes, "bake")]
    if other.days is not None and chosen.days is not None:
        costs.append(_more(other.days - chosen.days, "day"))
    told = [cost for cost in costs if cost]
    cost = f"{join_words(told)} than this plan" if told else "as many bakes and days as this plan"
    told_widths = [
        with_unit(f"± {say_number(b.half_width, b.half_width)}", b.unit)
        + f" instead of ± {say_number(a.half_width, a.half_width)} for {b.response}"
        for a, b in zip(chosen.sureness, other.sureness, strict=True)
        if a.half_width is not None and b.half_width is not None
    ]
    widths = f", and gives {join_words(told_widths)}" if told_widths else ""
    _, name = tell_apart((chosen, other))
    return (
        f'The next best is "{name}" with {say_size(other)}. It takes {cost}{widths}. '
        f"{say_reason(other.why)}{_warning(other)}{say_resets(other, chosen)}"
    )


def _warning(option: Option) -> str:
    return " It cannot take the days out." if option.days_in_error else ""


def say_resets(other: Option, chosen: Option) -> str:
    """How often what is hard to change must be set, where only one of the two keeps it for a while."""
    if not chosen.plan.design.error_groups or other.plan.design.error_groups:
        return ""
    hard = [factor.name for factor in other.request.factors if factor.hard_to_change]
    return f" You would set {join_words(hard)} {other.bakes} times instead of {runs_of_plots(chosen.plan)}."


def _more(count: int, thing: str) -> str:
    if not count:
        return ""
    return f"{say_count(abs(count), ('more ' if count > 0 else 'fewer ') + thing)}"


def say_advice(advice: Advice) -> tuple[str, ...]:
    """The advice in paragraphs: what, why, how sure, what to know before, and the next best."""
    chosen = advice.chosen
    first = f'Advised: "{chosen.request.kind}" with {say_size(chosen)}.'
    why = " ".join(map(say_reason, advice.reasons))
    sure = [said for said in map(say_sureness, chosen.sureness) if said is not None]
    cautions = [say_reason(caution) for caution in advice.cautions]
    last = say_runner_up(advice)
    return tuple(part for part in (f"{first} {why}", " ".join(sure), *cautions, last) if part)
