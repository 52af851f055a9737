"""How is it said whether a process is stable, which batches stood out, and by which rule?"""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap

from analysis.control.limits import BETWEEN, BY_DEVIATIONS, BY_MOVING_RANGES, BY_RANGES, FEW
from analysis.control.results import Chart, Limits, Point
from analysis.control.stability import stability_of
from analysis.words.control_alarms import each_alarm, say_alarm, say_alarms, say_value
from analysis.words.control_cautions import (
    say_caution,
    say_false_alarms,
    say_more,
    say_other_phases,
    say_rows_left_out,
    say_rule,
    say_rule_cost,
)
from analysis.words.numbers import join_words, say_count, say_digits, start, true_minus

# Everything on charts is found here, wherever it is written.
__all__ = [
    "CHARTS",
    "WIDTH",
    "chart_title",
    "charts_text",
    "each_alarm",
    "say_alarm",
    "say_alarms",
    "say_caution",
    "say_false_alarms",
    "say_limits",
    "say_more",
    "say_next_step",
    "say_other_phases",
    "say_rows_left_out",
    "say_rule",
    "say_rule_cost",
    "say_stability",
    "say_value",
]

WIDTH = 100
MOST_SAID = 15  # alarms of one chart on a terminal
# Methods that are something the batches show; others are laws of chance or what somebody gave.
_LAWS = {"binomial": "binomial chances", "Poisson": "Poisson chances"}
_GIVEN = {"expected": "what the trial promised", "given": "the level and the spread that were given"}
_SEEN = (BY_MOVING_RANGES, BY_RANGES, BY_DEVIATIONS, BETWEEN, "covariance of batch means")

_WAITING = (
    "Waiting will not mend it: a stable process goes on as it is. Bring its level nearer the target or make batches "
    "more alike, then make limits anew."
)

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


def chart_title(chart: Chart) -> str:
    """ "Rise height: batch means"."""
    return start(f"{chart.response}: {_named(chart)[0]}")


def _named(chart: Chart) -> tuple[str, str]:
    """The chart's name and that of one of its points."""
    if chart.more.get("by") == "residuals":
        return "each batch against the one before", "what a batch differs from what the one before foretold"
    return CHARTS.get(chart.kind, (chart.kind, "a point"))


def say_stability(charts: Sequence[Chart]) -> str:
    """The headline of the charts of one response: stable or not, over which batches."""
    level, found = charts[0], stability_of(charts)
    names = level.more.get("responses")
    what, are = (f"{join_words(list(names))} together", "are") if isinstance(names, tuple) else (level.response, "is")
    over = f"over {say_count(len(level.points), 'batch')}, {_span(level.points)}"
    many = len(found.alarmed)
    part = f"{many} of them {'raises' if many == 1 else 'raise'} an alarm"
    if found.verdict == "not known":
        return start(f"whether {what} {are} stable {over} cannot be said without limits.")
    if found.verdict == "not stable":
        return start(f"{what} {are} not stable {over}: {part}.")
    if not many:
        few = ", as far as so few can tell" if level.limits.provisional else ""
        return start(f"{what} {are} stable {over}{few}: no batch raises an alarm.")
    chance = f"no more than chance gives ({say_digits(found.expected, 2)} expected)"
    return start(f"{what} {are} stable {over}, as far as charts can tell: {part}, {chance}.")


def say_limits(chart: Chart) -> tuple[str, ...]:
    """Where points stay as long as nothing changes, and what the limits rest on."""
    limits = chart.limits
    if limits.lower is None and limits.upper is None:
        return ()
    said = [start(f"as long as nothing changes, {_named(chart)[1]} {_between(chart)}.")]
    if _vary(chart):
        said.append("Limits differ from batch to batch with their size; these are the usual ones.")
    said.append(_basis(limits))
    if len({point.phase for point in chart.points}) > 1:
        first = next(point.batch for point in chart.points if point.phase == chart.phase)
        said.append(
            f"These limits hold from batch {first} on (phase {chart.phase}); earlier batches stand under theirs."
        )
    return tuple(said)


