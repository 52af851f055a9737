"""What does the page of a day, a week or a month of batches say, and under which headings?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from analysis.control.results import Specification
from analysis.words.numbers import join_words, say_count, say_number, start, with_unit
from analysis.words.plurals import several

TITLES = {
    "answer": "Is it still what it was?",
    "do": "What to do",
    "glance": "Batch by batch",
    "alarms": "What stood out",
    "why": "What it went with",
    "specification": "What was promised",
    "decided": "Held and rejected",
    "batches": "The batches",
    "made": "How it was judged",
    "provenance": "Where this comes from",
    "eyes": "Needs eyes first",
    "calm": "Product by product",
}
CHART_TITLES = {
    "question": "Do the batches do what they do by themselves, or did something change?",
    "answer": "Is it stable?",
    "glance": "Batch by batch",
    "specification": "What was promised, and false alarms",
    "made": "How it was judged",
    "provenance": "Where this comes from",
}
QUESTION = "Is the bakery still baking what it did, and what it promised?"
COLUMNS_OF_ALARMS = ("batch", "response", "what stood out", "cause", "action")
COLUMNS_OF_CAUSES = ("cause", "alarms", "batches", "last", "what was done")
COLUMNS_OF_DECISIONS = ("batch", "decided", "reason")
COLUMNS_OF_PRODUCTS = ("product", "batches", "with alarms", "outside the specification", "alarms without a cause")
ALARMS_CAPTION = "Alarms of these batches, each with its cause where one was found"
CAUSES_CAPTION = "Causes that were found, the most frequent first"
BATCHES_CAPTION = "Each batch with what it was made from and the means of its readings"
DECISIONS_CAPTION = "Batches that were held or rejected"
PRODUCTS_CAPTION = "Products and their batches, those that need eyes first"
NO_ALARM = "No batch raised an alarm."
NO_CAUSE_YET = "not found yet"
NOBODY_YET = "nobody has answered it yet"
LOOKING_BACK = "seen only in looking back; no alarm was entered"
HOT = (
    "Hot ovens and trays burn, and raw flour and egg can make ill: gloves, washed hands, and the local rules on food "
    "and on what may leave the bakery come before anything on this page."
)
_MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def say_day(day: date) -> str:
    """ "Thursday 30 April 2026"."""
    return f"{_DAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]} {day.year}"


def say_period(kind: str, first: date, last: date) -> str:
    """What the page is about: "Thursday 30 April 2026", "the week from 20 to 26 April 2026", "April 2026"."""
    if kind == "day":
        return say_day(first)
    if kind == "month":
        return f"{_MONTHS[first.month - 1]} {first.year}"
    same = (first.year, first.month) == (last.year, last.month)
    begin = f"{first.day}" if same else f"{first.day} {_MONTHS[first.month - 1]}"
    begin += "" if first.year == last.year else f" {first.year}"
    reach = f"from {begin} to {last.day} {_MONTHS[last.month - 1]} {last.year}"
    return f"the week {reach}" if kind == "week" else f"all batches {reach}"


def page_title(product: str, kind: str, first: date, last: date) -> str:
    """ "Pass scones: the week from 20 to 26 April 2026"."""
    return start(f"{product}: {say_period(kind, first, last)}")


def products_title(kind: str, first: date, last: date) -> str:
    """ "All products: April 2026"."""
    return f"All products: {say_period(kind, first, last)}"


def say_of_period(
    response: str,
    batches: int,
    alarmed: int,
    *,
    provisional: bool,
    limits: bool,
    expected: float | None,
    changed: bool = False,
) -> str:
    """The verdict on one response over the batches of the page.

    ``expected`` runs of alarms are what chance gives when nothing changes; None where there are more than that.
    ``changed``: a change of its level reaches into these batches.
    """
    whole = say_count(batches, "batch")
    if not limits:
        return start(f"whether {response} of {_these(batches)} is as usual cannot be said yet: there are no limits.")
    still = ", by limits that are still provisional" if provisional else ""
    if not alarmed and changed:
        return start(f"{response} is not as it was: its level changed, though no batch raises an alarm{still}.")
    if not alarmed:
        which = "the one batch is" if batches == 1 else f"all {whole} are"
        return start(f"{response} is as it always was: {which} what the process does by itself{still}.")
    part = "it raises an alarm" if batches == 1 else f"{alarmed} of {whole} {_raise(alarmed)} an alarm"
    if expected is None or changed:
        return start(f"{response} is not as it was: {part}{still}.")
    return start(
        f"{response} shows no more than chance: {part}{still}, and when nothing changes about "
        f"{say_number(expected, expected)} such runs are to be expected."
    )


def _raise(count: int) -> str:
    return "raises" if count == 1 else "raise"


def _these(batches: int) -> str:
    return "this batch" if batches == 1 else "these batches"


def say_outside(response: str, unit: str, outside: int, pieces: int, specification: Specification) -> str:
    """How many readings of these batches lie outside the specification."""
    of = say_count(pieces, "reading")
    promised = say_specification(specification, unit)
    if not outside:
        all_of = "the one reading lies" if pieces == 1 else f"all {of} lie"
        return start(f"{response} meets its specification, {promised}: {all_of} inside.")
    lie = "lies" if outside == 1 else "lie"
    return start(f"{response} misses its specification, {promised}: {outside} of {of} {lie} outside.")


def say_specification(specification: Specification, unit: str) -> str:
    """ "40 to 48 mm", "at least 395 g"."""
    low, high = specification.lower, specification.upper
    if low is not None and high is not None:
        return f"{say_number(low)} to {with_unit(say_number(high), unit)}"
    if low is not None:
        return f"at least {with_unit(say_number(low), unit)}"
    return f"at most {with_unit(say_number(high or 0.0), unit)}" if high is not None else "no limits"


def say_no_batches(kind: str, first: date, last: date) -> str:
    """That the stretch holds no batch."""
    on = "on" if kind == "day" else "in"
    return f"No batch was baked {on} {say_period(kind, first, last).removeprefix('all batches ')}."


def say_open_alarms(alarms: int, batches: Sequence[str]) -> str:
    """That alarms wait for a cause; ``batches`` may name runs, "12 to 15"."""
    shown = join_words(list(batches[:4])) + (" and others" if len(batches) > 4 else "")
    what = say_count(alarms, "alarm")
    return (
        f"Say what caused {what} ({several('batch') if len(batches) > 1 or ' to ' in batches[0] else 'batch'} {shown})."
    )


def say_held(batches: Sequence[str]) -> str:
    """That batches on hold wait for a decision."""
    return f"Decide about what is on hold: {join_words(list(batches))}."


def say_freeze(response: str) -> str:
    """That limits are old enough to be frozen."""
    return start(f"{response}: freeze the limits, so that further batches are judged by them.")


def say_go_on() -> str:
    return "Go on as it is."


def say_how_judged(rules: Sequence[str], batches: int) -> str:
    """The rules and what they were asked of."""
    return (
        f"Each batch was asked for {join_words(list(rules))}; the charts hold all {say_count(batches, 'batch')} of the "
        "log up to the end of these, so that a run which began earlier is seen."
    )


def say_alarmed(response: str, alarmed: int, batches: int) -> str:
    """Why a product needs eyes: its alarms."""
    return start(f"{response}: {alarmed} of {say_count(batches, 'batch')} with an alarm.")


def say_missed(response: str, outside: int, readings: int) -> str:
    """Why a product needs eyes: what was promised and not met."""
    return start(f"{response}: {outside} of {say_count(readings, 'reading')} outside the specification.")


def say_unanswered(alarms: int) -> str:
    return f"{say_count(alarms, 'alarm')} without a cause."


def say_products(total: int, eyes: int) -> str:
    """The headline over many products."""
    if not eyes:
        return f"Nothing stands out: all {say_count(total, 'product')} are as usual."
    return f"{eyes} of {say_count(total, 'product')} {'needs' if eyes == 1 else 'need'} eyes."
