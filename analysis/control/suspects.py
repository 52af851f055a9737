"""What in the log could a change go with, and what pattern would each leave in the batch means?

Each suspect has members: one column of numbers for each way it could have acted (which lot, which
level, from which batch on). Patterns have one unknown, their size. Prior weight is shared out
evenly: first over families (a column and a behaviour), then over what is in a family, so that a
family that can begin anywhere pays for its freedom and one with five lots hardly does.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from analysis.control.why_results import MadeWith, Suspect

Array = NDArray[np.float64]

SHORTEST = 3  # batches in which something was so, for it to be asked
SHORTEST_AGEING = 6  # a slope of fewer batches is nothing but scatter
FROM_THE_START = 0.5  # prior share of "all along" against "from some batch on"
ONSETS, WINDOW_ENDS = 60, 30  # at most so many places are tried at first; the best is then refined
NO_WEAR = ("shift", "weekday")  # a shift or a Monday does not wear out
SAME_CLOCK = 0.9995  # correlation from which days and batches count the same age


@dataclass(frozen=True, kw_only=True)
class Member:
    """One pattern, from batch ``start`` up to but without ``end`` (places from 0), aged by ``Ground.clocks[clock]``."""

    suspect: Suspect
    start: int
    end: int
    prior: float
    clock: int = 0


@dataclass(frozen=True, kw_only=True)
class Ground:
    """Where patterns live: n batches; ``marks[suspect column, level]`` is True where it was so.

    ``clocks`` count age: in batches, and, where days tell another age, in days made as long as a batch.
    """

    n: int
    marks: dict[tuple[str, str, bool], NDArray[np.bool_]]
    clocks: tuple[Array, ...]
    days_per_batch: float | None
    left_out: tuple[tuple[str, str], ...] = ()
    asked: tuple[str, ...] = ()
    members: tuple[Member, ...] = field(default=())


def pattern(member: Member, ground: Ground) -> Array:
    """Shape (n,): what the member adds to each batch for a size of 1 (a drift: for 1 a batch)."""
    place = np.arange(ground.n)
    inside = (place >= member.start) & (place < member.end)
    suspect = member.suspect
    if suspect.column and suspect.level:
        inside = inside & ground.marks[suspect.column, suspect.level, suspect.of_lot]
    if suspect.behaviour != "drift":
        return inside.astype(float)
    if suspect.column and not suspect.level:
        return _all_lots(suspect.column, ground, member.clock)
    clock = ground.clocks[member.clock]
    return np.where(inside, clock - clock[member.start] + 1, 0.0)


def _all_lots(column: str, ground: Ground, clock: int) -> Array:
    """Every lot of an ingredient ages alike from its own first batch."""
    age, counted = np.zeros(ground.n), ground.clocks[clock]
    for (name, _, of_lot), mark in ground.marks.items():
        if of_lot and name == column:
            age[mark] = counted[mark] - counted[mark][0] + 1
    return age


def line_up(log: MadeWith) -> Ground:
    """Everything in the log that can be asked, with its members."""
    n = len(log.series.batches)
    marks: dict[tuple[str, str, bool], NDArray[np.bool_]] = {}
    left_out: list[tuple[str, str]] = []
    asked: list[str] = []
    for of_lot, columns in ((True, log.lots), (False, log.settings)):
        for name, column in columns.items():
            found, why = _levels(name, column, of_lot=of_lot)
            marks |= found
            left_out += why
            if found:
                asked.append(f"{name} lot" if of_lot else name)
    clocks, days = _clocks(log, n)
    ground = Ground(n=n, marks=marks, clocks=clocks, days_per_batch=days, left_out=tuple(left_out), asked=tuple(asked))
    families = [family for family in _families(ground) if family]
    share = 1 / len(families)
    return replace(
        ground, members=tuple(replace(each, prior=share * each.prior) for family in families for each in family)
    )


def _levels(
    name: str, column: Sequence[str | None], *, of_lot: bool
) -> tuple[dict[tuple[str, str, bool], NDArray[np.bool_]], list[tuple[str, str]]]:
    counts = Counter(level for level in column if level)
    called = f"{name} lot" if of_lot else name
    if not counts:
        return {}, [(called, "not noted")]
    if len(counts) == 1:
        return {}, [(called, "never changed")]
    rare = [level for level, times in counts.items() if times < SHORTEST]
    levels = [level for level in counts if level not in rare]
    told = [(f"{called} {level}", "too few batches") for level in rare]
    marks = {(name, level, of_lot): np.array([each == level for each in column]) for level in levels}
    return marks, told


def _clocks(log: MadeWith, n: int) -> tuple[tuple[Array, ...], float | None]:
    batches = np.arange(n, dtype=float)
    at = log.series.at
    if len(at) != n or not all(at):
        return (batches,), None
    moments = np.array([datetime.fromisoformat(each.replace("Z", "+00:00")).timestamp() for each in at]) / 86400
    whole = moments[-1] - moments[0]
    if not whole > 0 or np.any(np.diff(moments) < 0):
        return (batches,), None
    per_batch = float(whole / (n - 1))
    days = (moments - moments[0]) / per_batch
    if np.corrcoef(days, batches)[0, 1] > SAME_CLOCK:
        return (batches,), per_batch
    return (batches, days), per_batch


def _families(ground: Ground) -> Iterator[list[Member]]:
    yield _steps_of_time(ground.n)
    yield _drifts_of_time(ground.n)
    columns = dict.fromkeys((name, of_lot) for name, _, of_lot in ground.marks)
    for name, of_lot in columns:
        levels = {
            level: np.flatnonzero(mark)
            for (own, level, lot), mark in ground.marks.items()
            if (own, lot) == (name, of_lot)
        }
        if of_lot:
            yield _lot_steps(name, levels)
            yield _lot_ageing(name, levels, ground)
        else:
            yield _offsets(name, levels, ground.n)
            if name not in NO_WEAR:
                yield _setting_drifts(name, levels, ground.n)


def _grid(first: int, last: int, most: int) -> list[int]:
    """At most ``most`` places from ``first`` to ``last``, evenly."""
    if last < first:
        return []
    step = max(1, -(-(last - first + 1) // most))
    return list(range(first, last + 1, step))


def _evenly(members: Sequence[Member], mass: float = 1.0) -> list[Member]:
    return [replace(each, prior=mass / len(members)) for each in members]


def _steps_of_time(n: int) -> list[Member]:
    suspect = Suspect(column="", level="", behaviour="step")
    to_the_end = [Member(suspect=suspect, start=a, end=n, prior=0) for a in _grid(SHORTEST, n - SHORTEST, ONSETS)]
    places = _grid(0, n - 1, WINDOW_ENDS)
    windows = [
        Member(suspect=suspect, start=a, end=b, prior=0)
        for a in places
        for b in places
        if b - a > SHORTEST and n - (b - a) > SHORTEST and a > 0
    ]
    return [*_evenly(to_the_end, 0.5), *_evenly(windows, 0.5)]


def _drifts_of_time(n: int) -> list[Member]:
    suspect = Suspect(column="", level="", behaviour="drift")
    last = n - SHORTEST_AGEING
    to_the_end = [Member(suspect=suspect, start=a, end=n, prior=0) for a in _grid(0, last, ONSETS)]
    places = _grid(0, n - 1, WINDOW_ENDS)
    windows = [
        Member(suspect=suspect, start=a, end=b, prior=0) for a in places for b in places if b - a >= SHORTEST_AGEING
    ]
    return [*_evenly(to_the_end, 0.5), *_evenly(windows, 0.5)]


def _lot_steps(name: str, levels: dict[str, NDArray[np.intp]]) -> list[Member]:
    return _evenly(
        [
            Member(
                suspect=Suspect(column=name, level=level, behaviour="step", of_lot=True),
                start=int(where[0]),
                end=int(where[-1]) + 1,
                prior=0,
            )
            for level, where in levels.items()
        ]
    )


def _lot_ageing(name: str, levels: dict[str, NDArray[np.intp]], ground: Ground) -> list[Member]:
    members: list[Member] = []
    for clock in range(len(ground.clocks)):
        whole = [
            Member(
                suspect=Suspect(column=name, level=level, behaviour="drift", of_lot=True),
                start=int(where[0]),
                end=int(where[-1]) + 1,
                prior=0,
                clock=clock,
            )
            for level, where in levels.items()
            if len(where) >= SHORTEST_AGEING
        ]
        alike = Member(
            suspect=Suspect(column=name, level="", behaviour="drift", of_lot=True),
            start=0,
            end=ground.n,
            prior=0,
            clock=clock,
        )
        members += [*whole, alike] if len(whole) > 1 else whole
    return _evenly(members) if members else []


def _offsets(name: str, levels: dict[str, NDArray[np.intp]], n: int) -> list[Member]:
    """A level that differs all along, or from some batch on. Of two levels all along, one says it for both."""
    whole = [
        Member(suspect=Suspect(column=name, level=level, behaviour="offset"), start=0, end=n, prior=0)
        for level in (list(levels)[-1:] if len(levels) == 2 else levels)
    ]
    later = [
        Member(suspect=Suspect(column=name, level=level, behaviour="offset"), start=a, end=n, prior=0)
        for level, where in levels.items()
        for a in _onsets(where, n, SHORTEST, len(levels))
    ]
    return [*_evenly(whole, FROM_THE_START), *_evenly(later, 1 - FROM_THE_START)]


def _setting_drifts(name: str, levels: dict[str, NDArray[np.intp]], n: int) -> list[Member]:
    def member(level: str, start: int) -> Member:
        return Member(suspect=Suspect(column=name, level=level, behaviour="drift"), start=start, end=n, prior=0)

    long = {level: where for level, where in levels.items() if len(where) >= SHORTEST_AGEING}
    whole = [member(level, 0) for level in long]
    later = [member(level, a) for level, where in long.items() for a in _onsets(where, n, SHORTEST_AGEING, len(levels))]
    return [*_evenly(whole, FROM_THE_START), *_evenly(later, 1 - FROM_THE_START)] if whole else []


def _onsets(where: NDArray[np.intp], n: int, shortest: int, levels: int) -> list[int]:
    """Places at which a level may have begun to differ: with enough of its batches before and after."""
    if len(where) < SHORTEST + shortest:
        return []
    return _grid(int(where[SHORTEST]), int(where[-shortest]), max(ONSETS * 2 // max(levels, 2), 10))
