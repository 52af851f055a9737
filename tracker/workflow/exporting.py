"""How does a trial leave the kitchen, so that a stranger can read it?

One row per reading place (run, piece, repeat) with a column for each response, and a data
dictionary beside it. What is exported can be imported again with the same values.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reports.formats.tables import guarded
from tracker.current import CurrentTrial, current_trial
from tracker.errors import Conflict, UsageError
from tracker.intake.mapping import snake, used_name
from tracker.intake.numbers import number_text, said_dose
from tracker.intake.values import anchors_of
from tracker.models import Factor, Reading, Response, Run
from tracker.store import Store
from tracker.workflow.files import write_whole

Cell = str | float | int | None
DICTIONARY_HEADER = ("column", "meaning", "unit", "kind", "levels", "missing")


@dataclass(frozen=True, kw_only=True)
class Column:
    """One exported column and its line in the dictionary. ``levels`` are in their order."""

    name: str
    meaning: str
    unit: str = ""
    kind: str = "text"
    levels: tuple[str, ...] = ()

    def described(self) -> tuple[str, ...]:
        return (self.name, self.meaning, self.unit, self.kind, " | ".join(self.levels), "empty cell")


@dataclass(frozen=True, kw_only=True)
class Exported:
    """A trial as a table: ``rows`` hold numbers, texts and None for empty."""

    trial: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]

    def csv(self) -> str:
        return _csv([[column.name for column in self.columns], *self.rows])

    def dictionary_csv(self) -> str:
        return _csv([DICTIONARY_HEADER, *(column.described() for column in self.columns)])

    def xlsx(self) -> bytes:
        """Two sheets, data and dictionary; texts stay texts. Numbers keep about 16 digits, in CSV all."""
        out = io.BytesIO()
        import xlsxwriter

        plain = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
        with xlsxwriter.Workbook(out, {"in_memory": True, **plain}) as book:
            bold = book.add_format({"bold": True})
            head = [column.name for column in self.columns]
            _fill(book.add_worksheet("data"), head, self.rows, bold)
            _fill(book.add_worksheet("dictionary"), DICTIONARY_HEADER, [c.described() for c in self.columns], bold)
        return out.getvalue()


def export_table(store: Store, trial: str, *, blank: bool = False) -> Exported:
    """The trial as a table; ``blank`` leaves out settings and readings, for typing at the bench."""
    with store.read() as session:
        current = current_trial(session, trial)
    responses = current.responses
    if blank:
        columns = [*_run_columns((), current), *_place_columns(), *_response_columns(responses), *_end_columns()]
        rows = [row for run in current.runs for row in _blank_rows(run, responses, len(columns))]
    else:
        doses = _doses_analysed(current)
        measured = [each for each in current.factors if _differs(each, doses, current)]
        columns = _columns(current, measured)
        rows = [row for run in current.runs for row in _rows(run, current, measured, doses[run.code])]
    return Exported(trial=current.trial.name, columns=tuple(columns), rows=tuple(rows))


def export_trial(
    store: Store, trial: str, path: str | Path, *, blank: bool = False, replace: bool = False
) -> tuple[Path, ...]:
    """Write the table as .csv (with a dictionary beside it) or .xlsx; returns the files written.

    Raises Conflict when a file stands there already, unless ``replace`` is set: someone may
    have typed readings into it.
    """
    path = Path(path)
    if path.suffix.lower() not in (".csv", ".xlsx"):
        raise UsageError(f"{path.name} is neither .csv nor .xlsx.", where="--out", try_this=f"{path.stem}.csv")
    table = export_table(store, trial, blank=blank)
    beside = path.with_name(f"{path.stem}_dictionary.csv")
    if path.suffix.lower() == ".xlsx":
        files = {path: table.xlsx()}
    else:
        files = {path: table.csv().encode("utf-8-sig"), beside: table.dictionary_csv().encode("utf-8-sig")}
    for file in files:
        if file.exists() and not replace:
            raise Conflict(f"{file} is there already.", where=str(file), try_this="another name, or --replace")
    for file, content in files.items():
        write_whole(file, content)
    return tuple(files)


def _columns(current: CurrentTrial, measured: Sequence[Factor]) -> list[Column]:
    return [
        *_run_columns(current.factors, current),
        *_place_columns(),
        *_response_columns(current.responses),
        *_end_columns(),
        Column(name="weighed", meaning="what was weighed otherwise than planned, in g"),
        *(
            Column(
                name=used_name(factor.name, factor.unit),
                meaning=f"factor: {factor.name}, as measured at the bench and analysed, else as planned"
                "; rounded to 3 decimals, below 1 to 3 digits",
                unit=factor.unit,
                kind=factor.kind,
            )
            for factor in measured
        ),
        Column(name="unlikely", meaning="responses of this row outside their plausible range, kept with a reason"),
        Column(name="taste_notes", meaning="what was noted of the taste, tags in brackets"),
    ]


def _run_columns(factors: Sequence[Factor], current: CurrentTrial) -> list[Column]:
    blocks = tuple(dict.fromkeys(run.block for run in current.runs if run.block is not None))
    return [
        Column(name="run", meaning="blind code of the run", kind="code"),
        Column(name="bake_order", meaning="place in the order of baking", kind="count"),
        Column(name="place_in_design", meaning="place in the design before it was shuffled", kind="count"),
        Column(name="block", meaning="runs baked under the same conditions", kind="category", levels=blocks),
        *(
            Column(
                name=snake(factor.name, factor.unit),
                meaning=f"factor: {factor.name}",
                unit=factor.unit,
                kind=factor.kind,
                levels=tuple(str(level) for level in json.loads(factor.levels)),
            )
            for factor in factors
        ),
    ]


def _place_columns() -> list[Column]:
    return [
        Column(name="piece", meaning="number of the loaf, cake or cookie out of this bake", kind="count"),
        Column(name="repeat", meaning="number of the reading of this piece", kind="count"),
    ]


def _response_columns(responses: Sequence[Response]) -> list[Column]:
    return [
        Column(
            name=snake(response.name, response.unit),
            meaning=f"response: {response.name}" + (f" ({response.goal})" if response.goal else ""),
            unit=response.unit,
            kind=response.scale,
            levels=tuple(f"{at} {word}" for at, word in enumerate(anchors_of(response), start=1)),
        )
        for response in responses
    ]


def _end_columns() -> list[Column]:
    return [
        Column(name="outcome", meaning="how the bake ended", kind="category", levels=("done", "failed", "skipped")),
        Column(name="reason", meaning="why a run failed or was skipped"),
        Column(name="deviations", meaning="what was done otherwise than planned"),
        Column(name="oven_temperature_c", meaning="measured oven temperature", unit="°C", kind="measured"),
    ]


def _blank_rows(run: Run, responses: Sequence[Response], width: int) -> list[tuple[Cell, ...]]:
    """One row for each piece and reading that the plan asks for; empty where there is only one."""
    pieces, readings = max(r.pieces for r in responses), max(r.readings for r in responses)
    rows: list[tuple[Cell, ...]] = []
    for piece in range(1, pieces + 1):
        for repeat in range(1, readings + 1):
            place: tuple[Cell, ...] = (piece if pieces > 1 else None, repeat if readings > 1 else None)
            start: tuple[Cell, ...] = (run.code, run.bake_order, run.place_in_design, run.block, *place)
            rows.append(start + (None,) * (width - len(start)))
    return rows


def _doses_analysed(current: CurrentTrial) -> dict[str, dict[str, Any]]:
    """What the analysis takes for each run; the tables' library is loaded only where something was measured."""
    if not current.weighings and all(each.oven_temperature_c is None for each in current.outcomes.values()):
        return {run.code: current.settings(run) for run in current.runs}
    from tracker.frames import doses_analysed

    return {run.code: doses_analysed(current, run) for run in current.runs}


