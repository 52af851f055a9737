"""Since when has the level been off, and by how much?

Each batch adds how far it lies beyond the target by more than ``k`` (and takes away what it lies
nearer), never below nothing, upwards and downwards apart:

    above = max(0, above + x - (target + K)),  below = max(0, below + (target - K) - x),  alarm beyond H.

K is half of the shift worth catching, H = h sd is computed for one false alarm in ``run_length`` batches.
A point is the larger of the two sums, the downward one with a minus; both stand in ``Chart.more``. The
batch at which the sum left nothing is where the shift began, and target + K + above / (batches since) is
the level since then (Montgomery's textbook, from memory).

Source: Page 1954, Biometrika 41:100.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.control.baselines import (
    Baseline,
    Floats,
    baselines,
    cautions_of,
    number,
    outside_only,
    phase_numbers,
    positive,
    since,
    together,
)
from analysis.control.drawing import draw
from analysis.control.results import BatchSeries, Chart, Limits, Phase, Point
from analysis.control.rules import OUTSIDE, Rule
from analysis.control.run_lengths import LARGEST_K, sums_limit, sums_run_length
from analysis.errors import TrialDataError

KIND = "cumulative sum"
SETTINGS = frozenset({"shift", "run_length", "k", "h", "target", "sd"})
SHIFT = 1.0  # standard deviations of a batch: what a single point outside its limits would need 44 batches for
RUN_LENGTH = 370.0
CATCHES = (0.5, 1.0, 2.0)
ROUNDING = 1e-9
TINY = 1e-12  # of the value: what is left above nothing by rounding alone
FURTHEST = 25.0  # run lengths grow as exp(2 k h); beyond this no kitchen lives to see an alarm

Counts = NDArray[np.int_]


@dataclass(frozen=True, kw_only=True)
class Sums:
    """Of one stretch, each (batches,): the sums, and how many batches each has been above nothing."""

    above: Floats
    below: Floats
    since_above: Counts
    since_below: Counts

    @property
    def up(self) -> NDArray[np.bool_]:
        return self.above >= self.below

    @property
    def points(self) -> Floats:
        return np.where(self.up, self.above, -self.below)

    @property
    def counted(self) -> Counts:
        return np.where(self.up, self.since_above, self.since_below)


def cumulative_sums(
    series: object, *, rules: tuple[Rule, ...], phases: tuple[Phase, ...], settings: Mapping[str, object]
) -> tuple[Chart, ...]:
    """The chart of both sums. A phase starts them anew from nothing.

    Settings: ``shift`` worth catching in SDs of a batch (1) or ``k`` (half of it), ``run_length`` (370) or ``h``,
    ``target`` and ``sd`` where they are known. Raises TrialDataError for a setting that cannot be.
    """
    k, h = _asked(settings)
    asked, stretches = baselines(series, phases, settings, centre="target")
    sums = [sums_of(of.values, target=of.centre, slack=k * of.spread) for of in stretches]
    reach = together([np.full(len(of.values), h * of.spread) for of in stretches])
    points = together([each.points for each in sums])
    chart = draw(
        KIND,
        asked,
        at=np.arange(len(asked.batches)),
        values=points,
        bounds=(-reach, np.zeros(len(reach)), reach),
        phase_of=phase_numbers(stretches),
        rules=outside_only(rules),
        limits=_limits(stretches[-1], k, h, sums[-1]),
        cautions=cautions_of(stretches[-1], asked),
        more={
            "k": k,
            "h": h,
            "target": stretches[-1].centre,
            "above": tuple(float(x) for each in sums for x in each.above),
            "below": tuple(float(x) for each in sums for x in each.below),
            "run_length": sums_run_length(k, h),
            "catches": {shift: sums_run_length(k, h, shift=shift) for shift in CATCHES},
        },
    )
    began, level = _story(asked, stretches, sums, k)
    told = since(chart, began)
    return (replace(told, more={**told.more, "level_since": {a.batch: level[a.batch] for a in told.alarms}}),)


def sums_of(values: Floats, *, target: float, slack: float) -> Sums:
    """Both sums of one stretch; ``slack`` = K in the unit of the values."""
    above, below = np.zeros(len(values)), np.zeros(len(values))
    up, down = np.zeros(len(values), dtype=int), np.zeros(len(values), dtype=int)
    high = low = 0.0
    for place, value in enumerate(values):
        high, low = _more(high + value - (target + slack), value), _more(low + (target - slack) - value, value)
        above[place], below[place] = high, low
        up[place] = (up[place - 1] if place else 0) + 1 if high > 0 else 0
        down[place] = (down[place - 1] if place else 0) + 1 if low > 0 else 0
    return Sums(above=above, below=below, since_above=up, since_below=down)


def judge_sums(held: Limits, value: float, *, batch: str) -> tuple[Point, Limits]:
    """One new batch mean, judged from the limits alone: its point, and the limits to keep for the next."""
    if not math.isfinite(value):
        raise TrialDataError(
            f"The mean of batch {batch} is not a number.", where=f"batch {batch}", try_this="leave the batch out"
        )
    numbers = held.numbers
    slack, reach = numbers["k"] * numbers["spread"], numbers["h"] * numbers["spread"]
    above = _more(numbers["above"] + value - (numbers["mean"] + slack), value)
    below = _more(numbers["below"] + (numbers["mean"] - slack) - value, value)
    point = Point(
        batch=batch,
        value=above if above >= below else -below,
        lower=-reach,
        centre=0.0,
        upper=reach,
        phase=1,
        alarms=(OUTSIDE,) if max(above, below) > reach * (1 + ROUNDING) else (),
    )
    return point, replace(held, numbers={**numbers, "above": above, "below": below})


def _more(total: float, value: float) -> float:
    return total if total > TINY * abs(value) else 0.0


def _asked(settings: Mapping[str, object]) -> tuple[float, float]:
    shift, k = positive(settings, "shift"), number(settings, "k")
    h, wanted = positive(settings, "h"), positive(settings, "run_length")
    for one, other, names in ((shift, k, "shift and k"), (h, wanted, "h and run length")):
        if one is not None and other is not None:
            raise TrialDataError(
                f"{names.capitalize()} are both given; one follows from the other.",
                where=names.split()[0],
                try_this="leave one of them out",
            )
    if k is None:
        k = (SHIFT if shift is None else shift) / 2
    if not 0 <= k <= LARGEST_K:
        raise TrialDataError(
            f"Sums cannot take off k = {k:g} from each batch.", where="k", try_this=f"give 0.5, or 0 to {LARGEST_K:g}"
        )
    if h is None:
        return k, sums_limit(k, RUN_LENGTH if wanted is None else wanted)
    if 2 * k * h > FURTHEST or h > FURTHEST:
        raise TrialDataError(
            f"A limit at h = {h:g} standard deviations never gives an alarm.", where="h", try_this="give 4 or 5"
        )
    return k, h


def _limits(last: Baseline, k: float, h: float, sums: Sums) -> Limits:
    reach = h * last.spread
    return replace(
        last.limits,
        lower=-reach,
        centre=0.0,
        upper=reach,
        sd=last.spread,
        numbers={
            "mean": last.centre,
            "spread": last.spread,
            "k": k,
            "h": h,
            "above": float(sums.above[-1]),
            "below": float(sums.below[-1]),
        },
    )


def _story(
    series: BatchSeries, stretches: tuple[Baseline, ...], sums: list[Sums], k: float
) -> tuple[dict[str, str], dict[str, float]]:
    """For each batch off nothing: the batch at which its sum began, and the level since then."""
    began: dict[str, str] = {}
    level: dict[str, float] = {}
    for of, each in zip(stretches, sums, strict=True):
        for place, (point, counted) in enumerate(zip(each.points, each.counted, strict=True)):
            if counted:
                batch = series.batches[of.start + place]
                began[batch] = series.batches[of.start + place - int(counted) + 1]
                level[batch] = float(of.centre + math.copysign(k * of.spread, point) + point / counted)
    return began, level
