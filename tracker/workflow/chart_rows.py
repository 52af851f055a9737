"""Which readings of which batches does a spreadsheet hold, in order of baking?

One row for each reading, with a column ``batch``; the order of the rows is the order of baking. A
column for each response, or ``response`` and ``value`` as our own export writes them. A row that
cannot be used is left out and said, with its reason; nothing is guessed into its place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from analysis.control.results import BatchSeries, CountSeries
from analysis.results import LeftOut
from tracker.errors import InputError
from tracker.intake.columns import find_column, guess_kind, numbers_of
from tracker.intake.mapping import plain, split_unit
from tracker.intake.spreadsheet import Sheet, nearest

BATCH, RESPONSE, VALUE = "batch", "response", "value"
TIMES = ("baked at", "at", "time", "date", "baked on")


@dataclass(frozen=True, kw_only=True)
class Rows:
    """One response of a file: what was read of it, batch by batch.

    ``left_out`` are rows (1-based, header not counted) with their reason.
    """

    response: str
    unit: str
    batches: tuple[str, ...]
    values: tuple[tuple[float, ...], ...]
    at: tuple[str, ...]
    sizes: tuple[float, ...]
    read: int
    left_out: tuple[LeftOut, ...]

    def measured(self) -> BatchSeries:
        return BatchSeries(response=self.response, unit=self.unit, batches=self.batches, values=self.values, at=self.at)

    def counted(self, of: str) -> CountSeries:
        """Counts of each batch, out of its sizes; without a column of sizes out of its readings (0 or 1 each)."""
        return CountSeries(
            response=self.response,
            of=of,
            batches=self.batches,
            counts=tuple(sum(values) for values in self.values),
            sizes=self.sizes or tuple(float(len(values)) for values in self.values),
            at=self.at,
        )


def rows_of(sheet: Sheet, response: str, *, yes_no: bool = False, size: str | None = None) -> Rows:
    """The readings of one response. Raises InputError for what cannot be charted as it stands, naming its row.

    ``yes_no``: the column may hold yes and no. ``size`` names the column out of how many each count was.
    """
    batch_column = _batch_column(sheet)
    column, own = _response_column(sheet, response, batch_column)
    values = _values(sheet, column, yes_no=yes_no)
    sizes = numbers_of(sheet, find_column(sheet.header, size, option="--size")) if size else None
    name, unit = split_unit(column) if own is None else (response, "")
    kept: dict[str, list[int]] = {}
    left_out: list[LeftOut] = []
    last = ""
    for row in range(len(sheet.rows)) if own is None else own:
        batch = sheet.rows[row][sheet.header.index(batch_column)].strip()
        why = _why_not(batch, values[row], name, None if sizes is None else sizes[row], size)
        if why:
            left_out.append(LeftOut(row=row + 1, why=why, response=name))
            continue
        if batch in kept and batch != last:
            raise _comes_back(sheet, row, batch, last, batch_column)
        kept.setdefault(batch, []).append(row)
        last = batch
    return Rows(
        response=name,
        unit=unit,
        batches=tuple(kept),
        values=tuple(tuple(values[row] or 0.0 for row in rows) for rows in kept.values()),
        at=_times(sheet, kept),
        sizes=() if sizes is None else tuple(sum(sizes[row] or 0.0 for row in rows) for rows in kept.values()),
        read=len(sheet.rows) if own is None else len(own),
        left_out=tuple(left_out),
    )


def responses_in(sheet: Sheet) -> list[str]:
    """What may be charted: the columns of numbers, or the responses of an export."""
    if _is_long(sheet):
        return list(dict.fromkeys(text.strip() for text in sheet.column(_named(sheet, RESPONSE) or "")))
    batch = _named(sheet, BATCH)
    return [column for column in sheet.header if column != batch and guess_kind(sheet.column(column)) == "amount"]


def _batch_column(sheet: Sheet) -> str:
    found = _named(sheet, BATCH)
    if found is None:
        raise InputError(
            f'{sheet.source} has no column "batch"; its columns are {", ".join(sheet.header)}.',
            where=sheet.source,
            try_this='head the column that numbers the batches "batch", one row for each reading',
        )
    return found


def _response_column(sheet: Sheet, response: str, batch_column: str) -> tuple[str, list[int] | None]:
    """The column that holds the response, and (in an export) the rows that are about it."""
    names = {plain(column) for column in sheet.header} | {plain(split_unit(column)[0]) for column in sheet.header}
    if plain(response) not in names and _is_long(sheet):
        texts = [text.strip() for text in sheet.column(_named(sheet, RESPONSE) or "")]
        own = [row for row, text in enumerate(texts) if plain(text) == plain(response)]
        if own:
            return _named(sheet, VALUE) or VALUE, own
        known = list(dict.fromkeys(texts))
        raise InputError(
            f'{sheet.source} has no readings of "{response}"; it has {", ".join(known)}.',
            where="--response",
            try_this=f'--response "{nearest(response, known) or known[0]}"',
        )
    column = find_column(sheet.header, response, option="--response")
    if column == batch_column:
        raise InputError(
            f'"{response}" numbers the batches; it was not measured.',
            where="--response",
            try_this=f'--response "{next(iter(responses_in(sheet)), "NAME")}"',
        )
    return column, None


def _is_long(sheet: Sheet) -> bool:
    return _named(sheet, RESPONSE) is not None and _named(sheet, VALUE) is not None


def _named(sheet: Sheet, name: str) -> str | None:
    return next((column for column in sheet.header if plain(column) == name), None)


def _values(sheet: Sheet, column: str, *, yes_no: bool) -> list[float | None]:
    filled = [text for text in sheet.column(column) if text.strip()]
    return numbers_of(sheet, column, yes_no=yes_no and guess_kind(filled) != "amount")


def _why_not(batch: str, value: float | None, response: str, size: float | None, size_column: str | None) -> str:
    if not batch:
        return "no batch: a reading belongs to a batch, write its number beside it"
    if value is None:
        return f"no reading of {response}"
    if size_column and size is None:
        return f"no {size_column}"
    return ""


def _comes_back(sheet: Sheet, row: int, batch: str, last: str, column: str) -> InputError:
    return InputError(
        f"Batch {batch} comes back after batch {last}: two batches with one number, or rows out of order.",
        where=sheet.place(row, column),
        try_this="give the later one a number of its own, or bring the rows of one batch together, in order of baking",
    )


def _times(sheet: Sheet, kept: Mapping[str, Sequence[int]]) -> tuple[str, ...]:
    """When each batch was baked, as far as a column of times (ISO 8601) says so for all; () otherwise.

    Raises InputError where the clock goes back from one batch to the next.
    """
    column = next((name for name in TIMES if _named(sheet, name)), None)
    if column is None:
        return ()
    found = _named(sheet, column) or column
    texts = sheet.column(found)
    times: list[datetime] = []
    before = ""  # the time of the batch before, as it was written
    for rows in kept.values():
        time = _time(texts[rows[0]])
        if time is None:
            return ()
        if times and time < times[-1]:
            raise InputError(
                f"The clock goes back: {texts[rows[0]].strip()} after {before}.",
                where=sheet.place(rows[0], found),
                try_this="mend the time, or sort the rows in order of baking",
            )
        times.append(time)
        before = texts[rows[0]].strip()
    return tuple(time.isoformat() for time in times)


def _time(text: str) -> datetime | None:
    try:
        time = datetime.fromisoformat(text.strip())
    except ValueError:
        return None
    return time if time.tzinfo else time.replace(tzinfo=UTC)
