"""How is it said whether a gauge study can be trusted?"""

from __future__ import annotations

from collections.abc import Callable

from analysis.words.facts import Facts
from analysis.words.numbers import join_words, say_count, say_number, say_p


def _alike(facts: Facts, fine: bool) -> str:
    best, worst = facts["best"], facts["worst"]
    if facts["p"] is None:
        own = say_number(facts["worst_sd"])
        return f"{best} reads the same each time, {worst} does not (SD {own}): look how each reads."
    own, its = say_number(facts["best_sd"]), say_number(facts["worst_sd"])
    ends = f"SD {own} for {best}, {its} for {worst}; {say_p(facts['p'])}"
    if fine:
        return f"all people repeat their readings about alike ({ends})."
    return f"{worst} repeats less well than {best} ({ends}): let {best} show how it is done."


def _grows(facts: Facts, fine: bool) -> str:
    if fine:
        return f"the scatter of repeat readings does not grow or shrink with size ({say_p(facts['p'])})."
    more = "larger" if facts["direction"] == "up" else "smaller"
    return (
        f"repeat readings scatter more on {more} pieces ({say_p(facts['p'])}): one number for all sizes is then only "
        "an average."
    )


def _coarse(facts: Facts, fine: bool) -> str:
    step, sd = say_number(facts["step"]), say_number(facts["sd"])
    if fine:
        return f"the scale is fine enough: its step ({step}) is smaller than the SD of repeat readings ({sd})."
    return f"the scale is coarse: its step ({step}) is larger than the SD of repeat readings ({sd}). Read finer."


def _few_people(facts: Facts, _: bool) -> str:
    return f"with {say_count(facts['people'], 'person', 'people')} the spread between people is hardly known."


def _few_pieces(facts: Facts, _: bool) -> str:
    each = " in all, each with one person" if facts["each"] else ""
    return f"with {say_count(facts['pieces'], 'piece')}{each} the spread between pieces is hardly known."


def _few_repeats(facts: Facts, _: bool) -> str:
    looks = say_count(facts["df"], "look")
    return f"the repeats give only {looks} at how well one person repeats: read more pieces twice."


def _no_repeats(_: Facts, __: bool) -> str:
    return (
        "nobody read a piece twice. How well one person repeats cannot be told from people who read some pieces "
        "higher; both stand together as repeat readings."
    )


def _one_person(_: Facts, __: bool) -> str:
    return "one person read everything, so what people add is not in these numbers."


def _uneven(facts: Facts, _: bool) -> str:
    said = "Pieces were not read equally often, so the intervals are near, not exact."
    if facts["missing"]:
        have = "has" if facts["missing"] == 1 else "have"
        said = f"Of {facts['cells']} pairs of person and piece {facts['missing']} {have} no reading. {said}"
    alone = list(facts["one_piece"])
    return f"{said} {join_words(alone)} read one piece only." if alone else said


def _apart(_: Facts, __: bool) -> str:
    return (
        "some people have no piece in common with the others, so who reads higher cannot be told from whose pieces "
        "are higher."
    )


GAUGE_CHECKS: dict[str, Callable[[Facts, bool], str]] = {
    "repeats alike": _alike,
    "scatter by size": _grows,
    "scale step": _coarse,
    "few people": _few_people,
    "few pieces": _few_pieces,
    "few repeats": _few_repeats,
    "no repeats": _no_repeats,
    "one person": _one_person,
    "uneven readings": _uneven,
    "no piece in common": _apart,
}
