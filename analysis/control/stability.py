"""Is the process stable, as far as its charts can tell?

Charts watch many batches by several rules, so that chance alone raises an alarm in nearly half of all logs of 40
batches and nine in ten of 120 (batches of four, three charts, simulated). A process is therefore called
unstable only where chance would hardly do it: by more alarms than chance gives
(``analysis.control.expected``), or by a point so far out that chance puts none there in 95 of 100 logs
(Bonferroni over all points of all charts). Every alarm is still told.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from analysis.control.constants import constants, range_beyond
from analysis.control.expected import expected_alarms, more_than_chance, runs_of_alarms
from analysis.control.results import Chart, Point
from analysis.control.rules import OUTSIDE

Verdict = Literal["stable", "not stable", "not known"]

ODD = 0.05
LINGERS = 3  # a chart with a memory stays out longer after chance has put it there; from our own simulations
_MEMORY = ("weighted mean", "cumulative sum")
_LEVELS = ("individuals", "batch mean", "share", "count", "rate")


@dataclass(frozen=True, kw_only=True)
class Stability:
    """The verdict on the charts of one response, the batches that raised an alarm, and how many chance would give."""

    verdict: Verdict
    alarmed: tuple[str, ...]
    expected: float

    @property
    def stable(self) -> bool | None:
        return {"stable": True, "not stable": False}.get(self.verdict)


def stability_of(charts: Sequence[Chart]) -> Stability:
    """``charts`` of one response, the level first."""
    level = charts[0]
    batches = [point.batch for point in level.points]
    loud = {alarm.batch for chart in charts for alarm in chart.alarms}
    alarmed = tuple(batch for batch in batches if batch in loud)
    expected = expected_alarms(charts, len(batches), _rules(level))
    verdict: Verdict = "stable"
    if not alarmed and level.limits.lower is None and level.limits.upper is None:
        verdict = "not known"
    elif alarmed and _unstable(charts, batches, len(alarmed)):
        verdict = "not stable"
    return Stability(verdict=verdict, alarmed=alarmed, expected=expected)


def _unstable(charts: Sequence[Chart], batches: Sequence[str], alarmed: int) -> bool:
    runs = runs_of_alarms(charts, batches)
    if charts[0].kind in _MEMORY:
        alarmed //= LINGERS
    if more_than_chance(runs, alarmed, charts, len(batches), _rules(charts[0])):
        return True
    points = sum(len(chart.points) for chart in charts)
    return any(
        chance_of(point, at, chart) < ODD / points
        for chart in charts
        for at, point in enumerate(chart.points)
        if OUTSIDE in point.alarms
    )


def _rules(level: Chart) -> tuple[str, ...]:
    rules = level.more.get("rules")
    return tuple(str(rule) for rule in rules) if isinstance(rules, tuple) and rules else (OUTSIDE,)


def chance_of(point: Point, at: int, chart: Chart) -> float:
    """How likely a point so far out, or further, is when nothing changes; 1 where a kind of chart cannot say.

    ``at`` is the place of the point on its chart. Normal readings, limits as if they were known.
    """
    from scipy.special import chdtrc

    if chart.kind in _LEVELS:
        bound = point.upper if point.value >= point.centre else point.lower
        return 1.0 if bound is None else math.erfc(abs(_sds(point.value, point.centre, bound)) / math.sqrt(2))
    if chart.kind == "several responses":
        names = chart.more.get("responses")
        return float(chdtrc(len(names), point.value)) if isinstance(names, tuple) else 1.0
    if chart.kind == "moving range":
        return math.erfc(point.value / (point.centre / constants(2).d2) / 2)
    if chart.kind == "range":
        of = constants(_size(chart, at))
        return range_beyond(point.value / (point.centre / of.d2), of.n)
    if chart.kind == "standard deviation":
        of = constants(_size(chart, at))
        return float(chdtrc(of.n - 1, (of.n - 1) * (point.value / (point.centre / of.c4)) ** 2))
    return 1.0


def _sds(value: float, centre: float, bound: float) -> float:
    return 3 * (value - centre) / (bound - centre)


def _size(chart: Chart, at: int) -> int:
    sizes = chart.more.get("sizes")
    return int(sizes[at]) if isinstance(sizes, tuple) else int(chart.limits.numbers.get("size", 2))
