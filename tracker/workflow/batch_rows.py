"""What does each row of a season's spreadsheet say of its batch?

One row for each piece with a column for each response, or one row for each reading as our own
export writes them. What is wrong with a row is kept beside it, so that one look shows it all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from tracker.errors import TrackerError
from tracker.intake.moments import read_moment
from tracker.intake.numbers import number_text, read_number
from tracker.intake.piece_readings import read_measured, read_pieces
from tracker.intake.preview import RowError
from tracker.intake.spreadsheet import Sheet
from tracker.models import LoggedResponse
from tracker.workflow.batch_columns import BatchColumns
from tracker.workflow.batch_writing import BatchEntry
from tracker.workflow.import_rows import unguarded
from tracker.workflow.logged_responses import find_response

DETAILS = ("line", "oven", "shift")
WHEN = ("baked at", "date", "time")
MOST_PIECES = 10_000


@dataclass(slots=True)
class _Batch:
    """A batch as its rows tell it; ``readings`` maps response -> piece -> value, ``sizes`` likewise.

    ``said`` are its details and lots as a row without a mistake has them: a row like it says nothing new.
    """

    number: str
    row: int
    details: dict[str, str] = field(default_factory=dict)
    lots: dict[str, str] = field(default_factory=dict)
    readings: dict[str, dict[int, float]] = field(default_factory=dict)
    sizes: dict[str, dict[int, float]] = field(default_factory=dict)
    rows: int = 0
    said: tuple[str, ...] | None = None


@dataclass
class BatchRows:
    """Reads the rows of one sheet; ``errors`` and ``notices`` grow as it goes."""

    sheet: Sheet
    columns: BatchColumns
    responses: Sequence[LoggedResponse]
    product: str
    zone: str
    errors: list[RowError] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    _batches: dict[str, _Batch] = field(default_factory=dict)
    _last: str = ""

    def __post_init__(self) -> None:
        cells = zip(*self.sheet.rows, strict=True)
        self._cells = {column: _clean(texts) for column, texts in zip(self.sheet.header, cells, strict=True)}
        self._own_cells = {name: self._cells[column] for name, column in self.columns.own.items()}
        self._scales = {response.name: response.scale for response in self.responses}
        # What a text was read as, of each measured response: in a season the same numbers come back.
        self._measured: dict[str, dict[str, float]] = {response.name: {} for response in self.responses}
        self._counts_rows = not self.columns.long and "piece" not in self._own_cells

    def read(self) -> list[BatchEntry]:
        """Every batch in the order of the file. Look at ``errors`` before using any."""
        told = [self._own_cells[name] for name in (*DETAILS, *WHEN) if name in self._own_cells]
        told += [self._cells[column] for column in self.columns.lots.values()]
        long = self.columns.long
        rows = zip(self._own_cells["batch"], zip(*told, strict=True), strict=True)
        batch, before = None, ""
        for index, (typed, said) in enumerate(rows):
            if batch is None or typed != before:
                batch, before = self._batch(index, typed), typed
            if batch is not None:
                batch.rows += 1
                if said != batch.said:
                    errors = len(self.errors)
                    self._details(index, batch)
                    self._lots(index, batch)
                    if len(self.errors) == errors:
                        batch.said = said
                if long:
                    self._named_reading(index, batch)
                else:
                    self._readings(index, batch)
        entries = [self._entry(batch) for batch in self._batches.values()]
        self._clock(entries)
        return entries

    def row_of(self, number: str) -> int:
        return self._batches[number].row

    def _cell(self, index: int, column: str | None) -> str:
        return "" if column is None else self._cells[column][index]

    def _own(self, index: int, name: str) -> str:
        cells = self._own_cells.get(name)
        return "" if cells is None else cells[index]

    def _error(self, index: int, column: str | None, what: str, try_this: str) -> None:
        place = self.sheet.places[index]
        self.errors.append(RowError(row=place, column=column or "", what=what, try_this=try_this))

    def _batch(self, index: int, typed: str) -> _Batch | None:
        number = " ".join(typed.split())
        column = self.columns.own["batch"]
        if not number:
            self._error(index, column, "The row has readings without a batch.", "write the number of its batch")
            return None
        if number not in self._batches:
            self._batches[number] = _Batch(number, self.sheet.places[index])
        elif number != self._last and not self.columns.long:
            before = self._batches[number]
            self._error(
                index,
                column,
                f"Batch {number} comes back (first in row {before.row}): two batches with one number, "
                "or rows out of order.",
                "give the later one a number of its own, or bring the rows of one batch together",
            )
        self._last = number
        return self._batches[number]

    def _details(self, index: int, batch: _Batch) -> None:
        told = {name: self._own_cells[name][index] for name in DETAILS if name in self._own_cells}
        when = self._own(index, "baked at") or " ".join(
            part for part in (self._own(index, "date"), self._own(index, "time")) if part
        )
        if when:
            column = self.columns.own.get("baked at") or self.columns.own.get("date")
            try:
                told["baked_at"] = read_moment(when, zone=self.zone, where="baked at")
            except TrackerError as wrong:
                self._error(index, column, wrong.what, wrong.try_this)
        for name, value in told.items():
            self._once(index, batch.details, name, value, batch.number)

    def _lots(self, index: int, batch: _Batch) -> None:
        for ingredient, column in self.columns.lots.items():
            self._once(index, batch.lots, ingredient, self._cell(index, column), batch.number)

    def _once(self, index: int, told: dict[str, str], name: str, value: str, number: str) -> None:
        """A detail stands once for a batch; rows may leave it out, but not contradict it."""
        if value and told.setdefault(name, value) != value:
            self._error(
                index,
                None,
                f'{name.replace("_", " ")} of batch {number} is "{value}" here and "{told[name]}" above.',
                "give all rows of a batch the same, or the later batch a number of its own",
            )

    def _named_reading(self, index: int, batch: _Batch) -> None:
        name = self._own(index, "response")
        column = self.columns.own["response"]
        if not name:
            self._error(index, column, "The row names no response.", "write which response was read")
            return
        try:
            response = find_response(self.responses, name, product=self.product).name
        except TrackerError as wrong:
            self._error(index, column, wrong.what, wrong.try_this)
            return
        self._reading(index, batch, response, self.columns.own["value"], self.columns.own.get("size"))

    def _readings(self, index: int, batch: _Batch) -> None:
        for name, column in self.columns.responses.items():
            self._reading(index, batch, name, column, self.columns.sizes.get(name))

    def _reading(self, index: int, batch: _Batch, response: str, column: str, size_column: str | None) -> None:
        text = self._cells[column][index]
        if not text:
            return
        value, out_of = self._measured[response].get(text), None
        if value is None:
            try:
                value, out_of = self._read(response, text, self._cell(index, size_column))
            except TrackerError as wrong:
                self._error(index, column, wrong.what, wrong.try_this)
                return
        piece = batch.rows if self._counts_rows else self._piece(index, batch, response)
        if piece is None:
            return
        readings = batch.readings.setdefault(response, {})
        if piece in readings:
            self._error(
                index, column, f"Piece {piece} of batch {batch.number} has {response} already.", "count the pieces"
            )
            return
        readings[piece] = value
        if out_of is not None:
            batch.sizes.setdefault(response, {})[piece] = out_of

    def _read(self, response: str, text: str, size: str) -> tuple[float, float | None]:
        """The value in a cell, and of a count what it was taken out of."""
        scale = self._scales[response]
        if scale != "measured":
            typed = text if "/" in text or " of " in text else f"{text}/{size}"
            (read,) = read_pieces(typed, scale=scale, what=response)
            return read.value, read.size
        value = self._measured[response][text] = read_measured(text, what=response)
        return value, None

    def _piece(self, index: int, batch: _Batch, response: str) -> int | None:
        text = self._own(index, "piece")
        if not text:
            return batch.rows if not self.columns.long else len(batch.readings.get(response, {})) + 1
        column = self.columns.own["piece"]
        try:
            number = read_number(text, what="piece")
        except TrackerError as wrong:
            self._error(index, column, wrong.what, wrong.try_this)
            return None
        if number < 1 or not number.is_integer() or number > MOST_PIECES:
            self._error(index, column, f"{number_text(number)} is no number of a piece.", "count from 1")
            return None
        return int(number)

    def _entry(self, batch: _Batch) -> BatchEntry:
        if "baked_at" not in batch.details and not any(error.row == batch.row for error in self.errors):
            column = self.columns.own.get("baked at") or self.columns.own.get("date") or ""
            self.errors.append(
                RowError(
                    row=batch.row,
                    column=column,
                    what=f"Nothing says when batch {batch.number} was baked.",
                    try_this='write it as "2026-11-26 05:30"',
                )
            )
        return BatchEntry(
            number=batch.number,
            baked_at=batch.details.get("baked_at", ""),
            line=batch.details.get("line", ""),
            oven=batch.details.get("oven", ""),
            shift=batch.details.get("shift", ""),
            lots=batch.lots,
            readings={name: _in_order(values) for name, values in batch.readings.items()},
            sizes={
                name: tuple(sizes.get(piece, 1.0) for piece in range(1, max(sizes) + 1))
                for name, sizes in batch.sizes.items()
            },
        )

    def _clock(self, entries: Sequence[BatchEntry]) -> None:
        latest: BatchEntry | None = None
        for entry in entries:
            if latest is not None and entry.baked_at and entry.baked_at < latest.baked_at:
                self.notices.append(
                    f"The clock goes back in row {self.row_of(entry.number)}: batch {entry.number} was baked at "
                    f"{entry.baked_at}, before batch {latest.number} ({latest.baked_at}). "
                    "Batches are kept in the order of their times."
                )
            elif entry.baked_at:
                latest = entry


def _in_order(values: dict[int, float]) -> tuple[float | None, ...]:
    """Piece by piece, None where a piece was not read."""
    return tuple(values.get(piece) for piece in range(1, max(values) + 1))


def _clean(texts: Sequence[str]) -> list[str]:
    """The cells of a column without blanks around them and without an export's quote."""
    return [unguarded(text) if text[:1] == "'" else text for text in map(str.strip, texts)]