def say_next_step(charts: Sequence[Chart], *, short: bool = False) -> str:
    """What to do now, in one sentence; ``short`` of a process that does not keep its specification."""
    level = charts[0]
    alarmed = [alarm for chart in charts for alarm in chart.alarms]
    if alarmed and stability_of(charts).stable:
        if short and not level.limits.provisional:
            return f"Look at the batches named above. {_WAITING}"
        go_on = "go on" if level.limits.frozen or level.limits.provisional else "the limits may be frozen"
        return f"Look at the batches named above; where nothing was wrong with them, {go_on}."
    if alarmed:
        redo = "" if level.limits.frozen else ", then make limits anew without the batches that have one"
        return f"Look for what changed with the batches named above{redo}."
    if level.limits.lower is None and level.limits.upper is None:
        return "Log further batches, read as finely as the instrument allows."
    if level.limits.provisional:
        return f"Log further batches: from {FEW} on the limits hold."
    if short:
        return _WAITING
    if level.limits.frozen:
        return "Go on as it is."
    return "The limits may be frozen, so that further batches are judged by them."


def _between(chart: Chart) -> str:
    limits = chart.limits
    about = f"about {say_value(limits.centre, chart)}"
    if limits.upper is None:
        return f"stays above {say_value(limits.lower or 0.0, chart)}, {about}"
    if not limits.lower:
        return f"stays below {say_value(limits.upper, chart)}, {about}"
    return f"lies between {say_value(limits.lower, chart, unit=False)} and {say_value(limits.upper, chart)}, {about}"


def _basis(limits: Limits) -> str:
    if limits.method in _GIVEN:
        return f"Limits from {_GIVEN[limits.method]}."
    of = f"{say_count(limits.batches, 'batch')}, {limits.first_batch} to {limits.last_batch}"
    law, _, more = limits.method.partition(", ")
    if limits.method in _SEEN:
        said = f"Limits from the {limits.method} of {of}"
    else:
        by = join_words([part for part in (_LAWS.get(law, law), more) if part])
        said = f"Limits from {of}" + (f" ({by})" if by else "")
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


def charts_text(charts: Sequence[Chart], *, beside: Sequence[str] = (), short: bool = False) -> str:
    """What a terminal shows for one response; ``beside`` are sentences on its specification, ``short`` missed."""
    blocks = ["\n".join(wrap(say_stability(charts), WIDTH))]
    for chart in charts:
        cautions = [say_caution(caution, chart) for caution in chart.cautions]
        held = say_limits(chart)
        # What the limits of the level rest on is not said again of the spread that was made with them.
        held = held[:1] if chart is not charts[0] and _base(chart) == _base(charts[0]) else held
        lines = [*held, *say_more(chart), *cautions, *_latest(say_alarms(chart))]
        if lines:
            blocks.append("\n".join([chart_title(chart), *map(_bullet, lines)]))
    if beside:
        title = start(f"{charts[0].response}: against its specification")
        blocks.append("\n".join([title, *map(_bullet, beside)]))
    blocks.append("\n".join(wrap(say_next_step(charts, short=short), WIDTH)))
    return true_minus("\n\n".join(blocks))


def _base(chart: Chart) -> tuple[object, ...]:
    return chart.limits.batches, chart.limits.first_batch, chart.limits.last_batch, chart.limits.frozen


def _latest(alarms: Sequence[str]) -> list[str]:
    """The latest alarms of a long log, and how many stood before them."""
    hidden = len(alarms) - MOST_SAID
    if hidden <= 1:
        return list(alarms)
    return [f"{hidden} alarms of earlier batches are not listed here; --json holds them all.", *alarms[hidden:]]


def _bullet(sentence: str) -> str:
    return "\n".join(wrap(sentence, WIDTH, initial_indent="  - ", subsequent_indent="    "))
