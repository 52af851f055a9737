"""What do whole lines say in one pass over arrays, without a database?

The same answers as ``lines.line_table``, for a block of rows in which every line is whole, its batches in
order of baking. Rules are those of ``analysis.control.rules`` themselves, on a matrix with a row for each line.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.control.constants import SIGMAS, constants
from analysis.control.fleet.readings import MOST_PIECES, size_table
from analysis.control.fleet.specifications import index_of
from analysis.control.limits import TINY
from analysis.control.rules import Rule, completed

CELLS = 2**15  # of a matrix worked on at once: what fits in the processor's own memory is twice as fast

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Total = Callable[[NDArray[np.generic]], Floats]
Columns = dict[str, NDArray[np.generic]]  # each (lines,)


@dataclass(frozen=True, kw_only=True)
class Block:
    """Rows of whole lines, each (rows,): ``series`` and ``place`` whole numbers, ``value`` NaN for no reading."""

    series: NDArray[np.integer]
    place: NDArray[np.integer]
    value: Floats

    @cached_property
    def starts(self) -> Ints:
        """The first row of each line."""
        return np.concatenate(([0], np.flatnonzero(self.series[1:] != self.series[:-1]) + 1)).astype(np.int64)

    def whole(self) -> bool:
        """Does every line stand together, its batches in order?"""
        starts = self.starts
        backwards = self.place[1:] < self.place[:-1]
        backwards[starts[1:] - 1] = False
        return not backwards.any() and len(np.unique(self.series[starts])) == len(starts)


@dataclass(frozen=True, kw_only=True)
class _Batches:
    """Batches of a block: arrays (batches,), and where each line's begin and how many it has, (lines,).

    ``several`` is (size, squares, deviation, sureness) of each batch, or None where all have one reading.
    """

    first: Ints
    count: Ints
    place: NDArray[np.integer]
    level: Floats
    several: tuple[Floats, Floats, Floats, Floats] | None


def pass_over(
    block: Block,
    *,
    rules: Sequence[Rule],
    recent: int,
    lower_spec: Floats | None = None,
    upper_spec: Floats | None = None,
) -> Columns:
    """The columns of ``line_table`` but the names, a row for each line of the block in its order.

    Whole numbers are int64, the rest float with NaN where there is nothing to say. ``lower_spec`` and
    ``upper_spec`` (lines,) hold NaN where a line has no such limit.
    """
    starts = block.starts
    rows = np.diff(np.append(starts, len(block.value)))
    usable = np.isfinite(block.value)
    if usable.all():
        kept, readings = block, rows
    else:
        kept = Block(series=block.series[usable], place=block.place[usable], value=block.value[usable])
        readings = np.add.reduceat(usable, starts, dtype=np.int64)
    found: Columns = {"readings": readings, "missing": rows - readings}
    found |= _judged(_batches(kept, readings), rules, recent)
    if lower_spec is not None and upper_spec is not None:
        found |= _outside(kept.value, readings, lower_spec, upper_spec)
        found |= _index(found, lower_spec, upper_spec)
    return found


def _index(found: Columns, lower: Floats, upper: Floats) -> Columns:
    mean, total = found["mean"].astype(float), found["total"].astype(float)
    index = index_of(batches=found["batches"].astype(float), mean=mean, total=total, lower=lower, upper=upper)
    return dict(zip(("index", "index_low", "index_high"), index, strict=True))


def _outside(value: Floats, readings: Ints, lower: Floats, upper: Floats) -> Columns:
    """Readings outside; NaN for a line without that limit or without readings."""
    sums: Columns = {"lower_spec": lower, "upper_spec": upper}
    line = np.repeat(np.arange(len(readings)), readings)
    for name, limit, out in (
        ("below_spec", lower, value < lower[line]),
        ("above_spec", upper, value > upper[line]),
    ):
        counted = np.bincount(line[out], minlength=len(readings)).astype(float)
        sums[name] = np.where(np.isnan(limit) | (readings == 0), np.nan, counted)
    return sums


def _batches(rows: Block, readings: Ints) -> _Batches:
    """Readings put together batch by batch; lines stay in order, also those without any."""
    ends = np.cumsum(readings)
    if len(rows.value) == 0:
        none = np.zeros(0)
        return _Batches(first=ends - readings, count=readings, place=rows.place, level=none, several=None)
    new = np.ones(len(rows.value), dtype=bool)
    new[1:] = rows.place[1:] != rows.place[:-1]
    new[(ends - readings)[readings > 0]] = True
    if new.all():
        return _Batches(first=ends - readings, count=readings, place=rows.place, level=rows.value, several=None)
    at = np.flatnonzero(new)
    size = np.diff(np.append(at, len(new)))
    level = np.add.reduceat(rows.value, at) / size
    squares = np.add.reduceat((rows.value - np.repeat(level, size)) ** 2, at)
    before = np.concatenate(([0], np.cumsum(new)))
    first = before[ends - readings]
    return _Batches(
        first=first,
        count=before[ends] - first,
        place=rows.place[at],
        level=level,
        several=(size.astype(float), squares, *_told_within(size, squares)),
    )


def _told_within(size: Ints, squares: Floats) -> tuple[Floats, Floats]:
    """The standard deviation of a reading as each batch tells it, and how surely."""
    table = size_table(int(size.max()))
    short, sure = np.ones(MOST_PIECES + 1), np.zeros(MOST_PIECES + 1)
    for n, (c4, sureness) in table.items():
        short[n], sure[n] = c4, sureness
    beyond = size > MOST_PIECES
    looked_up = np.where(beyond, 0, size)
    deviation = np.sqrt(squares / np.maximum(size - 1, 1)) / short[looked_up]
    return deviation, np.where(beyond, sure[MOST_PIECES], sure[looked_up])


def _judged(batches: _Batches, rules: Sequence[Rule], recent: int) -> Columns:
    """Limits and alarms, lines of like length at a time, so that little is padded."""
    count = batches.count
    whole = ("batches", *_counted(rules), "alarming", "recent")
    numbers = ("mean", "sd", "lower", "upper", "total", "ago")
    found: Columns = {name: np.zeros(len(count), dtype=np.int64) for name in whole}
    found |= {name: np.full(len(count), np.nan) for name in numbers}
    length = np.frexp(count.astype(float))[1]  # 4 to 7 batches: 3, 8 to 15: 4 …
    for each in np.unique(length[count > 0]):
        alike = np.flatnonzero(length == each)
        at_once = max(1, CELLS // int(count[alike].max()))
        for lines in np.split(alike, range(at_once, len(alike), at_once)):
            for name, column in _of_matrix(_matrix(batches, lines), rules, recent).items():
                found[name][lines] = column
    return found


def _counted(rules: Sequence[Rule]) -> list[str]:
    return [rule.key.replace(" ", "_") for rule in rules]


@dataclass(frozen=True, kw_only=True)
class _Matrix:
    """Lines by batches; NaN behind the last batch of a shorter line. ``several`` as in ``_Batches``."""

    count: Ints
    full: bool
    place: NDArray[np.integer]
    level: Floats
    several: tuple[Floats, ...] | None


def _matrix(batches: _Batches, lines: Ints) -> _Matrix:
    count, first = batches.count[lines], batches.first[lines]
    longest = int(count.max())
    if (count == longest).all() and int(first[-1]) - int(first[0]) == longest * (len(lines) - 1):
        stretch = slice(int(first[0]), int(first[-1]) + longest)  # side by side: a view will do

        def shaped(column: NDArray[np.generic]) -> NDArray[np.generic]:
            return column[stretch].reshape(len(lines), longest)

        full = True
    else:
        across = np.arange(longest)
        there = across < count[:, None]
        at = np.where(there, first[:, None] + across, 0)

        def shaped(column: NDArray[np.generic]) -> NDArray[np.generic]:
            return np.where(there, column[at], np.nan)

        full = bool(there.all())
    return _Matrix(
        count=count,
        full=full,
        place=shaped(batches.place),  # type: ignore[arg-type]
        level=shaped(batches.level),  # type: ignore[arg-type]
        several=None if batches.several is None else tuple(shaped(column) for column in batches.several),  # type: ignore[misc]
    )


def _of_matrix(lines: _Matrix, rules: Sequence[Rule], recent: int) -> Columns:
    def total(x: NDArray[np.generic]) -> Floats:
        return x.sum(axis=1) if lines.full else np.nansum(x, axis=1)

    level, count = lines.level, lines.count
    mean = total(level) / count
    steps = np.diff(level, axis=1)
    np.abs(steps, out=steps)
    with np.errstate(divide="ignore", invalid="ignore"):
        sd = total(steps) / (count - 1) / constants(2).d2  # NaN with one batch
    top = np.maximum(level.max(axis=1), -level.min(axis=1)) if lines.full else np.nanmax(np.abs(level), axis=1)
    sd = np.where(sd <= TINY * top, 0.0, sd)
    off = level - mean[:, None]
    own, piece = _spreads(lines, sd, TINY * top, off, total)
    with np.errstate(divide="ignore", invalid="ignore"):
        z = off * ((SIGMAS / 3) / np.where(own == 0, np.nan, own))
    reach = SIGMAS * np.where(sd == 0, np.nan, sd)
    numbers = {"mean": mean, "sd": sd, "lower": mean - reach, "upper": mean + reach, "total": piece}
    return {"batches": count, **numbers, **_alarms(lines, z, rules, recent)}


def _spreads(lines: _Matrix, sd: Floats, least: Floats, off: Floats, total: Total) -> tuple[Floats, Floats]:
    """Standard deviation of a mean of its batch's size (lines, 1 or batches), and of any piece (lines,)."""
    count = lines.count.astype(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        levels = (total(off * off) - total(off) ** 2 / count) / np.where(count == 1, np.nan, count - 1)
        if lines.several is None:
            return sd[:, None], np.sqrt(np.maximum(levels, 0.0))
        size, squares, deviation, sureness = lines.several
        inverse, weight = total(1 / size) / count, total(sureness)
        told = np.divide(total(deviation * sureness), weight, out=np.zeros(len(sd)), where=weight > 0)
        within = np.where(told <= least, 0.0, told) ** 2
        between = sd**2 - within * inverse
        parted = between[:, None] + within[:, None] / size
        own = np.sqrt(np.where((between > 0)[:, None], parted, (sd**2 / inverse)[:, None] / size))
        pieces = total(size) - count
        pooled = np.divide(total(squares), pieces, out=np.zeros(len(sd)), where=pieces > 0)
        return own, np.sqrt(pooled + np.maximum(levels - pooled * inverse, 0.0))


def _alarms(lines: _Matrix, z: Floats, rules: Sequence[Rule], recent: int) -> Columns:
    """Alarms are few: their places are found once, and only these are counted."""
    found: Columns = {}
    alarm = np.zeros(z.shape, dtype=bool)
    for name, rule in zip(_counted(rules), rules, strict=True):
        done = completed(rule, z)
        found[name] = _each_line(done)[0]
        alarm |= done
    newest = lines.place[np.arange(len(z)), lines.count - 1]
    found["alarming"], line, batch = _each_line(alarm)
    ago = newest[line] - lines.place[line, batch]
    found["recent"] = np.bincount(line[ago < recent], minlength=len(z))
    found["ago"] = np.full(len(z), np.nan)
    found["ago"][line] = ago  # the last one written is the newest
    return found


def _each_line(hits: NDArray[np.bool_]) -> tuple[Ints, Ints, Ints]:
    """How many in each line; and the line and the batch of every one, in order."""
    line, batch = np.divmod(np.flatnonzero(hits), hits.shape[1])
    return np.bincount(line, minlength=len(hits)), line, batch
