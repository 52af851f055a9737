"""Which readings does a fleet hold, line by line and batch by batch?

A *line* here is one product at one site on one production line, measured in one response: a series
of batches with limits of its own. ``series`` numbers it where the table was written by an export.

    product, site, line, response   text; site and line may be missing
    series    whole number of the line; may be missing
    batch     number of the batch, text
    place     1, 2, 3 … in order of baking within the line
    piece     number of the piece out of the batch; may be missing
    value     the reading; nothing, NaN and infinity count as missing
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import ibis
from ibis.expr import types as ir

from analysis.checks import nearest
from analysis.control.constants import c4
from analysis.errors import TrialDataError

KEY = ("product", "site", "line", "response")
NEEDED = ("product", "response", "batch", "place", "value")
MAY_MISS = ("site", "line")
MOST_PIECES = 100  # beyond, the shortfall of a standard deviation stays below 0.3 %


@dataclass(frozen=True, kw_only=True)
class Readings:
    """A checked table of readings; ``by`` are the columns that tell lines apart."""

    table: ir.Table
    by: tuple[str, ...]

    @property
    def finite(self) -> ir.BooleanValue:
        """Is there a finite number? Only such a one less itself is 0.

        Neither a comparison nor a question by name would do: an engine may answer those from the least and the largest
        value that a file notes of a row group, and such notes leave NaN out.
        """
        return (self.table.value - self.table.value == 0.0).fill_null(False)

    @property
    def usable(self) -> ir.Table:
        return self.table.filter(self.finite)


def require_columns(columns: Iterable[str]) -> None:
    """Raises TrialDataError that names the first column missing."""
    known = list(columns)
    for name in NEEDED:
        if name not in known:
            near = nearest(name, known)
            hint = f'rename "{near}"' if near else "write the folder with: crumbwise batch parquet"
            raise TrialDataError(
                f'The readings have no column "{name}"; there are: {", ".join(known) or "none"}.',
                where="columns of the Parquet files",
                try_this=hint,
            )


def readings(table: ir.Table) -> Readings:
    """The table with its columns in their types. Raises TrialDataError for one that is missing or of another kind."""
    require_columns(table.columns)
    for name in ("value", "place"):
        if not table[name].type().is_numeric():
            raise TrialDataError(
                f'The column "{name}" holds {table[name].type()}, not numbers.',
                where="columns of the Parquet files",
                try_this="write it as a number",
            )
    columns: dict[str, ir.Value] = {
        name: table[name].cast("string").fill_null("") if name in table.columns else ibis.literal("") for name in KEY
    }
    numbered = "series" in table.columns and table.series.type().is_integer()
    if numbered:
        columns["series"] = table.series
    columns |= {
        "batch": table.batch.cast("string"),
        "place": table.place.cast("int64"),
        "value": table.value.cast("float64"),
    }
    if "piece" in table.columns and table.piece.type().is_integer():
        columns["piece"] = table.piece
    return Readings(table=table.select(**columns), by=("series",) if numbered else KEY)


def largest_batch(asked: Readings) -> ir.IntegerScalar:
    """Readings of the largest batch. Where pieces are numbered, the files' own statistics know it."""
    if "piece" in asked.table.columns:
        return asked.table.piece.max()
    counted = asked.table.group_by([*asked.by, "place"]).agg(size=ibis._.count())
    return counted["size"].max()


def batch_means(asked: Readings, *, largest: int) -> ir.Table:
    """One row a batch: ``by``, ``place``, ``batch``, ``level``, ``size``, ``squares``, ``deviation``, ``sureness``.

    ``level`` is the mean of its readings, ``squares`` the sum of their squared distances from it, ``deviation`` the
    standard deviation of a reading as this batch tells it, and ``sureness`` its weight among the line's batches.
    """
    rows = asked.usable
    if largest <= 1:
        zero = ibis.literal(0.0)
        return rows.select(
            *asked.by,
            "place",
            "batch",
            level=rows.value,
            size=ibis.literal(1, "int64"),
            squares=zero,
            deviation=zero,
            sureness=zero,
        )
    grouped = rows.group_by([*asked.by, "place"]).agg(
        batch=rows.batch.max(),
        level=rows.value.mean(),
        size=rows.value.count(),
        spread=rows.value.std(how="sample").fill_null(0.0),
    )
    size, spread = grouped["size"], grouped.spread
    shortfall, sureness = _by_size(size, largest)
    return grouped.select(
        *asked.by,
        "place",
        "batch",
        "level",
        size=size,
        squares=spread * spread * (size - 1),
        deviation=spread / shortfall,
        sureness=sureness,
    )


def _by_size(size: ir.Value, largest: int) -> tuple[ir.Value, ir.Value]:
    """c4 of the batch's size, and how surely its standard deviation tells the spread (0 for a single reading)."""
    table = size_table(largest)
    shortfall = ibis.cases(*((size == n, short) for n, (short, _) in table.items()), else_=1.0)
    last = table[max(table)][1] if table else 0.0
    sureness = ibis.cases((size <= 1, 0.0), *((size == n, sure) for n, (_, sure) in table.items()), else_=last)
    return shortfall, sureness


def size_table(largest: int) -> dict[int, tuple[float, float]]:
    """Size of a batch -> c4 and the sureness of its standard deviation, for sizes up to MOST_PIECES."""
    each = {n: c4(n) for n in range(2, min(largest, MOST_PIECES) + 1)}
    return {n: (short, short**2 / (1 - short**2)) for n, short in each.items()}


def missing(asked: Readings) -> ir.Table:
    """``by`` and ``missing``: readings without a finite number; only lines that have some."""
    lost = asked.table.filter(~asked.finite)
    return lost.group_by(list(asked.by)).agg(missing=lost.count())


def names(asked: Readings) -> ir.Table:
    """``by`` and the four names of every line."""
    rows = asked.table
    if asked.by == KEY:
        return rows.select(*KEY).distinct()
    return rows.group_by("series").agg(**{name: rows[name].arbitrary() for name in KEY})
