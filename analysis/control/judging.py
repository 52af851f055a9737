"""Is this new batch what the process does by itself?

Answered from the limits that hold and the last few points alone: however long the log, a batch is
judged from as many points as the longest rule looks back. The answer is the one that the chart of
the whole phase gives for its last batch.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.control import limits as made
from analysis.control.drawing import none_for_nan
from analysis.control.entering import check_limits
from analysis.control.limits import Bounds
from analysis.control.results import Alarm, Limits, Phase, Point
from analysis.control.rules import DEFAULT, LONGEST, Rule, find_alarms, require_rules, way_out
from analysis.control.variables import rules_of_spread, spread_of
from analysis.errors import TrialDataError

LOOKS_BACK = LONGEST - 1  # so many points before the new batch are enough for every rule

# What stands beside the level, for each way of making limits.
LEVELS: Mapping[str, str] = {
    made.BY_MOVING_RANGES: "individuals",
    made.BY_RANGES: "batch mean",
    made.BY_DEVIATIONS: "batch mean",
    made.BETWEEN: "batch mean",
}
SPREADS: Mapping[str, tuple[str, ...]] = {
    made.BY_MOVING_RANGES: ("moving range",),
    made.BY_RANGES: ("range",),
    made.BY_DEVIATIONS: ("standard deviation",),
    made.BETWEEN: ("moving range", "standard deviation"),
}


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """One new batch: its point on each chart (level first), and the rules it completed.

    ``alarms`` pair the kind of chart with its alarm. ``provisional`` as the limits it was judged by.
    """

    batch: str
    points: Mapping[str, Point]
    alarms: tuple[tuple[str, Alarm], ...]
    provisional: bool

    @property
    def as_expected(self) -> bool:
        return not self.alarms

    @property
    def level(self) -> Point:
        return next(iter(self.points.values()))


def judge(
    held: Limits | Phase,
    last_points: Sequence[Point],
    values: Sequence[float],
    *,
    batch: str,
    rules: Iterable[str] = DEFAULT,
) -> Verdict:
    """Judge the readings of one new batch.

    ``last_points`` are the points of the level chart before it, oldest first (more than ``LOOKS_BACK``
    are not looked at; with a Phase only those of its number count). Raises TrialDataError for a batch
    without readings, a reading that is no number, or limits the wrong way round.
    """
    limits = held.limits if isinstance(held, Phase) else held
    number = held.number if isinstance(held, Phase) else 1
    check_limits(limits)
    if not values or not np.isfinite(values).all():
        raise TrialDataError(
            f"Batch {batch} has no reading, or one that is not a number.",
            where=f"batch {batch}",
            try_this="leave out what was not measured; judge the batch once it was",
        )
    asked = require_rules(rules)
    before = [point for point in last_points if not isinstance(held, Phase) or point.phase == number][-LOOKS_BACK:]
    value = made.mean_of(values)
    size = np.array([float(len(values))])
    kind = LEVELS.get(limits.method, "individuals")
    level, alarms = _judged(batch, value, made.level_bounds(limits, size), number, before, asked)
    points, raised = {kind: level}, [(kind, alarm) for alarm in alarms]
    for spread in SPREADS.get(limits.method, ()):
        span = _span(spread, values, value, before)
        if span is not None:
            points[spread], alarms = _judged(
                batch, span, _bounds(spread, limits, size, before), number, (), rules_of_spread(asked)
            )
            raised += [(spread, alarm) for alarm in alarms]
    return Verdict(batch=batch, points=points, alarms=tuple(raised), provisional=limits.provisional)


def _judged(
    batch: str, value: float, bounds: Bounds, phase: int, before: Sequence[Point], rules: Sequence[Rule]
) -> tuple[Point, tuple[Alarm, ...]]:
    lower, centre, upper = (float(bound[0]) for bound in bounds)
    bare = Point(
        batch=batch, value=value, lower=none_for_nan(lower), centre=centre, upper=none_for_nan(upper), phase=phase
    )
    points = [*before, bare]
    z = way_out(
        np.array([point.value for point in points]),
        lower=_column(points, lambda point: point.lower),
        centre=np.array([point.centre for point in points]),
        upper=_column(points, lambda point: point.upper),
    )
    found = find_alarms(
        rules, z, batches=[point.batch for point in points], values=np.array([point.value for point in points])
    )
    own = tuple(alarm for alarm in found if alarm.batch == batch)
    alarmed = Point(
        batch=batch,
        value=value,
        lower=bare.lower,
        centre=centre,
        upper=bare.upper,
        phase=phase,
        alarms=tuple(alarm.rule for alarm in own),
    )
    return alarmed, own


def _column(points: Sequence[Point], bound: Callable[[Point], float | None]) -> made.Floats:
    return np.array([np.nan if bound(point) is None else bound(point) for point in points], dtype=float)


def _span(kind: str, values: Sequence[float], value: float, before: Sequence[Point]) -> float | None:
    """The point on a chart of spread; None where this batch has none."""
    if kind == "moving range":
        return abs(value - before[-1].value) if before else None
    return spread_of(kind, values) if len(values) > 1 else None


def _bounds(kind: str, limits: Limits, size: made.Floats, before: Sequence[Point]) -> Bounds:
    if kind == "moving range":
        then = made.level_sds(limits, _held_by(before[-1]))
        return made.moving_range_bounds(then, made.level_sds(limits, made.level_bounds(limits, size)))
    return made.range_bounds(limits, size) if kind == "range" else made.deviation_bounds(limits, size)


def _held_by(point: Point) -> Bounds:
    return (
        _column([point], lambda one: one.lower),
        np.array([point.centre]),
        _column([point], lambda one: one.upper),
    )
