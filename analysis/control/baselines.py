"""From which level and spread does a chart with a memory count?

Weighted means and cumulative sums take one number for each batch (its mean), and measure it
against a centre in standard deviations of such a number: those that were given, those a phase has
frozen, or those that the batches themselves show by their moving ranges.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.control.limits import BY_MOVING_RANGES, means_of
from analysis.control.results import BatchSeries, Chart, Limits, Phase
from analysis.control.rules import OUTSIDE, Rule
from analysis.control.variables import Stretch, divide
from analysis.errors import NotPossible, TrialDataError

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Baseline:
    """Batches ``start`` to ``stop`` (not included) of one phase: their means, and what they are measured against.

    ``values`` (batches,), ``centre`` and ``spread`` (SD of one batch mean) in units of the response.
    """

    phase: int
    start: int
    stop: int
    values: Floats
    centre: float
    spread: float
    limits: Limits


def baselines(
    series: object, phases: Sequence[Phase], settings: Mapping[str, object], *, centre: str
) -> tuple[BatchSeries, tuple[Baseline, ...]]:
    """The series and its stretches. ``centre`` names the setting that fixes the level; "sd" fixes the spread.

    Raises NotPossible for batches that are all the same, unless a spread is given or frozen.
    """
    asked = measured(series)
    given_centre, given_sd = number(settings, centre), positive(settings, "sd")
    means = means_of(asked)
    if given_centre is not None and given_sd is not None and not phases:
        limits = _known(asked, given_centre, given_sd)
        whole: tuple[Stretch, ...] = (Stretch(phase=1, start=0, stop=len(means), limits=limits),)
    else:
        whole = _divided(asked, phases)
    return asked, tuple(_baseline(of, means, given_centre, given_sd, asked) for of in whole)


def outside_only(rules: Sequence[Rule]) -> tuple[Rule, ...]:
    """Points with a memory are like their neighbours by the making, so a run of them is no signal."""
    return tuple(rule for rule in rules if rule.key == OUTSIDE)


def together(parts: Sequence[Floats]) -> Floats:
    return np.concatenate(parts)


def phase_numbers(stretches: Sequence[Baseline]) -> NDArray[np.int_]:
    return np.concatenate([np.full(of.stop - of.start, of.phase) for of in stretches])


def cautions_of(last: Baseline, series: BatchSeries) -> tuple[str, ...]:
    averaged = ("averaged",) if any(len(values) > 1 for values in series.values) else ()
    return (*averaged, *(("few batches",) if last.limits.provisional else ()))


def since(chart: Chart, first: Mapping[str, str]) -> Chart:
    """The chart with alarms that say where their pattern began: ``first`` maps a batch to the one it began with."""
    return replace(
        chart, alarms=tuple(replace(alarm, since=first.get(alarm.batch, alarm.since)) for alarm in chart.alarms)
    )


def number(settings: Mapping[str, object], name: str) -> float | None:
    """A setting that is a number; None where it is not given. Raises TrialDataError for anything else."""
    given = settings.get(name)
    if given is None:
        return None
    try:
        value = float(str(given))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise TrialDataError(f'"{given}" is not a number.', where=name, try_this="give a plain number, such as 0.2")
    return value


def positive(settings: Mapping[str, object], name: str) -> float | None:
    value = number(settings, name)
    if value is not None and value <= 0:
        raise TrialDataError(f"{value:g} cannot be: it must be above 0.", where=name, try_this="give a number above 0")
    return value


def measured(series: object) -> BatchSeries:
    if not isinstance(series, BatchSeries):
        raise TrialDataError(
            "This kind of chart takes the readings of one measured response.",
            where="kind",
            try_this="--kind counts for counts, --kind several for several responses",
        )
    return series


def _divided(series: BatchSeries, phases: Sequence[Phase]) -> tuple[Stretch, ...]:
    """Any limits of a level will do here: what counts is their centre and the spread of one batch."""
    bare = [replace(phase, limits=replace(phase.limits, method=BY_MOVING_RANGES)) for phase in phases]
    return divide(series, bare, BY_MOVING_RANGES)


def _baseline(of: Stretch, means: Floats, centre: float | None, sd: float | None, series: BatchSeries) -> Baseline:
    spread = sd if sd is not None else of.limits.numbers.get("spread", of.limits.sd)
    if not spread > 0:
        raise NotPossible(
            f"Every batch has the same {series.response}: there is no spread to measure a change against.",
            where=f"batches {series.batches[of.start]} to {series.batches[of.stop - 1]}",
            try_this="check that the readings are not copied, or give the spread (sd) that is known",
        )
    return Baseline(
        phase=of.phase,
        start=of.start,
        stop=of.stop,
        values=means[of.start : of.stop],
        centre=centre if centre is not None else of.limits.numbers.get("mean", of.limits.centre),
        spread=float(spread),
        limits=of.limits,
    )


def _known(series: BatchSeries, centre: float, sd: float) -> Limits:
    return Limits(
        lower=None,
        centre=centre,
        upper=None,
        sd=sd,
        method="given",
        batches=len(series.batches),
        first_batch=series.batches[0],
        last_batch=series.batches[-1],
        provisional=False,
        numbers={"mean": centre, "spread": sd},
    )
