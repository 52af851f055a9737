"""What are the indices of readings that reach further to one side?

By the quantiles of a fitted scale: where 99.73 % of pieces lie takes the place of six standard
deviations, the median that of the mean, each side by its own reach (ISO 22514-4, from memory).

Intervals take in that the scale is not known: every scale of the kind that the readings allow goes in by its
likelihood, and for each what mean and spread may be (``spreads.pivots``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.control.results import BatchSeries, Specification
from analysis.control.spreads import pivots, share_outside, spreads_of
from analysis.control.transforming import (
    Power,
    Scale,
    ShiftedLog,
    fit_scale,
    likeliest_power,
    likely_powers,
    likely_shifted_logs,
)

Floats = NDArray[np.float64]

SCALES, POINTS = 31, 1024  # tried; pivots for each
SIGMAS = 3.0
Three = tuple[float, float, float]  # value, low, high


@dataclass(frozen=True, kw_only=True)
class Scaled:
    """Indices by name ("p", "pk"), each with its interval; the share outside with its own; the scale's name."""

    indices: dict[str, Three]
    outside: Three
    scale: str


def scaled_indices(series: BatchSeries, specification: Specification, confidence: float) -> Scaled | None:
    """The indices on the scale that suits; None where the readings are as well as read."""
    batches = [np.asarray(values, dtype=float) for values in series.values]
    readings = np.concatenate(batches)
    scale = fit_scale(readings)
    if isinstance(scale, Power) and scale.power == 1:
        return None
    if isinstance(scale, Power):
        # The tails are what counts here, so the power is not rounded to a familiar one.
        scale = Power(power=likeliest_power(readings)[0], middle=scale.middle, low=scale.low, high=scale.high)
    drawn, weights = _allowed(batches, scale, specification)
    y = scale.forth(readings)
    found = _numbers(scale, np.array([y.mean()]), np.array([y.std(ddof=1)]), specification)[0]
    three = {}
    for at, name in enumerate(("p", "pk", "outside")):
        ends = _quantiles(drawn[:, at], weights, [(1 - confidence) / 2, (1 + confidence) / 2])
        three[name] = float(found[at]), min(ends[0], float(found[at])), max(ends[1], float(found[at]))
    both = specification.lower is not None and specification.upper is not None
    indices = {name: three[name] for name in (("p", "pk") if both else ("pk",))}
    return Scaled(indices=indices, outside=three["outside"], scale=scale.name)


def _numbers(scale: Scale, mean: Floats, sd: Floats, specification: Specification) -> Floats:
    """For each mean and spread on the scale: index of width (0 for one limit), of the nearer limit, share outside.

    (n, 3).
    """
    least, middle, most = (scale.back(mean + reach * sd) for reach in (-SIGMAS, 0.0, SIGMAS))
    edge = scale.edge if isinstance(scale, ShiftedLog) else 0.0
    least = np.where(np.isnan(least), edge, least)
    most = np.where(np.isnan(most), np.inf, most)  # a power below 0 has no end upwards
    lower, upper = specification.lower, specification.upper
    sides = []
    if lower is not None:
        sides.append((middle - lower) / (middle - least))
    if upper is not None:
        sides.append((upper - middle) / (most - middle))
    width = (upper - lower) / (most - least) if lower is not None and upper is not None else np.zeros(len(mean))
    return np.column_stack([width, np.min(sides, axis=0), _outside(scale, mean, sd, lower, upper)])


def _outside(scale: Scale, mean: Floats, sd: Floats, lower: float | None, upper: float | None) -> Floats:
    """Share beyond the limits, of what the scale can hold; a limit past its edge has all or nothing beyond it."""
    ends: list[float | None] = []
    for limit in (lower, upper):
        y = None if limit is None else float(scale.forth(np.array([limit]))[0])
        if y is not None and np.isnan(y):
            # Past a floor (powers have theirs at 0) lies nothing, past a ceiling too.
            y = np.inf if isinstance(scale, ShiftedLog) and scale.side < 0 else -np.inf
        ends.append(y)
    return share_outside(mean, sd, ends[0], ends[1]) + np.zeros(len(mean))


def _allowed(batches: Sequence[Floats], scale: Scale, specification: Specification) -> tuple[Floats, Floats]:
    """The numbers on every scale of this kind that the readings allow, (scales x POINTS, 3), and their weights."""
    readings = np.concatenate(batches)
    scales: Sequence[Scale]
    if isinstance(scale, Power):
        powers, likely = likely_powers(readings, SCALES)
        scales = [Power(power=float(power), middle=scale.middle, low=0.0, high=0.0) for power in powers]
    else:
        scales, likely = likely_shifted_logs(readings, SCALES)
    found = []
    for each in scales:
        mean, sd = pivots(spreads_of([each.forth(batch).tolist() for batch in batches]), points=POINTS)
        found.append(_numbers(each, mean, sd, specification))
    return np.concatenate(found), np.repeat(likely / POINTS, POINTS)


def _quantiles(values: Floats, weights: Floats, at: Sequence[float]) -> list[float]:
    order = np.argsort(values)
    reached = np.cumsum(weights[order]) - weights[order] / 2
    return [float(x) for x in np.interp(at, reached, values[order])]
