"""Which batches stand under which limits, and from which batches do those come?

Limits come from the batches themselves, from those that were named, or from a phase that froze
them; a phase judges from its first batch on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from analysis.control import limits as made
from analysis.control.results import BatchSeries, Limits, Phase
from analysis.errors import NotPossible, TrialDataError


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """Batches ``start`` to ``stop`` (not included) that stand under the same limits."""

    phase: int
    start: int
    stop: int
    limits: Limits

    @property
    def at(self) -> range:
        return range(self.start, self.stop)


# Where limits come from, if not from all batches: the first and the last batch, and those to leave out ("B-3, B-7").
SETTINGS = frozenset({"first", "last", "without"})
METHODS = {
    "individuals": made.BY_MOVING_RANGES,
    "range": made.BY_RANGES,
    "sd": made.BY_DEVIATIONS,
    "between": made.BETWEEN,
}


def limits_of(
    series: BatchSeries, *, kind: str, first: str | None = None, last: str | None = None, without: Sequence[str] = ()
) -> Limits:
    """Limits of the level from batch ``first`` to ``last``, those ``without`` left out: what a phase freezes.

    ``kind`` is a key of ``METHODS``. Raises TrialDataError for an unknown batch or ends the wrong way round.
    """
    return made.estimate(some(series, _base(series, first, last, without)), METHODS[kind])


def base_of(series: BatchSeries, settings: Mapping[str, object], phases: Sequence[Phase]) -> BatchSeries | None:
    """The batches that limits are to come from, when ``first``, ``last`` or ``without`` say so; else None."""
    if not settings:
        return None
    if phases:
        raise TrialDataError(
            "The limits are frozen; other batches cannot make them anew here.",
            where="settings",
            try_this="leave first, last and without out, or freeze new limits",
        )
    ends = {name: str(settings[name]) for name in ("first", "last") if name in settings}
    without = [batch.strip() for batch in str(settings.get("without", "")).split(",") if batch.strip()]
    return some(series, _base(series, ends.get("first"), ends.get("last"), without))


def _base(series: BatchSeries, first: str | None, last: str | None, without: Sequence[str]) -> list[int]:
    """Places of the batches from ``first`` to ``last`` but for those left out."""
    start = 0 if first is None else _place(series, first)
    stop = len(series.batches) if last is None else _place(series, last) + 1
    for batch in without:
        _place(series, batch)
    if start >= stop:
        raise TrialDataError(
            f"Batch {last} comes before batch {first}.", where="base of the limits", try_this=f"from {last} to {first}"
        )
    kept = [at for at in range(start, stop) if series.batches[at] not in without]
    if not kept:
        raise NotPossible("No batch is left to make limits from.", where="base", try_this="leave fewer batches out")
    return kept


def divide(
    series: BatchSeries, phases: Sequence[Phase], method: str, *, base: BatchSeries | None = None
) -> tuple[Stretch, ...]:
    """The series cut where a phase begins. Before the first phase (as phase 0) and without phases (as
    phase 1) limits come from the batches of the stretch itself, or from those of the ``base``."""
    if not phases:
        limits = made.estimate(base or series, method)
        return (Stretch(phase=1, start=0, stop=len(series.batches), limits=limits),)
    starts = [_place(series, phase.from_batch) for phase in phases]
    stops = [*starts[1:], len(series.batches)]
    stretches = [
        Stretch(phase=phase.number, start=start, stop=stop, limits=fitting(phase, series, method))
        for phase, start, stop in zip(phases, starts, stops, strict=True)
    ]
    if starts[0] > 0:
        before = some(series, range(starts[0]))
        stretches.insert(0, Stretch(phase=0, start=0, stop=starts[0], limits=_own(before, method)))
    return tuple(stretches)


def fitting(phase: Phase, series: BatchSeries, method: str) -> Limits:
    """The limits of a phase, if they were made for this kind of chart. Raises TrialDataError otherwise."""
    known = set(METHODS.values())
    if phase.limits.method in known and phase.limits.method != method:
        kinds = {of: kind for kind, of in METHODS.items()}
        raise TrialDataError(
            f"The limits of phase {phase.number} were made from {phase.limits.method}, this chart needs {method}.",
            where=f"phase {phase.number} of {series.response}",
            try_this=f"--kind {kinds[phase.limits.method]}, or freeze limits of the other kind",
        )
    return phase.limits


def _own(series: BatchSeries, method: str) -> Limits:
    """Limits of a stretch from itself; a single batch stands without limits."""
    if len(series.batches) > 1:
        return made.estimate(series, method)
    batch = series.batches[0]
    return Limits(
        lower=None,
        centre=float(made.means_of(series)[0]),
        upper=None,
        sd=0.0,
        method=method,
        batches=1,
        first_batch=batch,
        last_batch=batch,
        provisional=True,
        numbers={"spread": 0.0, "within": 0.0},
    )


def some(series: BatchSeries, at: Sequence[int]) -> BatchSeries:
    """The series of the batches at these places."""
    return replace(
        series,
        batches=tuple(series.batches[place] for place in at),
        values=tuple(series.values[place] for place in at),
        at=tuple(series.at[place] for place in at) if series.at else (),
    )


def _place(series: BatchSeries, batch: str) -> int:
    if batch not in series.batches:
        raise TrialDataError(
            f"There is no batch {batch} with readings of {series.response}.",
            where=series.response,
            try_this=f"a batch from {series.batches[0]} to {series.batches[-1]}",
        )
    return series.batches.index(batch)
