"""What does each row of a spreadsheet say about the runs of a planned trial?

Rows are read one by one against the trial; what is wrong with a row is kept beside it, so
that one look shows everything there is to correct.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field

from tracker.current import CurrentTrial
from tracker.errors import InputError, TrackerError
from tracker.intake.mapping import LEAVE_OUT, Field, match_columns, plain, used_name
from tracker.intake.numbers import number_text, plain_number, read_number
from tracker.intake.preview import ImportPreview, RowError
from tracker.intake.spreadsheet import Sheet
from tracker.intake.values import Value, read_value
from tracker.models import Response, Run
from tracker.workflow.lookup import find_run
from tracker.workflow.recording import OUTCOMES

OWN_FIELDS = (
    Field(name="run", also=("run code", "code")),
    Field(name="bake order", also=("order",)),
    Field(name="piece"),
    Field(name="repeat"),
    Field(name="outcome"),
    Field(name="reason"),
    Field(name="deviations"),
    Field(name="oven temperature", unit="°C", also=("oven temperature c",)),
    Field(name="taste note", also=("taste notes", "note")),
)
# Written by an export for the reader's sake: of the plan, or worked out from what is recorded.
KNOWN_FIELDS = (Field(name="block"), Field(name="place in design"), Field(name="unlikely"), Field(name="weighed"))


@dataclass(frozen=True, kw_only=True)
class RowEntry:
    """One good row."""

    row: int
    run: Run
    piece: int | None
    repeat: int
    values: tuple[tuple[Response, Value], ...]
    outcome: str
    reason: str = ""
    deviations: str = ""
    oven_temperature_c: float | None = None
    note: str = ""


@dataclass
class RowReader:
    """Reads the rows of one sheet; ``entries`` and ``errors`` grow as it goes."""

    sheet: Sheet
    current: CurrentTrial
    columns: dict[str, str]
    entries: list[RowEntry] = field(default_factory=list)
    errors: list[RowError] = field(default_factory=list)
    _seen: dict[tuple[int | None, int | None, int], int] = field(default_factory=dict)
    _cells: dict[tuple[str, ...], int] = field(default_factory=dict)
    _told: dict[int | None, str] = field(default_factory=dict)

    def read(self) -> None:
        self._taken = {
            (run, self.current.pieces.get(reading.piece_id or 0), reading.response_id, reading.repeat)
            for run, readings in self.current.readings.items()
            for reading in readings
        }
        for index in range(len(self.sheet.rows)):
            before = len(self.errors)
            entry = self._entry(index)
            if entry is not None and len(self.errors) == before:
                self.entries.append(entry)

    def _cell(self, index: int, name: str) -> str:
        column = self.columns.get(name)
        return "" if column is None else self.sheet.rows[index][self.sheet.header.index(column)].strip()

    def _error(self, index: int, name: str, what: str, try_this: str, *, taken: bool = False) -> None:
        column = self.columns.get(name, "")
        self.errors.append(
            RowError(row=self.sheet.places[index], column=column, what=what, try_this=try_this, taken=taken)
        )

    def _entry(self, index: int) -> RowEntry | None:
        run = self._run(index)
        if run is None:
            return None
        self._check_settings(index, run)
        piece = self._count(index, "piece")
        repeat = self._repeat(index, run, piece)
        values = self._values(index, run, piece, repeat)
        outcome = self._outcome(index, run, bool(values))
        return RowEntry(
            row=self.sheet.places[index],
            run=run,
            piece=piece,
            repeat=repeat,
            values=tuple(values),
            outcome=outcome,
            reason=unguarded(self._cell(index, "reason")),
            deviations=unguarded(self._cell(index, "deviations")),
            oven_temperature_c=self._number(index, "oven temperature"),
            note=unguarded(self._cell(index, "taste note")),
        )

    def _run(self, index: int) -> Run | None:
        code, order = self._cell(index, "run"), self._cell(index, "bake order")
        if not code and not order:
            self._error(index, "run", "The row names no run.", "write the run's three-digit code")
            return None
        try:
            run = find_run(self.current.runs, code or f"#{order}", trial=self.current.trial.name)
        except TrackerError as wrong:
            if code.isdigit() and len(code) < 3:  # a spreadsheet ate the zeros in front
                padded = [run for run in self.current.runs if run.code == code.zfill(3)]
                if padded:
                    return padded[0]
            self._error(index, "run" if code else "bake order", wrong.what, wrong.try_this)
            return None
        if code and order and order != str(run.bake_order):
            self._error(
                index, "bake order", f"Run {run.code} is baked as #{run.bake_order}, not #{order}.", "check the code"
            )
            return None
        return run

    def _check_settings(self, index: int, run: Run) -> None:
        planned = json.loads(run.settings)
        for factor in self.current.factors:
            text = unguarded(self._cell(index, factor.name))
            if not text:
                continue
            setting = planned.get(factor.name)
            number = plain_number(text) if isinstance(setting, (int, float)) else None
            same = number == setting if isinstance(number, float) else text == str(setting)
            if not same:
                shown = number_text(setting) if isinstance(setting, (int, float)) else f'"{setting}"'
                self._error(
                    index,
                    factor.name,
                    f'{factor.name} is "{text}", but run {run.code} was planned with {shown}.',
                    "check the run's code; a changed setting belongs in the deviations",
                )

    def _count(self, index: int, name: str) -> int | None:
        number = self._number(index, name)
        if number is None:
            return None
        if number < 1 or not number.is_integer():
            self._error(index, name, f"{number_text(number)} is no {name}.", "count from 1")
            return None
        return int(number)

    def _number(self, index: int, name: str) -> float | None:
        text = self._cell(index, name)
        if not text:
            return None
        try:
            return read_number(text)
        except TrackerError as wrong:
            self._error(index, name, wrong.what, wrong.try_this)
            return None

    def _repeat(self, index: int, run: Run, piece: int | None) -> int:
        """The repeat that is written, else the next one; a row that is there twice is an error."""
        place = self.sheet.places[index]
        first = self._cells.setdefault(self.sheet.rows[index], place)
        if first != place:
            self._error(index, "", f"The row is the same as row {first}.", "delete it, or add a column repeat (1, 2 …)")
        written = self._count(index, "repeat")
        repeat = written or 1
        while written is None and (run.id, piece, repeat) in self._seen:
            repeat += 1
        earlier = self._seen.setdefault((run.id, piece, repeat), place)
        if earlier != place and first == place:
            self._error(
                index, "repeat", f"Row {earlier} holds the same run, piece and repeat.", "count the repeats 1, 2 …"
            )
        return repeat

    def _values(self, index: int, run: Run, piece: int | None, repeat: int) -> list[tuple[Response, Value]]:
        values = []
        for response in self.current.responses:
            text = unguarded(self._cell(index, response.name))
            if not text:
                continue
            try:
                value = read_value(text, response, where=self.sheet.place(index, self.columns[response.name]))
            except TrackerError as wrong:
                self._error(index, response.name, wrong.what, wrong.try_this)
                continue
            if (run.id, piece, response.id, repeat) in self._taken:
                self._error(
                    index,
                    response.name,
                    f"Run {run.code} has a reading of {response.name} there already.",
                    "leave the cell empty, or correct the reading with crumbwise trial record --correct",
                    taken=True,
                )
                continue
            values.append((response, value))
        return values

    def _outcome(self, index: int, run: Run, has_values: bool) -> str:
        """done, failed, skipped, or "" when the row tells nothing of it."""
        written = self._cell(index, "outcome").casefold()
        outcome = written or ("done" if has_values else "")
        if outcome and outcome not in OUTCOMES:
            self._error(index, "outcome", f'"{written}" is no outcome.', "write done, failed or skipped")
        if outcome in ("failed", "skipped") and not self._cell(index, "reason"):
            self._error(index, "reason", f"A {outcome} run needs a reason.", "write why in a column reason")
        stands = self.current.outcomes.get(run.id or 0)
        if outcome and stands is not None and stands.state != outcome:
            self._error(
                index,
                "outcome",
                f"Run {run.code} is recorded as {stands.state}.",
                "correct it with crumbwise trial record --correct",
                taken=True,
            )
        if outcome and self._told.setdefault(run.id, outcome) != outcome:
            self._error(
                index,
                "outcome",
                f"Run {run.code} is {self._told[run.id]} in a row above.",
                "give all rows of a run the same outcome",
            )
        return outcome


def unguarded(text: str) -> str:
    """Take off the quote that an export sets before texts a spreadsheet would run as a formula."""
    return text[1:] if len(text) > 1 and text[0] == "'" and text[1] in "=+-@\t\r'" else text


def read_rows(sheet: Sheet, current: CurrentTrial, explicit: dict[str, str]) -> tuple[ImportPreview, list[RowEntry]]:
    """The preview of a sheet, and its good rows. Raises InputError when its columns do not fit."""
    where, responses = sheet.source, current.responses
    fields = [Field(name=response.name, unit=response.unit) for response in responses]
    fields += [Field(name=factor.name, unit=factor.unit) for factor in current.factors]
    fields += [Field(name=plain(used_name(factor.name, factor.unit))) for factor in current.factors]
    taken = {each.name for each in fields}
    fields += [each for each in (*OWN_FIELDS, *KNOWN_FIELDS) if each.name not in taken]
    columns = match_columns(sheet.header, fields, explicit=explicit, where=where)
    _require(columns, responses, sheet)
    reader = RowReader(sheet, current, columns)
    reader.read()
    warnings = [value.warning for entry in reader.entries for _, value in entry.values if value.warning]
    measured = [response for response in responses if response.name in columns]
    return (
        ImportPreview(
            trial=current.trial.name,
            file=sheet.source,
            sheet=sheet.sheet,
            sha256=sheet.sha256,
            columns=columns,
            left_out=tuple(column for column, name in explicit.items() if name == LEAVE_OUT),
            rows=len(sheet.rows),
            runs=len({entry.run.id for entry in reader.entries}),
            readings=sum(len(entry.values) for entry in reader.entries),
            missing={r.name: sum(not cell.strip() for cell in sheet.column(columns[r.name])) for r in measured},
            errors=tuple(reader.errors),
            warnings=tuple(warnings),
            notes=sheet.notes,
        ),
        reader.entries,
    )


def _require(columns: dict[str, str], responses: Sequence[Response], sheet: Sheet) -> None:
    if not {"run", "bake order"} & set(columns):
        raise InputError(
            f"No column says which run a row belongs to; the columns are {', '.join(sheet.header)}.",
            where=sheet.source,
            try_this=f'--map "{sheet.header[0]}=run" (or "bake order")',
        )
    carried = {"outcome", "taste note", "deviations", *(response.name for response in responses)}
    if not carried & set(columns):
        raise InputError(
            f"No column holds a response of this trial ({', '.join(r.name for r in responses)}).",
            where=sheet.source,
            try_this=f'--map "{sheet.header[-1]}={responses[0].name if responses else "outcome"}"',
        )
