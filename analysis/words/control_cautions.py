"""What is to be known about the limits of a chart, its rules and their cost, and what was left out?"""

from __future__ import annotations

import math
from collections.abc import Sequence

from analysis.control.limits import FEW
from analysis.control.results import Chart
from analysis.control.rule_costs import A_MONTH, RuleCost
from analysis.results import LeftOut
from analysis.words.numbers import join_words, say_count, say_fixed, say_level, say_number, say_percent, start
from analysis.words.plurals import several

MOST_NAMED = 5  # rows or batches that were left out

_RULES: dict[str, str] = {
    "outside the limits": "One batch lies outside its limits.",
    "eight on one side": "Eight batches in a row lie on one side of the centre: the level has moved a little.",
    "six rising or falling": "Six batches in a row, each higher (or each lower) than the one before: a drift.",
    "two of three far out": "Two of three batches lie more than two thirds of the way to the same limit.",
    "four of five well out": "Four of five batches lie more than a third of the way to the same limit.",
    "fourteen up and down": "Fourteen batches go up and down in turn: two ovens, shifts or scales that alternate.",
    "fifteen close in": "Fifteen batches lie within a third of the way: calmer than the limits allow for, "
    "or batches that mix two sources.",
    "eight away from the centre": "Eight batches in a row keep away from the centre, on either side: two states "
    "in one chart.",
}
_CAUTIONS: dict[str, str] = {
    "few batches": "The limits are provisional: they rest on {batches}; from {few} on they hold.",
    "promised": "They hold until {few} batches exist; from then on batches are compared with each other.",
    "no spread promised": "What the trial promised says nothing of the spread within a batch: "
    "no batch can stand out here yet.",
    "constant": "There is no spread to make limits from ({where}), so no batch can stand out here. "
    "Look whether the readings are rounded too far, or copied.",
    "coarse": "Readings come in steps larger than the usual spread of a batch, so limits are rough; "
    "read one digit more.",
    "batches differ": "Batches differ by much more than their readings tell, as doughs of different days do; "
    "limits from batch to batch (--kind between) allow for that.",
    "none counted": "Nothing was counted in any batch, so there is no limit yet.",
    "more scatter than chance": "Batches differ by more than counting explains, as different days do; the limits are "
    "widened for it.",
    "more scatter than chance, not widened": "Batches differ by more than counting explains, so limits that allow for "
    "chance alone call too many of them out.",
    "less scatter than chance": "Batches differ by less than counting explains: the same pieces counted twice, or "
    "counts that are made to fit.",
    "exact limits": "Counts are few, so limits are those of the exact chances and not alike to both sides.",
    "batches left out": "Batches without a reading of every response are left out.",
    "averaged": "Each batch stands with the mean of its readings; what its pieces differ by is not charted.",
    "dependent": "Neighbouring batches are alike (correlation {lag1}): a step or a drift does that, and so does a "
    "process with a memory. Where no cause is found, limits that allow for it (--kind dependent) call fewer "
    "batches falsely.",
    "opposed": "Neighbouring batches are unlike (correlation {lag1}): what was high once is low next, as with two "
    "ovens in turn or a setting corrected too often.",
    "dependence not seen": "Neighbouring batches are not seen to be alike; plain limits would do.",
    "skewed": "Batches reach further out on one side than on the other, so alarms on that side come too often; limits "
    "with two widths (--kind skewed) allow for it.",
    "uneven limits": "Batches reach further out on one side, so the limits have two widths.",
    "uneven limits, not needed": "Batches reach out alike to both sides; plain limits would do.",
}

_ALLOWED_FOR = (
    "Neighbouring batches are alike (correlation {lag1}), and the limits allow for it. A step or a drift makes them "
    "alike too and hides here: ask first what changed (batch why)."
)


def say_rule(rule: str) -> str:
    """What a rule looks for, in a sentence beside its switch."""
    return _RULES.get(rule, start(f"{rule}."))


def say_false_alarms(cost: RuleCost) -> str:
    """How often the rules call a process that does not change, as long as its limits are known."""
    give = "this rule gives" if len(cost.rules) == 1 else "these rules together give"
    return (
        f"When nothing changes, {give} a false alarm on the level about once in {_length(cost)} batches, "
        f"and within {A_MONTH} batches in {say_percent(cost.within_25)} of cases."
    )


def say_rule_cost(alone: RuleCost, beside: RuleCost, *, usual: bool) -> str:
    """What one rule adds: its false alarms by itself, and with the usual two."""
    said = f"A false alarm about once in {_length(alone)} batches by itself"
    return f"{said}; one of the usual two." if usual else f"{said}, {_length(beside)} with the usual two."


def _length(cost: RuleCost) -> str:
    # Simulated lengths carry no more digits than their interval.
    return say_number(cost.run_length, 10 * cost.half_width if cost.half_width else None)


def say_caution(caution: str, chart: Chart) -> str:
    """A sentence for a key of ``chart.cautions``; a key that is a sentence stays one."""
    words = _CAUTIONS.get(caution, caution)
    if caution == "dependent" and "by" in chart.more:
        words = _ALLOWED_FOR
    lag1 = chart.more.get("lag1")
    return words.format(
        lag1=say_fixed(lag1, 2) if isinstance(lag1, float) else "",
        batches=say_count(chart.limits.batches, "batch"),
        few=FEW,
        where=chart.kind,
    )


def say_more(chart: Chart) -> tuple[str, ...]:
    """How soon a chart with a memory sees what, as long as its limits are known."""
    length, catches = chart.more.get("run_length"), chart.more.get("catches")
    if not isinstance(length, float) or not isinstance(catches, dict):
        return ()
    shifts = join_words([say_level(float(shift)) for shift in catches])
    seen = join_words([say_level(math.ceil(float(batches))) for batches in catches.values()])
    return (
        f"When nothing changes, a false alarm comes about once in {say_level(round(length))} batches; a level that "
        f"moves by {shifts} standard deviations of a batch is seen after about {seen} batches.",
    )


def say_other_phases(response: str, phases: int) -> str:
    """That frozen limits could not be used on this kind of chart."""
    return (
        f"The limits of {say_count(phases, 'phase')} of {response} were frozen for another kind of chart and are "
        "not used here."
    )


def say_rows_left_out(left_out: Sequence[LeftOut]) -> tuple[str, ...]:
    """One sentence for each reason: how many rows or batches were left out, and which."""
    reasons = dict.fromkeys(out.why for out in left_out)
    return tuple(_left_out(why, [out.row for out in left_out if out.why == why]) for why in reasons)


def _left_out(why: str, rows: Sequence[int | str]) -> str:
    what = "row" if all(isinstance(row, int) for row in rows) else "batch"
    named = [str(row) for row in rows[:MOST_NAMED]]
    more = f" and {len(rows) - MOST_NAMED} more" if len(rows) > MOST_NAMED else ""
    listed = join_words(named) if not more else f"{', '.join(named)}{more}"
    return f"{start(what if len(rows) == 1 else several(what))} {listed} left out: {why}."
