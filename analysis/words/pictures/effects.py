"""What do pictures of effects, means, interactions and comparisons say?"""

from __future__ import annotations

from collections.abc import Iterable

AS_IT_STANDS = "as it stands"
CANNOT_BE_TOLD = "cannot be told at all"
TABLE_HAS_EVERY = "The table has every finding."
AS_GOOD = "as good"
NOT_AS_GOOD = "not as good"
WITH = " with "
LOWEST = "Lowest"
HIGHEST = "Highest"
SAME_LETTER = ("same letter: not told apart",)
VARIABLE = "variable"
SIDE_TITLE = "What moved which response"
FOREMOST_BELOW = "The foremost are drawn; the pictures below have all."
FILLED_DIFFERS = "Filled dot: differs from 0. Open square: cannot tell."
INSIDE_TOO_SMALL = "Inside the shaded band a change is too small to matter."
FILLED_MATTERS = "Filled dot: matters. Diamond: too small. Open square: cannot tell."
FILLED_EITHER = "Filled dot: matters (without a band: differs from 0). Diamond: too small. Open square: cannot tell."


def not_possible(why: str) -> str:
    return f"not possible: {why}"


def change_in(response: str) -> str:
    return f"change in {response}"


def stands_alone(chosen: str) -> str:
    return f"{chosen} as it stands."


def turned_verdict(verdict: str, verdicts: str) -> str:
    return f"{verdict} (now: {verdicts})"


def what_would_change(chosen: str) -> str:
    return f"What would change {chosen}"


def inside_the_band(matters: str) -> str:
    return f"Inside the shaded band a change is smaller than the {matters} that matters."


def before_and_after(chosen: str, before: str, after: str) -> str:
    return f"{chosen}: {before} as it stands, {after}"


def columns_of_changes(unit: str) -> tuple[str, ...]:
    return ("what would be otherwise", f"now{unit}", f"then{unit}", f"low{unit}", f"high{unit}", "verdict then")


def as_it_would_be(chosen: str, confidence: str) -> str:
    return f"{chosen}, with its {confidence} interval, as it stands and as it would be."


def a_against_b(a: str, b: str) -> str:
    return f"{a} against {b}"


def what_in(what: str, response: str) -> str:
    return f"{what} in {response}"


def as_good_alt(response: str) -> str:
    return f"As good within the margin, {response}:"


def as_good_title(response: str) -> str:
    return f"As good within the margin: {response}"


def columns_of_pairs(what: str, named: str) -> tuple[str, ...]:
    return ("pair", f"{what}{named}", f"low{named}", f"high{named}", "verdict")


def pair_of(a: str, b: str, verdict: str, said: str, interval: str) -> str:
    return f"{a} against {b} {verdict}, {said} ({interval})."


def as_good_caption(what: str, inner: str, interval: str, high: str) -> str:
    return (
        f"Each mark is a {what}, its line the {inner} interval. A pair is as good when its whole line "
        f"lies inside the shaded band, from {interval} to {high}."
    )


def low_of(shown: str) -> str:
    return f"low{shown}"


def high_of(shown: str) -> str:
    return f"high{shown}"


def estimated_mean(shown: str) -> str:
    return f"estimated mean{shown}"


def with_intervals(confidence: str) -> str:
    return f" with {confidence} intervals"


def lines_drawn(said: str, drawn: int, count: int) -> str:
    return f"{said} {drawn} of {count} lines are drawn; the table has all."


def interaction_title(response: str, along: str, by: str) -> str:
    return f"{response}: {along} with {by}"


def interaction_alt(response: str, names: str, size: str, said: str) -> str:
    return f"{response} by {names}: the effect changes by {size} ({said})."


def interaction_caption(intervals: str, by: str) -> str:
    return f"Lines: estimated means{intervals}, one line for each {by}. Small marks: single bakes as read."


def means_title(response: str, factor: str) -> str:
    return f"{response} by {factor}"


def levels_named(said: str, step: str) -> str:
    return f"{said} Every {step} level is named here; the table names all."


def means_where(response: str, count: int, factor: str) -> str:
    return f"{response} of {count} levels of {factor}"


def means_caption(shown: str, intervals: str) -> str:
    return f"Diamonds: estimated means by {shown}{intervals}. Dots: single bakes as read."


def nothing_moved(response: str) -> str:
    return f"{response}: nothing is known to matter."


def mark_is_effect(confidence: str) -> str:
    return f"Each mark is an effect, its line the {confidence} interval."


def moved_most(response: str, first: str, size: str) -> str:
    return f"{response}: most by {first}, {size}."


def size_and_ends(size: str, interval: str, high: str) -> str:
    return f"{size} ({interval} to {high})"


NOT_KNOWN = "not known"
STANDS_OUT = "stands out"
DIFFERS_FROM_0 = "differs from 0"
WITHIN_NOISE = "within the noise"
BEND_AT_CENTRE = "bend at the centre"
TOO_SMALL = "too small to matter"
NOISE_AXIS = "where noise alone would put it"
MARGINS = ("margin for one effect", "margin for all at once")
BEND_IS = "A bend is the middle against the mean of both ends."
BLEND_IS = "A blend is an even mixture against the mean of its parts."
CENTRE_IS = "The bend at the centre is its bakes against the corners' mean."
NO_INTERVALS = "Each mark is an effect; there was nothing to judge an interval against."


def second_against_first(second: str, first: str) -> str:
    return f"{second} against {first}"


def columns_with_aliases(columns: Iterable[str]) -> tuple[str, ...]:
    return (*columns, "cannot be told from")


def bend_over(variables: str) -> str:
    return f"bend over {variables}"


def effects_title(response: str) -> str:
    return f"Effects on {response}"


def blend_of(variables: str) -> str:
    return f"blend of {variables}"


def half_normal_axis(response: str) -> str:
    return f"size of effect on {response}"


def on_scale_of(scale: str) -> str:
    return f"on the scale of the {scale}"


def effects_alt(response: str) -> str:
    return f"Effects on {response}. Most telling:"


def half_normal_title(response: str) -> str:
    return f"Half-normal picture of {response}"


def columns_of_half_normal(shown: str) -> tuple[str, ...]:
    return ("term", f"effect{shown}", "against the margin for one")


def none_stands_out(named: str, said: str) -> str:
    return f"No effect on {named} stands out; the largest is {said}."


def foremost_drawn(drawn: int, count: int) -> str:
    return f"The {drawn} foremost of {count} are drawn; the table has all."


def some_stand_out(count: int, effects: int, named: str, said: str) -> str:
    return f"{count} of {effects} effects on {named} stand out; the largest is {said}."


def columns_of_effects(unit: str) -> tuple[str, ...]:
    return ("variable", f"effect{unit}", f"low{unit}", f"high{unit}", "verdict", "change from … to")


def half_normal_caption(one: str, every: str) -> str:
    return (
        "Without replicates the small effects serve as the noise (Lenth's margins). An effect beyond "
        f"{one} stands out by itself; beyond {every} it stands out although all were looked at."
    )
