"""How is it said which of very many lines need eyes?"""

from __future__ import annotations

from textwrap import fill

from analysis.control.capability import MEETS, SHORT, WANTED
from analysis.control.fleet.results import Fleet, LineAnswer
from analysis.control.limits import FEW
from analysis.control.rule_costs import A_MONTH, cost_of
from analysis.words.numbers import join_words, say_count, say_number, say_percent

SHOWN = 10
WIDTH = 100
STEP = 0.1  # indices are said to two decimals
_VERDICTS = {MEETS: "the specification is kept", SHORT: "the specification is not kept"}
_UNSURE = "whether the specification is kept cannot be told"
_KINDS = {"capability": "what it can do", "performance": "what it did, since it was not steady,"}
_STATES = {
    "nothing read": "{lines} without a single number: look whether value is the right column.",
    "one batch": "{lines} with one batch: no limits yet.",
    "constant": "{lines} without any spread: readings rounded too far, or copied; no batch can stand out there.",
    "provisional": f"{{lines}} with fewer than {FEW} batches: the limits are provisional.",
}


def say_fleet(fleet: Fleet, *, shown: int = SHOWN) -> str:
    """How many lines, how many raised alarms, which need eyes, the worst first."""
    eyes = fleet.worst_first
    parts = [_head(fleet), _call(fleet, len(eyes)), *(_wrapped(say_line(line, fleet.recent)) for line in eyes[:shown])]
    if len(eyes) > shown:
        parts.append(f"  … and {say_count(len(eyes) - shown, 'more line')}.")
    return "\n".join([*parts, *cautions(fleet)])


def _wrapped(sentence: str) -> str:
    return fill(sentence, WIDTH, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False)


def _head(fleet: Fleet) -> str:
    readings = sum(line.readings for line in fleet.lines)
    sites = len({line.site for line in fleet.lines})
    of = say_count(sites, "site") if sites > 1 else say_count(len({line.product for line in fleet.lines}), "product")
    raised = "none raised an alarm" if fleet.with_alarms == 0 else f"alarms in {fleet.with_alarms:,} of them"
    return f"{_lines(len(fleet.lines))} of {of}, {readings:,} readings: {raised}."


def _call(fleet: Fleet, eyes: int) -> str:
    if eyes == 0:
        return f"None needs eyes now: no alarm in the newest {fleet.recent} batches of any line."
    return f"{_lines(eyes)} {'needs' if eyes == 1 else 'need'} eyes, the worst first:"


def say_line(line: LineAnswer, recent: int) -> str:
    """ "scones, north, line 2, rise height: 3 of the newest 20 batches raised an alarm (…); mean 44 (41 to 47)." """
    said = []
    if line.recent:
        newest = say_count(min(recent, line.batches), "batch", "batches")
        said.append(f"{line.recent} of the newest {newest} raised an alarm, {_when(line)} (over all {_rules(line)})")
    if line.lower is not None and line.upper is not None:
        mean, lower, upper = (_number(value, line) for value in (line.mean, line.lower, line.upper))
        said.append(f"mean {mean}, limits {lower} to {upper}")
    if line.index is not None:
        said.append(_index(line))
    return f"{_name(line)}: {'; '.join(said)}."


def _name(line: LineAnswer) -> str:
    return ", ".join(part for part in line.key if part)


def _when(line: LineAnswer) -> str:
    if line.ago == 0:
        return "also the newest"
    return f"the last one {say_count(line.ago or 0, 'batch', 'batches')} ago"


def _rules(line: LineAnswer) -> str:
    return join_words([f"{count:,} {rule}" for rule, count in line.alarms.items() if count])


def _index(line: LineAnswer) -> str:
    verdict = _VERDICTS.get(line.verdict or "", _UNSURE)
    outside = line.outside or 0
    share = f", {say_percent(outside / line.readings, 2)} of the readings outside it" if outside else ""
    between = ""
    if line.index_low is not None and line.index_high is not None:
        between = f" ({say_number(line.index_low, STEP)} to {say_number(line.index_high, STEP)})"
    index = f"{_KINDS[line.kind]} {say_number(line.index, STEP)}{between}, wanted {say_number(WANTED, STEP)}"
    return f"{verdict}{share}: {index}"


def _number(value: float | None, line: LineAnswer) -> str:
    """To two digits of the spread from batch to batch, or to three of its own without one."""
    return say_number(value, line.sd or None)


def cautions(fleet: Fleet) -> list[str]:
    """What the answer does not cover, each a sentence."""
    said = []
    lost = sum(line.missing for line in fleet.lines)
    if lost:
        lines = sum(line.missing > 0 for line in fleet.lines)
        said.append(f"{say_count(lost, 'reading')} of {_lines(lines)} hold no number and were left out.")
    for state, sentence in _STATES.items():
        if count := fleet.of_state(state):
            said.append(sentence.format(lines=_lines(count)))
    said.append("Limits are made from all batches of a line; what a kitchen froze judges there, in its own charts.")
    said.append(by_chance(fleet))
    return said


def by_chance(fleet: Fleet) -> str:
    """How many steady lines look as if they needed eyes."""
    cost = cost_of(fleet.rules)
    return (
        f"By chance alone about {say_percent(cost.within_25)} of steady lines raise an alarm within {A_MONTH} batches: "
        "begin at the top."
    )


def _lines(count: int) -> str:
    return f"{count:,} {'line' if count == 1 else 'lines'}"
