"""How is it said what a log's level changed with, when, how surely, and what to do next?"""

from __future__ import annotations

from textwrap import wrap

from analysis.control.why_results import Change, Chemistry, Suspect, Why
from analysis.words.cause_chemistry import say_causes_chemistry, say_missing, say_too_few
from analysis.words.numbers import (
    half_width,
    join_words,
    say_amount,
    say_count,
    say_fixed,
    say_number,
    say_percent,
    say_share,
    start,
)
from analysis.words.plurals import several

WIDTH = 100
SURE, LIKELY = 0.95, 0.8
_NOTHING = "nothing in the log changed with it"
_UNNAMED = "the log names no lots, ovens or shifts"

_LEFT_OUT = {
    "not noted": "was never noted",
    "never changed": "never changed, so nothing can go with it",
    "too few batches": "stands in too few batches to be asked",
}
_NEXT_LOT = {
    "step": "bake the same dough twice on one day, once with {what} and once with another lot; "
    "if it shows again, ask the supplier and change the formula or the lot",
    "drift": "open a fresh lot and bake it beside {what} on the same day; keep the open one closed and dry, "
    "and note how long it has stood open",
}
_NEXT_SETTING = {
    "oven": "measure the temperature of {what} at the tray with a thermometer of its own, "
    "and bake the same dough in it and in another on one day",
    "shift": "let one shift make a batch as the other does, and compare how they weigh, mix and let stand",
    "weekday": "look at what differs on that day: who bakes, what was left standing, what came in",
    "line": "make the same dough on {what} and on another on one day",
}


def say_suspect(suspect: Suspect) -> str:
    """ "flour lot F-334", "the lower oven", "oven B", "the late shift", "Thursday"."""
    column, level = suspect.column, suspect.level
    if not column:
        return "something that is not in the log"
    if suspect.of_lot:
        return f"{column} lot {level}" if level else f"the age of each lot of {column}"
    if not level:
        return f"the {column}"
    if column == "weekday":
        return level
    if column.casefold() in level.casefold():
        return f"the {level}"
    return f"the {level} {column}" if level.isalpha() and level.islower() else f"{column} {level}"


def say_headline(why: Why) -> str:
    """What is most worth knowing, in one sentence."""
    batches = say_count(len(why.batches), "batch")
    if not why.changes:
        return (
            f"No change of level shows in {batches} of {why.response}: chance alone shows as much "
            f"in {_of_logs(why.p_value)} like this one."
        )
    causes = [say_suspect(change.cause) for change in why.changes if change.cause.logged]
    told = say_count(len(why.changes), "change")
    if not why.asked:
        return f"{told} in {batches} of {why.response}; {_UNNAMED} {_it(why)} may have gone with."
    if not causes:
        return f"{told} in {batches} of {why.response}, and nothing in the log changed with {_it(why, more='them')}."
    return f"{told} in {batches} of {why.response}: {join_words(list(dict.fromkeys(causes)))}{_rest(why, causes)}."


def _it(why: Why, one: str = "it", more: str = "they") -> str:
    return one if len(why.changes) == 1 else more


def _rest(why: Why, causes: list[str]) -> str:
    others = len(why.changes) - len(causes)
    return f", and {others} that nothing in the log goes with" if others else ""


def _of_logs(p: float) -> str:
    return "fewer than 1 of 100 logs" if p < 0.01 else f"{say_fixed(100 * p, 0)} of 100 logs"


def say_change(change: Change, why: Why, confidence: float = 0.95) -> str:
    """What happened, from which batch to which, by how much, and with what."""
    said = _drift(change, why, confidence) if change.cause.behaviour == "drift" else _step(change, why, confidence)
    return start(f"{said}{_beginning(change)}.")


def _stretch(change: Change, why: Why) -> str:
    if change.onset is None and not change.cause.of_lot:
        return "all along"
    if change.to_batch == why.batches[-1]:
        return f"from batch {change.from_batch} on"
    return f"from batch {change.from_batch} to {change.to_batch}"


def _step(change: Change, why: Why, confidence: float) -> str:
    amount, interval = _by(change, why.unit, confidence)
    way = "lower" if change.size < 0 else "higher"
    was, cause = f"{_stretch(change, why)} {why.response} was {amount} {way}", change.cause
    if not cause.logged:
        return f"{was} ({interval}){_unexplained(why)}"
    if cause.of_lot:
        return f"{was} ({interval}); it began with {say_suspect(cause)}"
    against = f"with {say_suspect(_other(change))}" if change.against else "otherwise"
    return f"{was} with {say_suspect(cause)} than {against} ({interval})"


def _other(change: Change) -> Suspect:
    return Suspect(column=change.cause.column, level=change.against, behaviour="offset")


def _drift(change: Change, why: Why, confidence: float) -> str:
    amount, interval = _by(change, why.unit, confidence)
    way, cause = "fell" if change.size < 0 else "rose", change.cause
    slope = abs(change.per_batch or 0.0)
    share = slope / abs(change.size) if change.size else 1.0
    each = say_amount(slope, why.unit, (half_width(change.low, change.high) or abs(change.size)) * share)
    if cause.of_lot and not cause.level:
        return (
            f"{why.response} {way} by {each} for each batch that a lot of {cause.column} had been open, "
            f"{amount} at its oldest ({interval})"
        )
    went = f"{_stretch(change, why)} {why.response} {way} by {each} a batch, {amount} in all ({interval})"
    if cause.of_lot:
        return f"{went}, as {say_suspect(cause)} grew older"
    return f"{went}, with {say_suspect(cause)}" if cause.logged else f"{went}{_unexplained(why)}"


