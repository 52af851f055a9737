"""How is it said that a batch stood out on a chart, and by how much?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import groupby

from analysis.control.results import Alarm, Chart, Point
from analysis.words.numbers import join_words, say_fixed, say_level, say_number, say_percent, with_unit

SHOWN = 3  # values named one by one
FOREMOST = 2  # responses that drove an alarm of several
FINEST = 4  # further digits at most, to tell a value from its limit

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


def say_value(value: float, chart: Chart, *, unit: bool = True) -> str:
    """A point or a limit as the chart counts it: "43.1 mm", "6.7 %", "4"."""
    step = chart.limits.sd or None
    if chart.kind == "share":
        text = say_percent(value, 1)
        return text if unit else text.removesuffix(" %")
    if chart.kind == "count" and value == int(value):
        return say_level(value)
    text = say_number(value, step)
    return with_unit(text, chart.unit) if unit else text


def say_alarm(alarm: Alarm, chart: Chart) -> str:
    """Why this batch raised an alarm: "B-12: 39.2 mm is below the lower limit of 40.1 mm"."""
    return _run([alarm], chart, {point.batch: point for point in chart.points})


def each_alarm(chart: Chart) -> tuple[str, ...]:
    """``say_alarm`` for every alarm of a chart, in their order."""
    points = {point.batch: point for point in chart.points}
    return tuple(_run([alarm], chart, points) for alarm in chart.alarms)


def say_alarms(chart: Chart) -> tuple[str, ...]:
    """The alarms of a chart, those of neighbouring batches by one rule in one sentence."""
    points = {point.batch: point for point in chart.points}
    place = {batch: at for at, batch in enumerate(points)}
    rules = dict.fromkeys((alarm.rule, alarm.side) for alarm in chart.alarms)
    said: list[tuple[int, str]] = []
    for rule, side in rules:
        own = [alarm for alarm in chart.alarms if (alarm.rule, alarm.side) == (rule, side)]
        for _, together in groupby(enumerate(own), key=lambda pair: place[pair[1].batch] - pair[0]):
            run = [alarm for _, alarm in together]
            said.append((place[run[0].batch], f"{_run(run, chart, points)}."))
    return tuple(sentence for _, sentence in sorted(said, key=lambda pair: pair[0]))


def _run(run: Sequence[Alarm], chart: Chart, points: Mapping[str, Point]) -> str:
    first, last = run[0], run[-1]
    batches = first.batch if len(run) == 1 else f"{first.batch} to {last.batch}"
    if first.rule in _COMPLETED:
        return f"{batches}: {_pattern(first)}, since {first.since}"
    since = f", since {first.since}" if first.since != first.batch else ""
    return f"{batches}: {_outside([points[alarm.batch] for alarm in run], first.side, chart)}{since}{_told(run, chart)}"


def _pattern(alarm: Alarm) -> str:
    above = alarm.side == "above"
    return _COMPLETED[alarm.rule].format(
        side=alarm.side, higher="higher" if above else "lower", far="upper" if above else "lower"
    )


def _outside(points: Sequence[Point], side: str, chart: Chart) -> str:
    """ "60.0 mm is above the upper limit of 45.8 mm"."""
    if len(points) == 1:
        chart = _told_apart(points[0].value, points[0].lower if side == "below" else points[0].upper, chart)
    values = [say_value(point.value, chart, unit=False) for point in points]
    shown = join_words(values) if len(values) <= SHOWN else f"{values[0]} … {values[-1]}"
    unit = "%" if chart.kind == "share" else chart.unit
    way = "below the lower" if side == "below" else "above the upper"
    limits = {point.lower if side == "below" else point.upper for point in points}
    one = next(iter(limits))
    limit = f"limit of {say_value(one, chart)}" if len(limits) == 1 and one is not None else "limit that held for each"
    return f"{with_unit(shown, unit)} {'is' if len(points) == 1 else 'are'} {way} {limit}"


def _told_apart(value: float, limit: float | None, chart: Chart) -> Chart:
    """The chart with a step so fine that the value and the limit beside it do not read alike."""
    for _ in range(FINEST):
        if limit is None or not chart.limits.sd or say_value(value, chart) != say_value(limit, chart):
            break
        chart = replace(chart, limits=replace(chart.limits, sd=chart.limits.sd / 10))
    return chart


def _told(run: Sequence[Alarm], chart: Chart) -> str:
    """What a kind of chart adds: the level behind a sum, the responses that drove the alarm of several."""
    last = run[-1].batch
    level = _of(chart, "level_since").get(last)
    if isinstance(level, float):
        return f"; the level since then is about {with_unit(say_number(level, chart.limits.sd or None), chart.unit)}"
    away = _of(chart, "away").get(run[0].batch)
    terms = _of(chart, "contributions").get(run[0].batch)
    if not isinstance(away, Mapping) or not isinstance(terms, Mapping):
        return ""
    foremost = sorted(terms, key=lambda name: -float(terms[name]))[:FOREMOST]
    parts = [f"{name} {say_fixed(abs(away[name]), 1)} SD {'high' if away[name] > 0 else 'low'}" for name in foremost]
    alone = _of(chart, "alone").get(run[0].batch)
    apart = "" if alone else ", none far out alone, but unusual together"
    return f"; foremost {join_words(parts)}{apart}"


def _of(chart: Chart, name: str) -> Mapping[str, object]:
    found = chart.more.get(name)
    return found if isinstance(found, Mapping) else {}
