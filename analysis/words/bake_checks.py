"""How is a check of the bakes themselves said: what was counted, combined, entered and left out?"""

from __future__ import annotations

from collections.abc import Callable

from analysis.words.facts import MOST_NAMED, Facts, listed, listed_terms
from analysis.words.finding_parts import say_term
from analysis.words.numbers import join_words, say_count, say_number, say_p


def _experimental_unit(facts: Facts, fine: bool) -> str:
    bakes, readings = facts.get("bakes", 0), facts.get("readings", 0)
    if facts.get("column"):
        return (
            f'each row was counted as one bake, but there is a column "{facts["column"]}". If several rows come from '
            "one bake, name the bake, or the answer looks surer than it is."
        )
    if not fine:
        return (
            "rows with the same settings were counted as bakes of their own. If they are readings of one bake, name "
            "the bake, or the answer looks surer than it is."
        )
    if facts.get("apart"):
        return (
            f"{say_count(readings, 'reading')} of {say_count(bakes, 'bake')} were kept apart by "
            f"{join_words(facts['apart'])}; the bake is a group of its own and stays what counts."
        )
    if readings > bakes:
        return (
            f"{say_count(readings, 'reading')} were averaged to {say_count(bakes, 'bake')}; the bakes are what counts."
        )
    return f"each of the {say_count(bakes, 'bake')} gave one reading."


def _empty_cells(facts: Facts, fine: bool) -> str:
    cells, term = facts.get("cells", ()), facts.get("term")
    if fine:
        return "every combination of levels was baked."
    missing = f": {listed([say_term(str(cell)) for cell in cells])}" if cells else ""
    lost = f" Whether one effect depends on the other ({say_term(term)}) was left out." if term else ""
    return f"some combinations of levels were never baked{missing}.{lost}{_of_those_baked(facts)}"


def _of_those_baked(facts: Facts) -> str:
    """What the other combinations say of the joint effect, where that was tested."""
    if facts.get("p") is None:
        return ""
    p = say_p(float(facts["p"]))
    if facts.get("depends"):
        return f" What was baked shows that it does ({p}), so no effect here holds at every level of the other factor."
    if facts.get("may"):
        return f" What was baked hints that it does ({p}), so read each effect with care."
    return f" What was baked does not show that it does ({p}), which does not rule it out."


def _not_estimable(facts: Facts, fine: bool) -> str:
    term, others = say_term(str(facts.get("term", "a term"))), facts.get("with", ())
    with_ = f" together with {listed_terms(others)}" if others else " together with other terms"
    return f"{term} changed{with_}, so this trial cannot tell their effects apart."


def _rank(facts: Facts, fine: bool) -> str:
    terms = facts.get("terms", ())
    return (
        "all terms can be told apart."
        if fine
        else f"some terms cannot be told apart in these bakes{f': {listed_terms(terms)}' if terms else ''}."
    )


def _aliases(facts: Facts, fine: bool) -> str:
    chains = facts.get("chains", ())
    if fine or not chains:
        return "no two effects asked about are aliases of each other."
    said = "; ".join(" = ".join(say_term(term) for term in chain) for chain in chains[:MOST_NAMED])
    return f"in this design these effects cannot be told apart: {said}. Each is named by its simplest member."


def _constant(facts: Facts, fine: bool) -> str:
    factor, level = facts.get("factor"), facts.get("level")
    if factor:
        return f"{factor} was {level} in every bake, so nothing can be said about it."
    return "every bake gave the same value; there is nothing to explain."


def _few_values(facts: Facts, fine: bool) -> str:
    return (
        f"{facts.get('same', 'most')} of {facts.get('bakes', 'all')} bakes gave one and the same value, so the scatter "
        "says little. Read the response more finely."
    )


def _leading_digits(facts: Facts, fine: bool) -> str:
    return (
        f"the values share their first {facts.get('digits', 'many')} digits, so what differs sits in the last digits "
        "a number can hold. Take the common part off before recording."
    )