def _unexplained(why: Why) -> str:
    return f"; {_NOTHING}" if why.asked else ""


def _by(change: Change, unit: str, confidence: float) -> tuple[str, str]:
    """The amount without its sign, and its interval; one that reaches over zero keeps its signs."""
    step = half_width(change.low, change.high)
    amount = say_amount(abs(change.size), unit, step)
    ends = sorted((abs(change.low), abs(change.high))) if change.low * change.high > 0 else (change.low, change.high)
    return amount, f"{say_share(confidence)} interval {say_number(ends[0], step)} to {say_number(ends[1], step)}"


def _beginning(change: Change) -> str:
    """Where the readings alone put the beginning, and, of a lot, whether that is where it was opened."""
    if change.onset is None:
        late = change.onset_high not in (None, change.from_batch)
        return f"; it may have begun as late as batch {change.onset_high}" if late else ""
    single = change.onset_low == change.onset_high
    where = (
        f"batch {change.onset}"
        if single
        else f"batch {change.onset}, interval {change.onset_low} to {change.onset_high}"
    )
    if not change.cause.of_lot:
        return f"; the readings put the beginning at {where}"
    if single and change.onset == change.from_batch:
        return f" (batch {change.from_batch}, and the readings alone say the same)"
    return f" (batch {change.from_batch}; the readings alone say {where})"


def say_sureness(change: Change) -> str:
    """How surely it is this cause and not another, and which others cannot be told from it."""
    chance = f"Chance alone shows as much in {_of_logs(change.p_value)} like this one."
    close = [rival for rival in change.rivals if rival.alike >= 0.9 and rival.suspect.logged]
    name = say_suspect(change.cause)
    if change.weight < LIKELY and change.rivals:
        names = join_words([name, *(say_suspect(rival.suspect) for rival in change.rivals)], "or")
        together = "they changed together" if close else "each would leave much the same pattern"
        return f"{chance} Whether it was {names} cannot be told: {together}."
    if not change.cause.logged:
        return chance
    sure = "clearly better" if change.weight >= SURE else "better"
    told = f"It goes with {name} {sure} than with anything else in the log (weight {say_percent(change.weight)})."
    if close:
        others = join_words([say_suspect(rival.suspect) for rival in close])
        told += f" But {others} changed at nearly the same batches: only the few in between tell them apart."
    elif change.rivals:
        others = join_words([f"{say_suspect(each.suspect)} ({say_percent(each.weight)})" for each in change.rivals])
        told += f" Possible as well: {others}."
    return f"{chance} {told}"


def say_next(change: Change, chemistry: Chemistry | None = None) -> str:
    """What to do next about one change."""
    logged = [rival.suspect for rival in change.rivals if rival.suspect.logged]
    if change.cause.logged and change.weight < LIKELY and logged:
        pair = f"{say_suspect(change.cause)} and {say_suspect(logged[0])}"
        return f"Next: tell {pair} apart by baking the same dough on one day with each of them and the other's partner."
    if not change.cause.logged:
        around = f"batches {change.onset_low} to {change.onset_high}" if change.onset else f"batch {change.from_batch}"
        return f"Next: look up what happened around {around} (recipe, water, people, repairs) and write it in the log."
    words = _NEXT_LOT[change.cause.behaviour] if change.cause.of_lot else _NEXT_SETTING.get(change.cause.column, "")
    words = words or "bake the same dough with {what} and without it on one day"
    return f"Next: {words.format(what=say_suspect(change.cause))}.{say_missing(chemistry)}"


def say_unasked(what: str, reason: str) -> str:
    """ "line never changed, so nothing can go with it." """
    return start(f"{what} {_LEFT_OUT[reason]}.")


def say_ground(why: Why) -> str:
    """How the batches scatter otherwise, which every sentence above rests on."""
    spread = say_amount(why.sd, why.unit)
    hang = "batches hang together a little" if why.correlation >= 0.2 else ""
    hang = "batches hang together" if why.correlation >= 0.5 else hang
    asked = f"asked: {join_words(list(why.asked))}" if why.asked else ""
    return start(
        "; ".join(part for part in (f"otherwise a batch mean scatters by {spread}", hang, asked) if part) + "."
    )


def why_text(why: Why) -> str:
    """What a terminal shows."""
    parts = [say_headline(why)]
    for place, change in enumerate(why.changes):
        chemistry = why.chemistry[place]
        sentences = [
            say_change(change, why),
            say_sureness(change),
            say_causes_chemistry(chemistry, change, why),
            say_too_few(chemistry),
            say_next(change, chemistry),
        ]
        parts.append("\n".join("\n".join(wrap(each, WIDTH - 2)) for each in sentences if each))
    parts.append("\n".join("\n".join(wrap(each, WIDTH)) for each in say_limits_of_it(why)))
    return "\n\n".join(parts)


def say_limits_of_it(why: Why) -> tuple[str, ...]:
    """What the answer rests on and does not say."""
    said = [say_ground(why)]
    if any(change.cause.logged for change in why.changes):
        said.append("What goes with a change best need not have caused it; a bake with and without it would tell.")
    said += [say_unasked(what, reason) for what, reason in why.left_out]
    if why.gaps:
        said.append(f"{say_count(why.gaps, 'batch', several('batch'))} without {why.response} left out.")
    return tuple(said)
