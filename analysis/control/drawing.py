"""What does a chart look like once its points, limits and rules are known?

One way from arrays to a ``Chart`` for every kind: rules run inside a phase, never across its beginning.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from analysis.control.results import Alarm, Chart, Limits, Point
from analysis.control.rules import Rule, find_alarms, way_out

Floats = NDArray[np.float64]
Ints = NDArray[np.int_]


class Named(Protocol):
    """A series of batches, whatever it holds."""

    @property
    def response(self) -> str: ...
    @property
    def batches(self) -> tuple[str, ...]: ...


def draw(
    kind: str,
    series: Named,
    *,
    at: Ints,
    values: Floats,
    bounds: tuple[Floats, Floats, Floats],
    phase_of: Ints,
    rules: Sequence[Rule],
    limits: Limits,
    cautions: Sequence[str] = (),
    more: Mapping[str, object] | None = None,
) -> Chart:
    """A chart of ``values`` (points,), the batches at places ``at``, under ``bounds`` = lower, centre, upper.

    NaN in ``bounds`` means no limit; a point without any limit raises no alarm. ``phase_of`` numbers each point.
    """
    batches = [series.batches[place] for place in at.tolist()]
    lower, centre, upper = bounds
    z = way_out(values, lower=lower, centre=centre, upper=upper)
    alarms: list[Alarm] = []
    for phase in dict.fromkeys(int(number) for number in phase_of):
        own = np.flatnonzero(phase_of == phase)
        alarms += find_alarms(rules, z[own], batches=[batches[i] for i in own], values=values[own])
    raised: dict[str, list[str]] = {}
    for alarm in alarms:
        raised.setdefault(alarm.batch, []).append(alarm.rule)
    columns = (values.tolist(), _or_none(lower), centre.tolist(), _or_none(upper), phase_of.tolist())
    points = tuple(
        Point(
            batch=batch,
            value=value,
            lower=low,
            centre=middle,
            upper=high,
            phase=phase,
            alarms=tuple(raised.get(batch, ())),
        )
        for batch, value, low, middle, high, phase in zip(batches, *columns, strict=True)
    )
    return Chart(
        kind=kind,
        response=series.response,
        unit=getattr(series, "unit", ""),
        phase=int(phase_of[-1]) if len(phase_of) else 1,
        limits=limits,
        points=points,
        alarms=tuple(alarms),
        cautions=tuple(cautions),
        more={"rules": tuple(rule.key for rule in rules), **(more or {})},
    )


def _or_none(bounds: Floats) -> list[float | None]:
    return [None if math.isnan(bound) else bound for bound in bounds.tolist()]


def none_for_nan(bound: float) -> float | None:
    return None if np.isnan(bound) else float(bound)
