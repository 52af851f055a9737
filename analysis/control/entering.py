"""Can this series be charted at all, and do the limits make sense?

The one door: what comes in is checked here and trusted behind.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise

from analysis.control.results import BatchSeries, CountSeries, Limits, Phase, Specification
from analysis.errors import NotPossible, TrialDataError

FURTHEST = 1e100  # the square of a reading has to be a number

Series = BatchSeries | CountSeries | tuple[BatchSeries, ...]


def check_series(series: Series) -> None:
    """Raises TrialDataError for a batch twice, without readings or with one that is no number."""
    if isinstance(series, tuple):
        if not series:
            raise TrialDataError("There is no response to chart.", where="series", try_this="name a response")
        for one in series:
            check_series(one)
        return
    if not series.batches:
        raise NotPossible(
            f"There is no batch with readings of {series.response}.",
            where=series.response,
            try_this="log a batch, or look at how the response is spelt",
        )
    _each_batch_once(series)
    if isinstance(series, BatchSeries):
        _readings(series)
    else:
        _counts(series)


def _each_batch_once(series: BatchSeries | CountSeries) -> None:
    seen: set[str] = set()
    for batch in series.batches:
        if batch in seen:
            raise TrialDataError(
                f"Batch {batch} stands twice in the series.",
                where=f"batch {batch}",
                try_this="give the second one a number of its own, or bring its readings together",
            )
        seen.add(batch)


def _readings(series: BatchSeries) -> None:
    _same_length(series.batches, series.values, series.response)
    for batch, values in zip(series.batches, series.values, strict=True):
        if not values:
            raise TrialDataError(
                f"Batch {batch} has no reading of {series.response}.",
                where=f"batch {batch}",
                try_this="leave the batch out of this chart",
            )
        _require_finite(values, f"A reading of {series.response}", batch)
    largest = max(abs(value) for values in series.values for value in values)
    if largest > FURTHEST or 0 < largest < 1 / FURTHEST:
        raise TrialDataError(
            f"Readings of {series.response} reach {largest:g}, which cannot be squared.",
            where=series.response,
            try_this="give them in a unit in which they are nearer to 1",
        )


def _counts(series: CountSeries) -> None:
    _same_length(series.batches, series.counts, series.response)
    _same_length(series.batches, series.sizes, series.response)
    for batch, count, size in zip(series.batches, series.counts, series.sizes, strict=True):
        _require_finite((count, size), f"A count of {series.response}", batch)
        if count < 0 or size <= 0:
            raise TrialDataError(
                f"Batch {batch} counts {count:g} of {series.response} on a size of {size:g}.",
                where=f"batch {batch}",
                try_this="counts are 0 or more, sizes above 0",
            )
        if series.of == "pieces" and count > size:
            raise TrialDataError(
                f"Batch {batch} counts {count:g} of {size:g} pieces: more than there were.",
                where=f"batch {batch}",
                try_this="swap count and size, or say that a piece may have several",
            )


def _require_finite(values: Iterable[float], what: str, batch: str) -> None:
    if not all(math.isfinite(value) for value in values):
        raise TrialDataError(
            f"{what} of batch {batch} is not a number.",
            where=f"batch {batch}",
            try_this="leave out what was not measured",
        )


def _same_length(batches: Sequence[object], others: Sequence[object], response: str) -> None:
    if len(batches) != len(others):
        raise TrialDataError(
            f"{response} has {len(batches)} batches and {len(others)} sets of numbers.",
            where=response,
            try_this="give one for each batch",
        )


def check_phases(phases: Sequence[Phase], series: Series) -> tuple[Phase, ...]:
    """The phases in order of baking. Raises TrialDataError for limits the wrong way round or an unknown batch."""
    for phase in phases:
        check_limits(phase.limits, where=f"phase {phase.number}")
    place = {batch: at for at, batch in enumerate(_batches(series))}
    for phase in phases:
        if phase.from_batch not in place:
            raise TrialDataError(
                f"Phase {phase.number} begins at batch {phase.from_batch}, which is not in the series.",
                where=f"phase {phase.number}",
                try_this="chart the batches from there on, or name another first batch",
            )
    ordered = tuple(sorted(phases, key=lambda phase: place[phase.from_batch]))
    for one, other in pairwise(ordered):
        if one.from_batch == other.from_batch:
            raise TrialDataError(
                f"Phases {one.number} and {other.number} both begin at batch {one.from_batch}.",
                where=f"phase {other.number}",
                try_this="keep the one that holds",
            )
    return ordered


def _batches(series: Series) -> tuple[str, ...]:
    return series[0].batches if isinstance(series, tuple) else series.batches


def check_limits(limits: Limits, *, where: str = "limits") -> None:
    """Raises TrialDataError when a limit is no number or stands on the wrong side of the centre."""
    given = [number for number in (limits.lower, limits.centre, limits.upper) if number is not None]
    if not all(math.isfinite(number) for number in given) or not math.isfinite(limits.sd):
        raise TrialDataError("A limit is not a number.", where=where, try_this="give it as a plain number")
    if given != sorted(given):
        raise TrialDataError(
            f"The limits are the wrong way round: {', '.join(f'{number:g}' for number in given)}.",
            where=where,
            try_this="lower limit, centre and upper limit rise in this order",
        )


def check_specification(specification: Specification) -> None:
    """Raises TrialDataError for limits that are no numbers or the wrong way round, or a target outside them."""
    lower, upper, target = specification.lower, specification.upper, specification.target
    where = f"specification of {specification.response}"
    if any(number is not None and not math.isfinite(number) for number in (lower, upper, target)):
        raise TrialDataError("A limit of the specification is not a number.", where=where, try_this="a plain number")
    if lower is not None and upper is not None and lower >= upper:
        raise TrialDataError(
            f"The specification is the wrong way round: from {lower:g} to {upper:g}.",
            where=where,
            try_this=f"lower {upper:g}, upper {lower:g}" if lower > upper else "leave room between them",
        )
    below = target is not None and lower is not None and target < lower
    if below or (target is not None and upper is not None and target > upper):
        raise TrialDataError(
            f"The target {target:g} lies outside the specification.",
            where=where,
            try_this="a target within it",
        )