def _whole_plot(facts: Facts, fine: bool) -> str:
    factor = facts.get("factor", "a factor")
    if facts.get("because") == "constant within":
        block = facts.get("block", "group")
        return (
            f"{factor} never changed within one {block}. Bakes that share a setting are no fresh replicates of it: "
            f"name {block} as the group, or {factor} looks surer than it is."
        )
    if facts.get("because") == "not reset":
        return (
            f"{factor} was seldom changed from one bake to the next. If it was set once for several bakes, name what "
            f"they shared as the group, or {factor} looks surer than it is."
        )
    return (
        f"{factor} was judged against the scatter between groups of bakes."
        if fine
        else (f"{factor} changed only between groups of bakes, and the answer about it is less sure than it looks.")
    )


def _uneven_whole_plots(facts: Facts, fine: bool) -> str:
    return (
        f"the groups ({facts.get('group', 'whole plots')}) do not all hold the same treatments, from "
        f"{facts.get('fewest', '?')} to {facts.get('most', '?')} bakes each; tests between groups are approximate."
    )


def _evenness(facts: Facts, fine: bool) -> str:
    fewest, most = facts.get("fewest", 0), facts.get("most", 0)
    if fewest == most:
        return f"each treatment was baked {_times(most)}."
    tail = "." if fine else "; means of rarely baked treatments are less sure."
    if (fewest, most) == (1, 2):
        return f"treatments were baked once or twice{tail}"
    return f"treatments were baked {'once' if fewest == 1 else fewest} to {_times(most)}{tail}"


def _duplicate_rows(facts: Facts, fine: bool) -> str:
    return (
        f"{facts.get('n', 'some')} rows are the same as another in everything that was used "
        f"(rows {listed(facts.get('rows', ()))}): if one was entered twice, take it out."
    )


def _scores_as_numbers(facts: Facts, fine: bool) -> str:
    scale = facts.get("scale", "score")
    other = _other_opinion(facts)
    if scale == "yes-no":
        return f"yes and no were counted as 1 and 0; close to all yes or all no, the intervals are rough.{other}"
    if scale == "count":
        return f"counts were analysed as measurements; with small counts, the intervals are rough.{other}"
    return f"scores were analysed as numbers, as if each step of the scale were as large as the next.{other}"


def _other_opinion(facts: Facts) -> str:
    """What the model of scores says of the same bakes, where it could be asked."""
    if facts.get("agrees") is None:
        return ""
    if facts["agrees"]:
        return " Taken as what they are, they lead to the same verdicts."
    said = [
        f"{name} is {'clear' if own < numbers else 'not clear'} ({say_p(own)}, as numbers {say_p(numbers)})"
        for name, own, numbers in facts.get("differ", ())
    ]
    return f" Taken as what they are, {join_words(said)}; ask with --kind score before deciding."


def _kind_guessed(facts: Facts, fine: bool) -> str:
    kinds = facts.get("kinds", {})
    said = join_words([f"{name} as {'an' if kind == 'amount' else 'a'} {kind}" for name, kind in kinds.items()])
    return f"what kind of factor each column holds was guessed from its values: {said or 'see the factors'}."


def _outside(facts: Facts, fine: bool) -> str:
    return (
        f"{say_count(facts.get('n', 0), 'value')} outside what was called plausible "
        f"({say_number(facts.get('low'))} to {say_number(facts.get('high'))}) were kept."
    )


def _times(n: int) -> str:
    return {1: "once", 2: "twice"}.get(n, f"{n} times")


BAKE_CHECKS: dict[str, Callable[[Facts, bool], str]] = {
    "experimental unit": _experimental_unit,
    "empty cells": _empty_cells,
    "not estimable": _not_estimable,
    "rank": _rank,
    "aliases": _aliases,
    "constant": _constant,
    "few values": _few_values,
    "leading digits": _leading_digits,
    "whole plot": _whole_plot,
    "uneven whole plots": _uneven_whole_plots,
    "evenness": _evenness,
    "duplicate rows": _duplicate_rows,
    "scores as numbers": _scores_as_numbers,
    "kind guessed": _kind_guessed,
    "outside plausible": _outside,
}
