"""How is it said whether a process is stable, which batches stood out, and by which rule?"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from textwrap import wrap

from analysis.control.limits import FEW
from analysis.control.results import Alarm, Chart, Limits, Point
from analysis.control.rule_costs import A_MONTH, RuleCost
from analysis.results import LeftOut
from analysis.words.numbers import join_words, say_count, say_number, say_percent, start, true_minus, with_unit
from analysis.words.plurals import several

WIDTH = 100
SHOWN = 3  # values named one by one
MOST_NAMED = 10  # rows or batches that were left out

# The chart's name, and what one of its points is.
CHARTS: dict[str, tuple[str, str]] = {
    "individuals": ("each batch by itself", "a batch"),
    "moving range": ("step from one batch to the next", "the step from one batch to the next"),
    "batch mean": ("batch means", "the mean of a batch"),
    "range": ("range within a batch", "the range within a batch"),
    "standard deviation": ("standard deviation within a batch", "the standard deviation within a batch"),
    "weighted mean": ("weighted mean of the batches so far", "the weighted mean"),
    "cumulative sum": ("cumulative sum of what lies off the target", "the cumulative sum"),
    "share": ("share of the pieces", "the share in a batch"),
    "count": ("count", "the count in a batch"),
    "rate": ("rate", "the rate of a batch"),
    "several responses": ("several responses at once", "the distance of a batch from what is usual"),
}

# What completes each rule: {far} is the limit on the side in question, {side} "above" or "below".
_COMPLETED: dict[str, str] = {
    "eight on one side": "eight batches in a row {side} the centre",
    "six rising or falling": "six batches in a row, each {higher} than the one before",
    "two of three far out": "two of three batches more than two thirds of the way to the {far} limit",
    "four of five well out": "four of five batches more than a third of the way to the {far} limit",
    "fourteen up and down": "fourteen batches in a row go up and down in turn",
    "fifteen close in": "fifteen batches in a row lie within a third of the way to the limits",
    "eight away from the centre": "eight batches in a row lie more than a third of the way out, to either side",
}
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
    "constant": "There is no spread to make limits from ({where}), so no batch can stand out here. "
    "Look whether the readings are rounded too far, or copied.",
    "coarse": "Readings come in steps larger than the usual spread of a batch, so limits are rough; "
    "read one digit more.",
    "batches differ": "Batches differ by much more than their readings tell, as doughs of different days do; "
    "limits from batch to batch (--kind between) allow for that.",
    "averaged": "Each batch stands with the mean of its readings; what its pieces differ by is not charted.",
    "dependent": "Neighbouring batches are alike, so limits are too narrow and alarms come too often.",
    "skewed": "Readings reach further out on one side, so alarms on that side come too often.",
}


def say_rule(rule: str) -> str:
    """What a rule looks for, in a sentence beside its switch."""
    return _RULES.get(rule, start(f"{rule}."))


def say_false_alarms(cost: RuleCost) -> str:
    """How often the rules call a process that does not change, as long as its limits are known."""
    # Simulated lengths carry no more digits than their interval.
    length = say_number(cost.run_length, 10 * cost.half_width if cost.half_width else None)
    give = "this rule gives" if len(cost.rules) == 1 else "these rules together give"
    return (
        f"When nothing changes, {give} a false alarm on the level about once in {length} batches, "
        f"and within {A_MONTH} batches in {say_percent(cost.within_25)} of cases."
    )


def chart_title(chart: Chart) -> str:
    """ "Rise height: batch means"."""
    return start(f"{chart.response}: {CHARTS.get(chart.kind, (chart.kind, ''))[0]}")


def say_stability(charts: Sequence[Chart]) -> str:
    """The headline of the charts of one response: stable or not, over which batches."""
    level = charts[0]
    raised = dict.fromkeys(alarm.batch for chart in charts for alarm in chart.alarms)
    over = f"over {say_count(len(level.points), 'batch')}, {_span(level.points)}"
    if raised:
        part = f"{len(raised)} of them {'raises' if len(raised) == 1 else 'raise'} an alarm"
        return start(f"{level.response} is not stable {over}: {part}.")
    if level.limits.lower is None and level.limits.upper is None:
        return start(f"whether {level.response} is stable {over} cannot be said without limits.")
    return start(f"{level.response} is stable {over}: no batch raises an alarm.")


def say_limits(chart: Chart) -> tuple[str, ...]:
    """Where points stay as long as nothing changes, and what the limits rest on."""
    limits = chart.limits
    if limits.lower is None and limits.upper is None:
        return ()
    what = CHARTS.get(chart.kind, ("", "a point"))[1]
    said = [start(f"as long as nothing changes, {what} {_between(limits, chart.unit)}.")]
    if _vary(chart):
        said.append("Limits differ from batch to batch with the number of readings; these are the usual ones.")
    said.append(_basis(limits))
    if len({point.phase for point in chart.points}) > 1:
        first = next(point.batch for point in chart.points if point.phase == chart.phase)
        said.append(
            f"These limits hold from batch {first} on (phase {chart.phase}); earlier batches stand under theirs."
        )
    return tuple(said)


def say_caution(caution: str, chart: Chart) -> str:
    """A sentence for a key of ``chart.cautions``; a key that is a sentence stays one."""
    words = _CAUTIONS.get(caution, caution)
    return words.format(
        batches=say_count(chart.limits.batches, "batch"), few=FEW, where=CHARTS.get(chart.kind, (chart.kind, ""))[0]
    )


def say_alarm(alarm: Alarm, chart: Chart) -> str:
    """Why this batch raised an alarm: "B-12: 39.2 mm is below the lower limit of 40.1 mm"."""
    point = next(point for point in chart.points if point.batch == alarm.batch)
    if alarm.rule not in _COMPLETED:
        value = with_unit(say_number(point.value, _step(chart)), chart.unit)
        return f"{alarm.batch}: {value} is {_beyond(alarm.side, point, chart)}"
    return f"{alarm.batch}: {_pattern(alarm)}, since {alarm.since}"


def say_alarms(chart: Chart) -> tuple[str, ...]:
    """The alarms of a chart, those of neighbouring batches by one rule in one sentence."""
    place = {point.batch: at for at, point in enumerate(chart.points)}
    rules = dict.fromkeys((alarm.rule, alarm.side) for alarm in chart.alarms)
    said: list[tuple[int, str]] = []
    for rule, side in rules:
        own = [alarm for alarm in chart.alarms if (alarm.rule, alarm.side) == (rule, side)]
        for _, together in groupby(enumerate(own), key=lambda pair: place[pair[1].batch] - pair[0]):
            run = [alarm for _, alarm in together]
            said.append((place[run[0].batch], f"{start(_run(run, chart))}."))
    return tuple(sentence for _, sentence in sorted(said, key=lambda pair: pair[0]))


def say_next_step(charts: Sequence[Chart]) -> str:
    """What to do now, in one sentence."""
    level = charts[0]
    alarmed = [alarm for chart in charts for alarm in chart.alarms]
    if alarmed:
        redo = "" if level.limits.frozen else ", then make limits anew without the batches that have one"
        return f"Look for what changed with the batches named above{redo}."
    if level.limits.lower is None and level.limits.upper is None:
        return "Log further batches, read as finely as the instrument allows."
    if level.limits.provisional:
        return f"Log further batches: from {FEW} on the limits hold."
    return (
        "Go on as it is."
        if level.limits.frozen
        else "The limits may be frozen, so that further batches are judged by them."
    )


def _run(run: Sequence[Alarm], chart: Chart) -> str:
    if len(run) == 1:
        return say_alarm(run[0], chart)
    first, last = run[0], run[-1]
    batches = f"{first.batch} to {last.batch}"
    if first.rule in _COMPLETED:
        return f"{batches}: {_pattern(first)}, since {first.since}"
    points = {point.batch: point for point in chart.points}
    values = [say_number(points[alarm.batch].value, _step(chart)) for alarm in run]
    shown = join_words(values) if len(values) <= SHOWN else f"{values[0]} … {values[-1]}"
    return f"{batches}: {with_unit(shown, chart.unit)} are {_beyond(first.side, points[first.batch], chart)}"


def _pattern(alarm: Alarm) -> str:
    above = alarm.side == "above"
    return _COMPLETED[alarm.rule].format(
        side=alarm.side, higher="higher" if above else "lower", far="upper" if above else "lower"
    )


def _beyond(side: str, point: Point, chart: Chart) -> str:
    limit = point.lower if side == "below" else point.upper
    if limit is None:
        return alarm_side(side)
    at = with_unit(say_number(limit, _step(chart)), chart.unit)
    return f"{'below the lower' if side == 'below' else 'above the upper'} limit of {at}"


def alarm_side(side: str) -> str:
    """Outside, where the limit itself has no number of its own."""
    return f"{side} the limits" if side else "outside the limits"


def _between(limits: Limits, unit: str) -> str:
    step = limits.sd or None
    lower, centre, upper = (
        None if bound is None else say_number(bound, step) for bound in (limits.lower, limits.centre, limits.upper)
    )
    if lower is None or limits.lower == 0:
        return f"stays below {with_unit(upper or '', unit)}, about {with_unit(centre or '', unit)}"
    if upper is None:
        return f"stays above {with_unit(lower, unit)}, about {with_unit(centre or '', unit)}"
    return f"lies between {lower} and {with_unit(upper, unit)}, about {with_unit(centre or '', unit)}"


def _basis(limits: Limits) -> str:
    if not limits.batches:
        return f"Limits: {limits.method}."
    of = f"{say_count(limits.batches, 'batch')}, {limits.first_batch} to {limits.last_batch}"
    said = f"Limits from the {limits.method} of {of}" if limits.method else f"Limits from {of}"
    if not limits.frozen:
        return f"{said}."
    by = f" by {limits.author}" if limits.author else ""
    on = f" on {limits.frozen_at[:10]}" if limits.frozen_at else ""
    why = f": {limits.reason.rstrip('.')}" if limits.reason else ""
    return f"{said}, frozen{by}{on}{why}."


def _vary(chart: Chart) -> bool:
    own = {(point.lower, point.upper) for point in chart.points if point.phase == chart.phase}
    return len(own) > 1 and chart.kind in ("batch mean", "range", "standard deviation", "share", "rate")


def _span(points: Sequence[Point]) -> str:
    return points[0].batch if len(points) == 1 else f"{points[0].batch} to {points[-1].batch}"


def _step(chart: Chart) -> float | None:
    return chart.limits.sd or None


def charts_text(charts: Sequence[Chart], *, beside: Sequence[str] = ()) -> str:
    """What a terminal shows for one response; ``beside`` are sentences on capability and on false alarms."""
    blocks = [say_stability(charts)]
    for chart in charts:
        cautions = [say_caution(caution, chart) for caution in chart.cautions]
        lines = [*say_limits(chart), *cautions, *say_alarms(chart)]
        if lines:
            blocks.append("\n".join([chart_title(chart), *map(_bullet, lines)]))
    if beside:
        blocks.append("\n".join(map(_bullet, beside)))
    blocks.append("\n".join(wrap(say_next_step(charts), WIDTH)))
    return true_minus("\n\n".join(blocks))


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


def _bullet(sentence: str) -> str:
    return "\n".join(wrap(sentence, WIDTH, initial_indent="  - ", subsequent_indent="    "))
