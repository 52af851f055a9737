"""How is it said what pH, gas and the oven tell about a change in a log?"""

from __future__ import annotations

from analysis.control.why_results import BesideMoved, Change, Chemistry, Why
from analysis.words.numbers import half_width, join_words, say_amount, say_number, say_percent, start

_VERDICTS = {
    "leavener weak": "the leavener has lost strength, soda and acid alike",
    "leavener strong": "the leavener gives more gas than before, soda and acid alike",
    "amount wrong": "the balance of soda and acid moved while the leavener kept its gas, so look at the weighing",
    "amount or parts": "the balance of soda and acid moved as well, so either the weighing is off or one part of "
    "the leavener has lost more than the other",
    "oven": "the leavening is as it was, and the oven is not",
    "not the leavening": "the leavening is as it was, so look at flour, mixing, shaping and baking",
    "open": "this does not yet tell the leavening from the oven",
}


def say_causes_chemistry(chemistry: Chemistry, change: Change, why: Why) -> str:
    """What pH, gas and the oven say about one change; "" when nothing of the kind was measured."""
    if not chemistry.moved:
        return ""
    told = join_words([_moved(each) for each in chemistry.moved])
    return start(
        f"{told}: {_VERDICTS[chemistry.verdict].format(response=why.response)}.{_wanted(chemistry, change, why)}"
    )


def _moved(moved: BesideMoved) -> str:
    """ "powder gas fell by 18 % (15 to 21 %)", "crumb pH stayed (within -0.03 to 0.02)"."""
    if moved.share is not None and moved.share_low is not None and moved.share_high is not None:
        size, low, high = 100 * moved.share, 100 * moved.share_low, 100 * moved.share_high
        unit = "%"
    else:
        size, low, high, unit = moved.size, moved.low, moved.high, moved.unit
    step = half_width(low, high)
    if moved.moved == "yes":
        ends = sorted((abs(low), abs(high)))
        way = "fell" if size < 0 else "rose"
        return (
            f"{moved.name} {way} by {say_amount(abs(size), unit, step)} "
            f"({say_number(ends[0], step)} to {say_number(ends[1], step)})"
        )
    reach = f"{say_number(low, step)} to {say_amount(high, unit, step)}"
    return (
        f"{moved.name} stayed ({reach})" if moved.moved == "no" else f"{moved.name} may or may not have moved ({reach})"
    )


def _wanted(chemistry: Chemistry, change: Change, why: Why) -> str:
    """The cross-check: how much gas a change of this size would take."""
    if chemistry.gas_wanted is None or chemistry.agrees == "unknown":
        return ""
    least, most = chemistry.gas_wanted
    amount = say_amount(abs(change.size), why.unit, half_width(change.low, change.high))
    way = "less" if change.size < 0 else "more"
    told = (
        f" By two published sets of biscuits, {amount} would take {say_percent(least)} to {say_percent(most)} {way} gas"
    )
    return (
        f"{told}, so the gas can explain it."
        if chemistry.agrees == "yes"
        else f"{told}, so the gas alone does not explain it."
    )


def say_too_few(chemistry: Chemistry) -> str:
    """What was measured too seldom to be read over the change; "" when nothing was."""
    if not chemistry.too_few:
        return ""
    return start(f"{join_words(list(chemistry.too_few))} was read too seldom before or during this change.")


def say_missing(chemistry: Chemistry | None) -> str:
    if chemistry is None or chemistry.verdict != "open" or not chemistry.missing:
        return ""
    missing = join_words(list(chemistry.missing))
    return f" Measure {missing} every few batches, and the leavening can be told from the oven."
