"""Did the level of a measured response, or its spread, leave what the process does by itself?

Four kinds of charts for measured responses: single levels with moving ranges; batch means judged by
the spread within batches, with the ranges or the standard deviations beside them; and, for batches that
also differ from one another as a rule, batch means judged by their own moving ranges.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from analysis.control import limits as made
from analysis.control.dependence import Dependence, dependence_of
from analysis.control.drawing import draw
from analysis.control.limits import Bounds, Floats
from analysis.control.results import BatchSeries, Chart, Limits, Phase
from analysis.control.rules import OUTSIDE, Rule
from analysis.control.stretches import METHODS, SETTINGS, Stretch, base_of, divide, limits_of
from analysis.control.transforming import is_skewed
from analysis.errors import TrialDataError

__all__ = [
    "METHODS",
    "SETTINGS",
    "Stretch",
    "between_batches",
    "divide",
    "individuals",
    "level_chart",
    "limits_of",
    "mean_and_range",
    "mean_and_sd",
    "moving_ranges",
    "rules_of_spread",
    "spread_chart",
    "spread_limits",
    "spread_of",
]

# Means that move so much more than their readings tell: so by chance in 1 of 200 series of 20 batches (simulated).
MUCH_MORE = 1.6


def individuals(
    series: object, *, rules: tuple[Rule, ...], phases: tuple[Phase, ...], settings: Mapping[str, object]
) -> tuple[Chart, ...]:
    """Each batch's level by itself, with the moving ranges; several readings of a batch count as their mean."""
    asked = _measured(series)
    stretches = divide(asked, phases, made.BY_MOVING_RANGES, base=base_of(asked, settings, phases))
    averaged = ("averaged",) if any(len(values) > 1 for values in asked.values) else ()
    return (
        level_chart("individuals", asked, stretches, rules, averaged),
        moving_ranges(asked, stretches, rules),
    )


def mean_and_range(
    series: object, *, rules: tuple[Rule, ...], phases: tuple[Phase, ...], settings: Mapping[str, object]
) -> tuple[Chart, ...]:
    """Batch means, judged by the ranges within batches."""
    asked = _measured(series)
    stretches = divide(asked, phases, made.BY_RANGES, base=base_of(asked, settings, phases))
    return (level_chart("batch mean", asked, stretches, rules), spread_chart("range", asked, stretches, rules))


def mean_and_sd(
    series: object, *, rules: tuple[Rule, ...], phases: tuple[Phase, ...], settings: Mapping[str, object]
) -> tuple[Chart, ...]:
    """Batch means, judged by the standard deviations within batches."""
    asked = _measured(series)
    stretches = divide(asked, phases, made.BY_DEVIATIONS, base=base_of(asked, settings, phases))
    return (
        level_chart("batch mean", asked, stretches, rules),
        spread_chart("standard deviation", asked, stretches, rules),
    )


def between_batches(
    series: object, *, rules: tuple[Rule, ...], phases: tuple[Phase, ...], settings: Mapping[str, object]
) -> tuple[Chart, ...]:
    """Batch means, judged by how they move from batch to batch; the spread within batches apart from that.

    Pieces of one batch share its dough, its leavener and its oven load, so batches differ by more than
    their pieces tell; limits from within would call most of them out.
    """
    asked = _measured(series)
    stretches = divide(asked, phases, made.BETWEEN, base=base_of(asked, settings, phases))
    return (
        level_chart("batch mean", asked, stretches, rules),
        moving_ranges(asked, stretches, rules),
        spread_chart("standard deviation", asked, stretches, rules),
    )


def level_chart(
    kind: str, series: BatchSeries, stretches: Sequence[Stretch], rules: Sequence[Rule], cautions: Sequence[str] = ()
) -> Chart:
    sizes, means = made.sizes_of(series), made.means_of(series)
    bounds = _over(stretches, lambda of: made.level_bounds(of.limits, sizes[of.start : of.stop]))
    last = stretches[-1]
    alike = dependence_of(means[last.start : last.stop])
    uneven = _sizes(series, np.arange(len(means)))
    return draw(
        kind,
        series,
        at=np.arange(len(means)),
        values=means,
        bounds=bounds,
        phase_of=_phases(stretches),
        rules=rules,
        limits=last.limits,
        cautions=(*cautions, *_cautions(last, means[last.start : last.stop], alike)),
        more={**uneven, **({"lag1": alike.lag1} if alike.seen else {})},
    )


def moving_ranges(series: BatchSeries, stretches: Sequence[Stretch], rules: Sequence[Rule]) -> Chart:
    """Distance of each level from the one before; the first batch of a phase has none, its limits judge only itself."""
    means = made.means_of(series)
    at = np.array([place for of in stretches for place in of.at[1:]], dtype=int)
    sizes = made.sizes_of(series)
    bounds = _over(stretches, lambda of: _steps(of, sizes[of.start : of.stop]))
    return _spread_like("moving range", series, stretches, rules, at, np.abs(means[at] - means[at - 1]), bounds)


