"""Where do limits stand for a response that reaches further to one side by its nature?

Limits are made on a scale on which the batches scatter evenly, and brought back into the unit: they
stand unevenly about a centre that is the median. From 1,000 batches on, limits may also be
the batches' own quantiles, without any scale.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.control.baselines import measured
from analysis.control.drawing import draw
from analysis.control.limits import BY_MOVING_RANGES, FEW, estimate, means_of
from analysis.control.results import BatchSeries, Chart, Limits, Phase
from analysis.control.rules import Rule
from analysis.control.transforming import AS_READ, Power, Scale, ShiftedLog, fit_scale, is_skewed
from analysis.errors import NotPossible, TrialDataError

Floats = NDArray[np.float64]

SETTINGS = frozenset({"scale"})
SCALES = ("auto", "logarithm", "square root", "quantiles")
ENOUGH_FOR_QUANTILES = 1000  # below, fewer than two batches are expected beyond each limit
TAIL = 0.001349898
BEYOND = 10.0  # a reading past what the scale can hold counts as so many standard deviations out


def skewed_levels(
    series: object, *, rules: tuple[Rule, ...], phases: tuple[Phase, ...], settings: Mapping[str, object]
) -> tuple[Chart, ...]:
    """The chart of single levels with uneven limits. Setting: ``scale`` auto, logarithm, square root or quantiles.

    Raises NotPossible where a scale cannot hold the readings, or quantiles have too few.
    """
    asked = measured(series)
    wish = str(settings.get("scale", "auto"))
    if wish not in SCALES:
        raise TrialDataError(f'"{wish}" is no scale.', where="scale", try_this=f"one of {', '.join(SCALES)}")
    means = means_of(asked)
    starts = [asked.batches.index(phase.from_batch) for phase in phases]
    own = starts[0] if starts else len(means)
    parts = [] if own == 0 else [(0 if phases else 1, 0, own, _own_limits(asked, own, wish))]
    for phase, start, stop in zip(phases, starts, [*starts[1:], len(means)][: len(starts)], strict=True):
        parts.append((phase.number, start, stop, phase.limits))
    y = np.concatenate([_on_scale(means[a:b], limits) for _, a, b, limits in parts])
    bounds = [_bounds(limits, b - a) for _, a, b, limits in parts]
    last = parts[-1][3]
    chart = draw(
        "individuals",
        asked,
        at=np.arange(len(means)),
        values=y,
        bounds=tuple(np.concatenate([bound[side] for bound in bounds]) for side in range(3)),  # type: ignore[arg-type]
        phase_of=np.concatenate([np.full(b - a, number) for number, a, b, _ in parts]),
        rules=rules,
        limits=last,
        cautions=_cautions(asked, last),
        more={"scale": last.method},
    )
    of_each = [limits for _, a, b, limits in parts for _ in range(a, b)]
    return (_in_units(chart, means, of_each),)


def scale_of(limits: Limits) -> Scale:
    """The scale that limits were made on. Raises TrialDataError for limits made without one."""
    numbers = limits.numbers
    if "power" in numbers:
        return Power(power=numbers["power"], middle=numbers["middle"], low=math.nan, high=math.nan)
    if "edge" in numbers:
        return ShiftedLog(edge=numbers["edge"], size=numbers["size"], side=int(numbers["side"]))
    raise TrialDataError(
        "The frozen limits were made without a scale for lopsided readings.",
        where="phase",
        try_this="--kind individuals, or freeze limits of this kind",
    )


def _own_limits(series: BatchSeries, stop: int, wish: str) -> Limits:
    values = means_of(series)[:stop]
    _refuse_constant(values, series)
    if wish == "quantiles":
        return _quantile_limits(series, values)
    scale = _chosen(values, wish, series)
    on_scale = replace(
        series, batches=series.batches[:stop], values=tuple((float(y),) for y in scale.forth(values)), at=()
    )
    limits = estimate(on_scale, BY_MOVING_RANGES)
    reach = 3 * limits.numbers["spread"]
    mean = limits.numbers["mean"]
    lower, centre, upper = (float(x) for x in scale.back(np.array([mean - reach, mean, mean + reach])))
    return replace(
        limits,
        lower=None if math.isnan(lower) else lower,
        centre=centre,
        upper=None if math.isnan(upper) else upper,
        sd=float(values.std(ddof=1)),
        method=scale.name,
        numbers={**limits.numbers, **_kept(scale)},
    )


def _quantile_limits(series: BatchSeries, values: Floats) -> Limits:
    if len(values) < ENOUGH_FOR_QUANTILES:
        raise NotPossible(
            f"{len(values)} batches are too few to read limits off their own quantiles.",
            where=series.response,
            try_this=f"log {ENOUGH_FOR_QUANTILES} batches, or leave the scale to auto",
        )
    lower, centre, upper = (float(x) for x in np.quantile(values, [TAIL, 0.5, 1 - TAIL], method="median_unbiased"))
    sd = float(values.std(ddof=1))
    return Limits(
        lower=lower,
        centre=centre,
        upper=upper,
        sd=sd,
        method="quantiles",
        batches=len(values),
        first_batch=series.batches[0],
        last_batch=series.batches[len(values) - 1],
        provisional=False,
        numbers={**_kept(AS_READ), "lower": lower, "mean": centre, "upper": upper, "spread": sd},
    )


def _refuse_constant(values: Floats, series: BatchSeries) -> None:
    if np.ptp(values) <= 1e-12 * float(np.abs(values).max()):
        raise NotPossible(
            f"Every batch has the same {series.response}: there is no shape to find a scale for.",
            where=series.response,
            try_this="check that the readings are not copied from one batch to the next",
        )


def _chosen(values: Floats, wish: str, series: BatchSeries) -> Scale:
    if wish == "auto":
        return fit_scale(values)
    low = float(values.min())
    if low <= 0:
        raise NotPossible(
            f"{series.response} goes down to {low:g}, and a {wish} needs readings above 0.",
            where=series.response,
            try_this="leave the scale to auto",
        )
    middle = float(np.exp(np.log(values).mean()))
    power = 0.0 if wish == "logarithm" else 0.5
    return Power(power=power, middle=middle, low=power, high=power)


def _kept(scale: Scale) -> dict[str, float]:
    if isinstance(scale, Power):
        return {"power": scale.power, "middle": scale.middle}
    assert isinstance(scale, ShiftedLog)
    return {"edge": scale.edge, "size": scale.size, "side": float(scale.side)}


def _on_scale(values: Floats, limits: Limits) -> Floats:
    scale = scale_of(limits)
    y = scale.forth(values)
    side = scale.side if isinstance(scale, ShiftedLog) else 1
    past = limits.numbers["mean"] - side * BEYOND * limits.numbers["spread"]
    return np.where(np.isnan(y), past, y)


def _bounds(limits: Limits, length: int) -> tuple[Floats, Floats, Floats]:
    numbers = limits.numbers
    reach = 3 * numbers["spread"]
    scale = scale_of(limits)
    if "lower" in numbers:
        lower, upper = (float(scale.forth(np.array([numbers[side]]))[0]) for side in ("lower", "upper"))
        centre = float(scale.forth(np.array([numbers["mean"]]))[0])
    else:
        centre = numbers["mean"]
        lower, upper = centre - reach, centre + reach
    return np.full(length, lower), np.full(length, centre), np.full(length, upper)


def _in_units(chart: Chart, means: Floats, of_each: list[Limits]) -> Chart:
    """Points and alarms as read, limits as brought back."""
    value = dict(zip((point.batch for point in chart.points), means, strict=True))
    points = tuple(
        replace(point, value=float(value[point.batch]), lower=limits.lower, centre=limits.centre, upper=limits.upper)
        for point, limits in zip(chart.points, of_each, strict=True)
    )
    alarms = tuple(replace(alarm, value=float(value[alarm.batch])) for alarm in chart.alarms)
    return replace(chart, points=points, alarms=alarms)


def _cautions(series: BatchSeries, last: Limits) -> tuple[str, ...]:
    found = ["few batches"] if last.batches < FEW else []
    found.append("uneven limits" if is_skewed(means_of(series)) else "uneven limits, not needed")
    return tuple(found)
