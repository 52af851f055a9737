"""How is it said at once what a new batch is: usual or not, and what the specification says of it?

Two sentences that never share a word for a bound: limits say what the process does by itself,
the specification what was agreed to deliver.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.control.judging import Verdict
from analysis.control.limits import FEW
from analysis.control.results import Alarm, Chart, Limits, Phase, Point, Specification
from analysis.words.control import CHARTS, say_alarm
from analysis.words.numbers import (
    join_words,
    say_count,
    say_level,
    say_number,
    say_percent,
    start,
    true_minus,
    with_unit,
)

SHOWN = 4  # single pieces named


def say_reading(response: str, unit: str, values: Sequence[float], sd: float | None = None) -> str:
    """ "Rise height 43.0 mm (mean of 4)"."""
    mean = sum(values) / len(values)
    of = f" (mean of {len(values)})" if len(values) > 1 else ""
    return start(f"{response} {with_unit(say_number(mean, sd), unit)}{of}")


def say_against_limits(
    response: str,
    unit: str,
    values: Sequence[float],
    verdict: Verdict,
    limits: Limits,
    *,
    phase: int | None = None,
    expected_from: str = "",
    out_of: float | None = None,
) -> str:
    """Is the batch what the process does by itself? One text of a few sentences.

    ``phase`` is the number of the frozen phase (None: limits are not frozen), ``expected_from`` the
    trial whose promise the limits are, ``out_of`` what a count was taken out of.
    """
    if out_of is None:
        read = say_reading(response, unit, values, limits.sd or None)
    else:
        read, unit = say_count_of(response, sum(values), out_of), ""
    if not can_tell(verdict):
        none = "there is no spread" if out_of is None else "none (or every piece) was counted"
        said = [f"{read} is logged and not judged: the batches behind its limits are all alike, {none}."]
    elif verdict.as_expected:
        said = [f"{read} is what this process does by itself{_reach(verdict.level, limits, unit)}."]
    else:
        said = [f"{read} is not what this process does by itself."]
        said += [start(f"{_alarmed(kind, alarm, verdict, limits, response, unit)}.") for kind, alarm in verdict.alarms]
    said.append(_basis(limits, phase, expected_from))
    return true_minus(" ".join(said))


def can_tell(verdict: Verdict) -> bool:
    """Is there any limit that the batch could have left, or any alarm?"""
    bounds = (bound for point in verdict.points.values() for bound in (point.lower, point.upper))
    return bool(verdict.alarms) or any(bound is not None for bound in bounds)


def say_not_judged(response: str, unit: str, values: Sequence[float], why: str, *, out_of: float | None = None) -> str:
    """Why there is no verdict."""
    read = say_reading(response, unit, values) if out_of is None else say_count_of(response, sum(values), out_of)
    return true_minus(f"{read} is logged and not judged: {why.rstrip('.')}.")


def say_count_of(response: str, count: float, size: float) -> str:
    """ "Split, 3 of 40 (7.5 %),"."""
    return start(f"{response}, {say_level(count)} of {say_level(size)} ({say_percent(count / size, 1)}),")


def say_against_specification(specification: Specification, values: Sequence[float], unit: str) -> str:
    """Does the batch meet what was agreed? Its mean, and its single pieces."""
    lower, upper = specification.lower, specification.upper
    agreed = f"the specification ({say_specification(specification, unit)})"
    outside = [value for value in values if _misses(value, lower, upper)]
    if lower is None and upper is None:
        return true_minus(f"{start(agreed)} names no bound.")
    if not outside:
        what = "every piece" if len(values) > 1 else "it"
        return true_minus(start(f"{what} meets {agreed}."))
    if len(values) == 1:
        return true_minus(f"It misses {agreed}.")
    mean = sum(values) / len(values)
    shown = join_words([with_unit(say_number(value), unit) for value in outside[:SHOWN]])
    more = " …" if len(outside) > SHOWN else ""
    the_mean = "the mean misses it too" if _misses(mean, lower, upper) else "the mean meets it"
    miss = "misses" if len(outside) == 1 else "miss"
    return true_minus(f"{len(outside)} of {len(values)} pieces {miss} {agreed}: {shown}{more}; {the_mean}.")


def say_specification(specification: Specification, unit: str) -> str:
    """ "40 to 48 mm, target 44 mm"."""
    lower, upper, target = (
        None if bound is None else say_level(bound)
        for bound in (specification.lower, specification.upper, specification.target)
    )
    if lower is not None and upper is not None:
        said = with_unit(f"{lower} to {upper}", unit)
    elif lower is not None:
        said = with_unit(f"at least {lower}", unit)
    elif upper is not None:
        said = with_unit(f"at most {upper}", unit)
    else:
        said = "no bound"
    return said if target is None else f"{said}, target {with_unit(target, unit)}"


def say_recorded_alarm(
    response: str, unit: str, chart: str, rule: str, side: str, values: Sequence[float], batch: str, since: str
) -> str:
    """An alarm as it was entered (or several in a row): "batch 12, rise height (batch means), 39.2 mm: outside …"."""
    over = f"batches {since} to {batch}" if since != batch else f"batch {batch}"
    where = f", {side}" if side else ""
    on = CHARTS.get(chart, (chart, ""))[0]
    shown = say_number(values[-1]) if len(values) == 1 else f"{say_number(values[0])} … {say_number(values[-1])}"
    return true_minus(f"{over}, {response} ({on}), {with_unit(shown, unit)}: {rule}{where}")


def say_too_few(batches: int, fewest: int) -> str:
    """Why a batch is not judged yet."""
    there = f"there {'is' if batches == 1 else 'are'} {say_count(batches, 'batch')}" if batches else "there is no batch"
    return f"{there} before it to compare it with; from {fewest} on there are provisional limits"


def say_frozen(response: str, phase: int, limits: Limits, unit: str, raised: Sequence[str]) -> tuple[str, ...]:
    """What freezing limits has settled, and what to look at: ``raised`` are batches of its base that raise alarms."""
    said = [
        f"Phase {phase} of {response}: {_span(limits, unit)} from batch {limits.first_batch} on, "
        f"made from {say_count(limits.batches, 'batch')} up to {limits.last_batch} ({limits.method})."
    ]
    if limits.provisional:
        said.append(f"They stay provisional: they rest on {say_count(limits.batches, 'batch')}, good ones on {FEW}.")
    if raised:
        shown = join_words(list(raised[:SHOWN])) + (" …" if len(raised) > SHOWN else "")
        said.append(
            f"Of the batches they were made from, {shown} {'raises' if len(raised) == 1 else 'raise'} an alarm: "
            "limits made without what had a cause are narrower."
        )
    return tuple(map(true_minus, said))


def say_phase(response: str, unit: str, phase: Phase, rules: Sequence[str]) -> str:
    """A phase in a list: what holds, from when on, by whom and why, judged by which rules."""
    limits = phase.limits
    by = f"frozen on {limits.frozen_at[:10]} by {limits.author}: {limits.reason.rstrip('.')}"
    base = f"from {say_count(limits.batches, 'batch')}, {limits.first_batch} to {limits.last_batch}"
    few = ", provisional" if limits.provisional else ""
    return true_minus(
        f"{response}, phase {phase.number}, from batch {phase.from_batch} on: {_span(limits, unit)} "
        f"({limits.method} {base}{few}), {by}. Rules: {join_words(list(rules))}."
    )


def _span(limits: Limits, unit: str) -> str:
    if limits.lower is None or limits.upper is None:
        return f"the centre {with_unit(say_number(limits.centre, limits.sd or None), unit)} without limits"
    low, high = (say_number(bound, limits.sd) for bound in (limits.lower, limits.upper))
    return f"limits {low} to {with_unit(high, unit)}, centre {with_unit(say_number(limits.centre, limits.sd), unit)}"


def _reach(level: Point, limits: Limits, unit: str) -> str:
    if level.lower is None or level.upper is None:
        return ""
    low, high = (say_number(bound, limits.sd or None) for bound in (level.lower, level.upper))
    return f", {low} to {with_unit(high, unit)}"


def _alarmed(kind: str, alarm: Alarm, verdict: Verdict, limits: Limits, response: str, unit: str) -> str:
    """An alarm as its chart says it, told of this one batch."""
    point = verdict.points[kind]
    chart = Chart(kind=kind, response=response, unit=unit, limits=limits, points=(point,), alarms=(alarm,))
    said = say_alarm(alarm, chart).removeprefix(f"{alarm.batch}: ")
    return said if kind == next(iter(verdict.points)) else f"{CHARTS[kind][1]}: {said}"


def _basis(limits: Limits, phase: int | None, expected_from: str) -> str:
    if phase is not None:
        provisional = "" if not limits.provisional else f", from {say_count(limits.batches, 'batch')} only"
        return f"(Limits of phase {phase}, frozen on {limits.frozen_at[:10]} by {limits.author}{provisional}.)"
    if expected_from:
        return f'(Limits expected from the trial "{expected_from}", until {FEW} batches exist.)'
    of = f"from the {say_count(limits.batches, 'batch')} before it"
    if limits.provisional:
        return f"(Provisional limits, {of}; from {FEW} on they may be frozen.)"
    return f"(Limits not frozen yet, {of}; they may be frozen.)"


def _misses(value: float, lower: float | None, upper: float | None) -> bool:
    return (lower is not None and value < lower) or (upper is not None and value > upper)