def _sizes(series: BatchSeries, at: np.ndarray) -> dict[str, tuple[int, ...]]:
    """What a chart tells of batches of unequal size."""
    sizes = tuple(len(series.values[place]) for place in at.tolist())
    return {"sizes": sizes} if len(set(sizes)) > 1 else {}


def _steps(of: Stretch, sizes: Floats) -> Bounds:
    sds = made.level_sds(of.limits, made.level_bounds(of.limits, sizes))
    return made.moving_range_bounds(sds[:-1], sds[1:])


def spread_chart(kind: str, series: BatchSeries, stretches: Sequence[Stretch], rules: Sequence[Rule]) -> Chart:
    """Ranges or standard deviations of the batches that have more than one reading."""
    sizes = made.sizes_of(series)
    at = np.flatnonzero(sizes > 1)
    spans = made.by_size([series.values[place] for place in at.tolist()], lambda readings: spreads_of(kind, readings))
    limits_for = made.range_bounds if kind == "range" else made.deviation_bounds
    bounds = _over(stretches, lambda of: limits_for(of.limits, _several(sizes[of.start : of.stop])))
    return _spread_like(kind, series, stretches, rules, at, spans, bounds)


def _several(sizes: Floats) -> Floats:
    return sizes[sizes > 1]


def spread_of(kind: str, values: Sequence[float]) -> float:
    """The range or the standard deviation of the readings of one batch."""
    return float(spreads_of(kind, np.asarray(values, dtype=float)))


def spreads_of(kind: str, readings: Floats) -> Floats:
    """The same of several batches of one size, (batches, size); the order of readings does not change a bit of it."""
    return made.range_of(readings) if kind == "range" else made.deviation_of(np.sort(readings, axis=-1))


def rules_of_spread(rules: Sequence[Rule]) -> tuple[Rule, ...]:
    """Runs are made for points that scatter alike to both sides and one by one; spreads do neither."""
    return tuple(rule for rule in rules if rule.key == OUTSIDE)


def _spread_like(
    kind: str,
    series: BatchSeries,
    stretches: Sequence[Stretch],
    rules: Sequence[Rule],
    at: np.ndarray,
    values: Floats,
    bounds: Bounds,
) -> Chart:
    last = stretches[-1]
    limits = spread_limits(kind, last.limits)
    silent = "no spread promised" if last.limits.method == made.PROMISED else "constant"
    return draw(
        kind,
        series,
        at=at,
        values=values,
        bounds=bounds,
        phase_of=_phases(stretches)[at],
        rules=rules_of_spread(rules),
        limits=limits,
        cautions=(silent,) if limits.upper is None else (),
        more=_sizes(series, at) if kind != "moving range" else {},
    )


def spread_limits(kind: str, limits: Limits) -> Limits:
    """The limits of a chart of spread that go with those of the level, for a batch of the usual size."""
    size = max(limits.numbers.get("size", 2.0), 2.0)
    one = np.array([size])
    if kind == "moving range":
        usual = np.array([limits.numbers.get("spread", limits.sd)])
        lower, centre, upper = made.moving_range_bounds(usual, usual)
    else:
        lower, centre, upper = (made.range_bounds if kind == "range" else made.deviation_bounds)(limits, one)
    sd = made.spread_sd(kind, limits, int(size))
    has = bool(np.isfinite(upper[0]))
    return replace(
        limits,
        lower=float(lower[0]) if has else None,
        centre=float(centre[0]),
        upper=float(upper[0]) if has else None,
        sd=sd,
        method={"range": made.BY_RANGES, "standard deviation": made.BY_DEVIATIONS}.get(kind, limits.method),
    )


def _cautions(last: Stretch, means: Floats, alike: Dependence) -> tuple[str, ...]:
    """What is to be known about the limits that hold now."""
    limits = last.limits
    if limits.sd == 0:
        return ("constant",)
    promised = limits.method == made.PROMISED
    found = ["promised"] if promised else ["few batches"] if limits.provisional else []
    within = limits.method in (made.BY_RANGES, made.BY_DEVIATIONS)
    if within and len(means) > 2 and made.mean_moving_range(means) > MUCH_MORE * limits.sd:
        found.append("batches differ")
    steps = np.diff(np.unique(np.round(means / limits.sd, 9)))
    if len(steps) and steps.min() > 1:
        found.append("coarse")
    if alike.seen:
        found.append("dependent" if alike.verdict == "alike" else "opposed")
    if is_skewed(means):
        found.append("skewed")
    return tuple(found)


def _over(stretches: Sequence[Stretch], bounds: Callable[[Stretch], Bounds]) -> Bounds:
    each = [bounds(of) for of in stretches]
    lower, centre, upper = (np.concatenate([bound[side] for bound in each]) for side in range(3))
    return lower, centre, upper


def _phases(stretches: Sequence[Stretch]) -> np.ndarray:
    return np.concatenate([np.full(of.stop - of.start, of.phase) for of in stretches])


def _measured(series: object) -> BatchSeries:
    if not isinstance(series, BatchSeries):
        raise TrialDataError(
            "This kind of chart takes the readings of one measured response.",
            where="kind",
            try_this="--kind counts for counts, --kind several for several responses",
        )
    return series
