"""How is a check said?

One sentence per check key: what was looked at, what was found, and what it means
for trust. The verdict word stands beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from analysis.results import Check
from analysis.words.findings import say_term
from analysis.words.numbers import join_words, say_count, say_number, say_p, say_share, start

Facts = Mapping[str, Any]
_NAMED = 6  # names listed before "and more"


def say_check(check: Check) -> str:
    """One check as one sentence or two. An unknown key gets a plain sentence, never an error."""
    say = CHECKS.get(check.check, _plain(check.check))
    return start(say(check.facts, check.verdict == "fine"))


def _plain(key: str) -> Callable[[Facts, bool], str]:
    def say(facts: Facts, fine: bool) -> str:
        return f"{key}: {'nothing out of the ordinary' if fine else 'look at this before relying on the answer'}."

    return say


def _p(facts: Facts) -> str:
    return f" ({say_p(facts['p'])})" if facts.get("p") is not None else ""


def _listed(names: Sequence[object]) -> str:
    said = [str(name) for name in names[:_NAMED]]
    return join_words(said) if len(names) <= _NAMED else f"{', '.join(said)} and {len(names) - _NAMED} more"


def _terms(names: Sequence[str]) -> str:
    return _listed([say_term(name) for name in names])


def _spread(facts: Facts, fine: bool) -> str:
    between = facts.get("between", "treatments")
    groups = "treatments" if between == "treatments" else f"levels of {between}"
    if facts.get("with") == "height" or between == "fitted":
        groups = "low and high fitted values"
    if fine:
        return f"the scatter is about as wide between {groups} as one scatter for all would give{_p(facts)}."
    return (
        f"the scatter is not equally wide for all {groups}{_p(facts)}. Intervals are too short where bakes scatter "
        "widely and too long where they do not."
    )


def _odd_bakes(facts: Facts, fine: bool) -> str:
    odd = facts.get("bakes", ())
    if fine or not odd:
        return "no bake lies further from the fitted values than its fellows would lead one to expect."
    what = "bake" if len(odd) == 1 else "bakes"
    return (
        f"{what} {_listed(odd)} {'lies' if len(odd) == 1 else 'lie'} far from the fitted values. Look at the bench "
        "sheet; leave a bake out only for a reason found there."
    )


def _order(facts: Facts, fine: bool) -> str:
    if facts.get("tested") is False:
        return (
            "the rows stand in the order of the settings, so a drift over the order of baking cannot be seen."
            if fine
            else "the order of baking went along with the settings, so a drift cannot be told from their effects."
        )
    if fine:
        return f"no drift over the order of baking stands out from the scatter{_p(facts)}."
    return (
        f"the residuals drift along the order of baking{_p(facts)}. Oven, dough or reader may have changed through the "
        "day; bake in random order and in blocks."
    )


def _lack_of_fit(facts: Facts, fine: bool) -> str:
    if facts.get("tested") is False or (fine and facts.get("p") is None):
        return "without replicate bakes of the same dose, the shape of the curve cannot be checked against pure error."
    if fine:
        return f"the bakes scatter around the curve about as much as replicate bakes do{_p(facts)}."
    return (
        f"the bakes lie further from the curve than replicate bakes lie from each other{_p(facts)}: none of the shapes "
        "follows the response well."
    )


def _shape_choice(facts: Facts, fine: bool) -> str:
    shape, rival = facts.get("shape", "this shape"), facts.get("second") or facts.get("rival")
    weight = facts.get("weight")
    share = f" ({say_share(round(float(weight), 2))} of the weight)" if isinstance(weight, int | float) else ""
    if facts.get("forced"):
        return f"the shape, {shape}, was asked for and not chosen from the data."
    if fine:
        return f"of the shapes tried, {shape} describes the bakes best{share}."
    other = f", with {rival} close behind" if rival else ""
    return (
        f"more than one shape describes these bakes about as well: {shape} is used{share}{other}. What the shapes say "
        "between the doses may differ."
    )


def _few_doses(facts: Facts, fine: bool) -> str:
    doses = facts.get("doses")
    counted = say_count(doses, "dose") if isinstance(doses, int) else "these doses"
    if fine:
        return f"{counted} are enough for the shapes that were tried."
    return f"with {counted}, only the simplest shapes could be tried; a bend between the doses would go unseen."


def _edge_of_range(facts: Facts, fine: bool) -> str:
    if fine:
        return "the best dose lies inside the range that was baked."
    edge = {"low": "lowest", "high": "highest"}.get(str(facts.get("edge", "")), "outermost")
    level = f" with {facts['level']}" if facts.get("level") else ""
    return f"the response is best at the {edge} dose{level}, so the best may lie beyond what was baked."


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
    if readings > bakes:
        return (
            f"{say_count(readings, 'reading')} were averaged to {say_count(bakes, 'bake')}; the bakes are what counts."
        )
    return f"each of the {say_count(bakes, 'bake')} gave one reading."


def _empty_cells(facts: Facts, fine: bool) -> str:
    cells, term = facts.get("cells", ()), facts.get("term")
    if fine:
        return "every combination of levels was baked."
    missing = f": {_listed([say_term(str(cell)) for cell in cells])}" if cells else ""
    lost = f" Whether one effect depends on the other ({say_term(term)}) was left out." if term else ""
    return f"some combinations of levels were never baked{missing}.{lost}"


def _not_estimable(facts: Facts, fine: bool) -> str:
    term, others = say_term(str(facts.get("term", "a term"))), facts.get("with", ())
    with_ = f" together with {_terms(others)}" if others else " together with other terms"
    return f"{term} changed{with_}, so this trial cannot tell their effects apart."


def _rank(facts: Facts, fine: bool) -> str:
    terms = facts.get("terms", ())
    return (
        "all terms can be told apart."
        if fine
        else f"some terms cannot be told apart in these bakes{f': {_terms(terms)}' if terms else ''}."
    )


def _saturated(facts: Facts, fine: bool) -> str:
    return (
        "each treatment was baked once and every effect was fitted, so no scatter between like bakes is left. Effects "
        "are judged against the small ones among them; that works only while few effects are large."
    )


def _dropped_terms(facts: Facts, fine: bool) -> str:
    terms = _terms(facts.get("terms", ()))
    why = {
        "partly aliased": "they are mixed with each other in these bakes",
        "no error df": "nothing would be left to judge the rest against",
    }.get(str(facts.get("because", "")), "the bakes cannot carry them")
    return f"{terms or 'some interactions'} were left out of the model, because {why}. They are taken to be small."


def _aliases(facts: Facts, fine: bool) -> str:
    chains = facts.get("chains", ())
    if fine or not chains:
        return "no two effects asked about are aliases of each other."
    said = "; ".join(" = ".join(say_term(term) for term in chain) for chain in chains[:_NAMED])
    return f"in this design these effects cannot be told apart: {said}. Each is named by its simplest member."


def _constant(facts: Facts, fine: bool) -> str:
    factor, level = facts.get("factor"), facts.get("level")
    if factor:
        return f"{factor} was {level} in every bake, so nothing can be said about it."
    return "every bake gave the same value; there is nothing to explain."


def _few_error_df(facts: Facts, fine: bool) -> str:
    df = facts.get("df_error", 0)
    looks = say_count(df, "degree", "degrees") + " of freedom"
    if fine:
        return f"the error rests on {looks}, enough to judge by."
    return f"the error rests on only {looks}: intervals are wide and the checks see little. Bake more replicates."


def _leading_digits(facts: Facts, fine: bool) -> str:
    return (
        f"the values share their first {facts.get('digits', 'many')} digits, so what differs sits in the last digits "
        "a number can hold. Take the common part off before recording."
    )


def _squares_differ(facts: Facts, fine: bool) -> str:
    term = say_term(str(facts.get("term", "a term")))
    if "p_type_2" in facts and "p_type_3" in facts:
        return (
            f"for {term} the type of sums of squares changes the answer: type 2 gives {say_p(facts['p_type_2'])}, "
            f"type 3 {say_p(facts['p_type_3'])}. The treatments were not baked equally often."
        )
    return f"for {term} the type of sums of squares changes the answer, as treatments were not baked equally often."


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


def _curvature(facts: Facts, fine: bool) -> str:
    factor = facts.get("factor", "the amount")
    if facts.get("tested") is False:
        return f"too few bakes are left to see whether the response bends along {factor}."
    if fine:
        return f"no bend along {factor} stands out from the scatter{_p(facts)}."
    return f"the response bends along {factor}{_p(facts)}: a straight line from low to high does not tell all of it."


def _evenness(facts: Facts, fine: bool) -> str:
    fewest, most = facts.get("fewest", 0), facts.get("most", 0)
    if fewest == most:
        return f"each treatment was baked {_times(most)}."
    tail = "." if fine else "; means of rarely baked treatments are less sure."
    return f"treatments were baked from {fewest} to {_times(most)}{tail}"


def _times(n: int) -> str:
    return {1: "once", 2: "twice"}.get(n, f"{n} times")


def _duplicate_rows(facts: Facts, fine: bool) -> str:
    return (
        f"{facts.get('n', 'some')} rows are the same as another in every column "
        f"(rows {_listed(facts.get('rows', ()))}): if one was entered twice, take it out."
    )


def _scores_as_numbers(facts: Facts, fine: bool) -> str:
    scale = facts.get("scale", "score")
    if scale == "yes-no":
        return "yes and no were counted as 1 and 0; close to all yes or all no, the intervals are rough."
    if scale == "count":
        return "counts were analysed as measurements; with small counts, the intervals are rough."
    return "scores were analysed as numbers, as if each step of the scale were as large as the next."


def _kind_guessed(facts: Facts, fine: bool) -> str:
    kinds = facts.get("kinds", {})
    said = join_words([f"{name} as {'an' if kind == 'amount' else 'a'} {kind}" for name, kind in kinds.items()])
    return f"what kind of factor each column holds was guessed from its values: {said or 'see the factors'}."


def _outside(facts: Facts, fine: bool) -> str:
    return (
        f"{say_count(facts.get('n', 0), 'value')} outside what was called plausible "
        f"({say_number(facts.get('low'))} to {say_number(facts.get('high'))}) were kept."
    )


CHECKS: dict[str, Callable[[Facts, bool], str]] = {
    "spread": _spread,
    "odd bakes": _odd_bakes,
    "order": _order,
    "lack of fit": _lack_of_fit,
    "shape choice": _shape_choice,
    "few doses": _few_doses,
    "edge of range": _edge_of_range,
    "experimental unit": _experimental_unit,
    "empty cells": _empty_cells,
    "not estimable": _not_estimable,
    "rank": _rank,
    "saturated": _saturated,
    "dropped terms": _dropped_terms,
    "aliases": _aliases,
    "constant": _constant,
    "few error df": _few_error_df,
    "leading digits": _leading_digits,
    "sums of squares differ": _squares_differ,
    "whole plot": _whole_plot,
    "uneven whole plots": _uneven_whole_plots,
    "curvature": _curvature,
    "evenness": _evenness,
    "duplicate rows": _duplicate_rows,
    "scores as numbers": _scores_as_numbers,
    "kind guessed": _kind_guessed,
    "outside plausible": _outside,
}