def _differs(factor: Factor, doses: dict[str, dict[str, Any]], current: CurrentTrial) -> bool:
    return any(doses[run.code].get(factor.name) != current.settings(run).get(factor.name) for run in current.runs)


def _rows(run: Run, current: CurrentTrial, measured: Sequence[Factor], doses: dict[str, Any]) -> list[tuple[Cell, ...]]:
    settings, number = current.settings(run), run.id or 0
    start = (run.code, run.bake_order, run.place_in_design, run.block, *(settings.get(f.name) for f in current.factors))
    outcome = current.outcomes.get(number)
    end: tuple[Cell, ...] = (None,) * 4
    if outcome is not None:
        end = (outcome.state, outcome.reason or None, outcome.deviations or None, outcome.oven_temperature_c)
    weighed = (
        "; ".join(f"{row.ingredient} {number_text(row.grams)}" for row in current.weighings.get(number, [])) or None
    )
    used = [_used(doses.get(factor.name)) for factor in measured]
    notes = " / ".join(_note(note.words, note.tags) for note in current.notes.get(number, [])) or None
    places: dict[tuple[int, int], list[Reading]] = {}
    for reading in current.readings.get(number, []):
        places.setdefault((current.pieces.get(reading.piece_id or 0, 0), reading.repeat), []).append(reading)
    rows = []
    for at, ((piece, repeat), readings) in enumerate(sorted(places.items()) or [((0, 0), [])]):
        by_response = {reading.response_id: reading for reading in readings}
        values = [_cell(by_response.get(response.id), response) for response in current.responses]
        unlikely = ", ".join(reading.response for reading in readings if reading.implausible) or None
        rows.append(
            (*start, piece or None, repeat or None, *values, *end, weighed, *used, unlikely, notes if at == 0 else None)
        )
    return rows


def _used(dose: Any) -> Cell:
    return said_dose(float(dose)) if isinstance(dose, (int, float)) else None


def _note(words: str, tags: str) -> str:
    labels = json.loads(tags)
    return f"{words} [{', '.join(labels)}]".strip() if labels else words


def _cell(reading: Reading | None, response: Response) -> Cell:
    if reading is None or reading.value is None:
        return None
    if response.scale == "yes-no":
        return "yes" if reading.value else "no"
    return reading.value


def _csv(rows: Sequence[Sequence[Cell]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerows([_text(cell) for cell in row] for row in rows)
    return out.getvalue()


def _text(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, (int, float)):
        return number_text(cell)
    return guarded(cell)


def _fill(sheet: Any, head: Sequence[str], rows: Sequence[Sequence[Cell]], bold: Any) -> None:
    sheet.freeze_panes(1, 0)
    for at, name in enumerate(head):
        sheet.write_string(0, at, name, bold)
        sheet.set_column(at, at, max(10, min(len(name) + 2, 40)))
    for line, row in enumerate(rows, start=1):
        for at, cell in enumerate(row):
            if isinstance(cell, str):
                # Written as text it is no formula; only a quote in front would be taken off at import.
                sheet.write_string(line, at, f"'{cell}" if cell.startswith("'") else cell)
            elif cell is not None:
                sheet.write_number(line, at, cell)
