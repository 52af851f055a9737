"""Do several responses of a batch still go together as they always did?

Hotelling's T2 is the squared distance of a batch's means from the usual ones, measured by how the
responses scatter and go together. A batch may be out although none of its responses is, when it
breaks their pattern. Chance passes the limit in 0.27 % of batches, as it does three standard
deviations. What drove an alarm is told by how much of T2 goes when a response is left out.

Source: Hotelling 1947, in Eisenhart, Hastay and Wallis (eds), Techniques of Statistical Analysis.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from analysis.control.baselines import number, outside_only
from analysis.control.drawing import draw
from analysis.control.limits import means_of
from analysis.control.results import BatchSeries, Chart, Limits, Phase, Point
from analysis.control.rules import OUTSIDE, Rule
from analysis.control.t_squared import (
    Base,
    Driver,
    base_from,
    drivers,
    further_limit,
    limits_of_base,
    make_base,
    t_squared,
)
from analysis.errors import TrialDataError

Floats = NDArray[np.float64]

KIND = "several responses"
SETTINGS = frozenset({"alpha"})
ALPHA = 0.0027
FAR = 3.0  # standard deviations of one response by itself


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """Batches ``start`` to ``stop`` (not included) under one base and its limits."""

    phase: int
    start: int
    stop: int
    base: Base
    limits: Limits

    def each(self, value: float) -> Floats:
        return np.full(self.stop - self.start, value)


def several(
    series: object, *, rules: tuple[Rule, ...], phases: tuple[Phase, ...], settings: Mapping[str, object]
) -> tuple[Chart, ...]:
    """The chart of T2 of batch means, over the batches that have every response.

    Setting: ``alpha`` (0.0027), the share of batches that chance calls out. Raises NotPossible for fewer
    batches than p + 2 or responses that follow from one another.
    """
    asked = _asked(series)
    alpha = _alpha(settings)
    batches, table = _together(asked)
    stretches = _stretches(asked, batches, table, phases, alpha)
    t2 = np.concatenate([t_squared(table[of.start : of.stop], of.base) for of in stretches])
    names = stretches[-1].base.names
    left_out = tuple(sorted({batch for one in asked for batch in one.batches} - set(batches)))
    upper = [of.each(np.nan if of.limits.upper is None else of.limits.upper) for of in stretches]
    chart = draw(
        KIND,
        BatchSeries(response=", ".join(names), batches=batches, values=tuple((float(x),) for x in t2)),
        at=np.arange(len(batches)),
        values=t2,
        bounds=(
            np.full(len(t2), np.nan),
            np.concatenate([of.each(of.limits.centre) for of in stretches]),
            np.concatenate(upper),
        ),
        phase_of=np.concatenate([of.each(of.phase) for of in stretches]).astype(int),
        rules=outside_only(rules),
        limits=stretches[-1].limits,
        cautions=_cautions(stretches[-1].limits, left_out),
        more={"responses": names, "alpha": stretches[-1].base.alpha, "left_out": left_out},
    )
    place = {batch: at for at, batch in enumerate(batches)}
    base_of = [of.base for of in stretches for _ in range(of.start, of.stop)]
    drove = {alarm.batch: drivers(table[place[alarm.batch]], base_of[place[alarm.batch]]) for alarm in chart.alarms}
    return (replace(chart, more={**chart.more, **_told(drove)}),)


def judge_several(held: Limits, values: Mapping[str, float], *, batch: str) -> tuple[Point, tuple[Driver, ...]]:
    """One new batch against frozen limits alone: its point, and what drove it. ``values``: mean of each response."""
    names = tuple(values)
    base = base_from(held, names, where=f"batch {batch}")
    row = np.array([float(values[name]) for name in names])
    if not np.isfinite(row).all():
        raise TrialDataError(
            f"A mean of batch {batch} is not a number.",
            where=f"batch {batch}",
            try_this="judge it when all are measured",
        )
    t2, upper = float(t_squared(row[None, :], base)[0]), further_limit(base.n, len(names), base.alpha)
    point = Point(
        batch=batch,
        value=t2,
        lower=None,
        centre=held.centre,
        upper=upper,
        phase=1,
        alarms=(OUTSIDE,) if t2 > upper else (),
    )
    return point, drivers(row, base)


def _asked(series: object) -> tuple[BatchSeries, ...]:
    if not isinstance(series, tuple) or len(series) < 2 or not all(isinstance(one, BatchSeries) for one in series):
        raise TrialDataError(
            "Responses are charted together from two on.", where="kind", try_this="name at least two measured responses"
        )
    names = [one.response for one in series]
    for name in names:
        if names.count(name) > 1:
            raise TrialDataError(f"{name} is named twice.", where=name, try_this="name each response once")
    return series


def _alpha(settings: Mapping[str, object]) -> float:
    alpha = number(settings, "alpha")
    alpha = ALPHA if alpha is None else alpha
    if not 0 < alpha <= 0.2:
        raise TrialDataError(
            f"{alpha:g} of all batches cannot be false alarms.", where="alpha", try_this="give 0.0027, or up to 0.2"
        )
    return alpha


def _together(series: Sequence[BatchSeries]) -> tuple[tuple[str, ...], Floats]:
    """The batches that have every response, in order of baking, and their means (batches, p)."""
    means = [dict(zip(one.batches, means_of(one), strict=True)) for one in series]
    batches = tuple(batch for batch in series[0].batches if all(batch in each for each in means))
    return batches, np.array([[each[batch] for each in means] for batch in batches]).reshape(len(batches), len(series))


def _stretches(
    series: Sequence[BatchSeries], batches: tuple[str, ...], table: Floats, phases: Sequence[Phase], alpha: float
) -> tuple[Stretch, ...]:
    """The batches cut where a phase begins; those before the first phase, or without any, make their own base."""
    names = tuple(one.response for one in series)
    order = {batch: at for at, batch in enumerate(series[0].batches)}
    places = [order[batch] for batch in batches]
    starts = [int(np.searchsorted(places, order[phase.from_batch])) for phase in phases]
    found = []
    for phase, (start, stop) in zip(phases, pairwise([*starts, len(batches)]), strict=True):
        base = base_from(phase.limits, names, where=f"phase {phase.number}")
        limits = limits_of_base(base, batches[start:stop], phase)
        found.append(Stretch(phase=phase.number, start=start, stop=stop, base=base, limits=limits))
    before = starts[0] if starts else len(batches)
    if before or not phases:
        base = make_base(table[:before], names, alpha)
        limits = limits_of_base(base, batches[:before], None)
        found.insert(0, Stretch(phase=0 if phases else 1, start=0, stop=before, base=base, limits=limits))
    return tuple(of for of in found if of.stop > of.start)


def _cautions(limits: Limits, left_out: tuple[str, ...]) -> tuple[str, ...]:
    few = ("few batches",) if limits.provisional else ()
    return (*few, "batches left out") if left_out else few


def _told(drove: Mapping[str, tuple[Driver, ...]]) -> dict[str, object]:
    """What ``Chart.more`` says of each alarm: the terms, the distances, and whether one response alone is out."""
    return {
        "contributions": {batch: {each.response: each.term for each in found} for batch, found in drove.items()},
        "away": {batch: {each.response: each.away for each in found} for batch, found in drove.items()},
        "alone": {batch: max(abs(each.away) for each in found) > FAR for batch, found in drove.items()},
    }
