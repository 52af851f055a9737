"""What does a file of repeat readings say about the measuring?

Columns that were not named are guessed by their names, and each guess is reported.
"""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tracker.errors import InputError, UsageError
from tracker.intake.columns import numbers_of, texts_of
from tracker.intake.mapping import plain
from tracker.intake.numbers import plain_number
from tracker.intake.spreadsheet import Sheet, read_spreadsheet
from tracker.workflow.provenance import as_words, versions
from tracker.workflow.sheet_columns import SheetColumns

if TYPE_CHECKING:
    import pandas as pd

    from analysis.control.gauge.results import GaugeAnswer, GaugeQuestion
    from reports.page import Page
    from tracker.workflow.reporting import Beside, Look

PERSONS = (
    "person",
    "operator",
    "op",
    "appraiser",
    "reader",
    "assessor",
    "baker",
    "technician",
    "who",
    "people",
    "name",
)
PIECES = ("piece", "part", "sample", "loaf", "cake", "scone", "muffin", "biscuit", "cookie", "item", "bake", "batch")
NOT_READ = ("trial", "repeat", "repeats", "replicate", "reading", "row", "order", "number", "no", "run", "date", "time")


@dataclass(frozen=True, kw_only=True)
class GaugeAsked:
    """What was typed; None where nothing was."""

    response: str | None = None
    person: str | None = None
    piece: str | None = None
    nested: bool = False
    lower: float | None = None
    upper: float | None = None
    tolerance: float | None = None
    confidence: float = 0.95
    sheet: str | None = None

    def said(self) -> list[str]:
        """As it would be typed again."""
        words = (("--response", self.response), ("--person", self.person), ("--piece", self.piece))
        numbers = (("--lower-spec", self.lower), ("--upper-spec", self.upper), ("--tolerance", self.tolerance))
        out = [word for option, text in words if text for word in (option, text)]
        out += ["--nested"] if self.nested else []
        out += [word for option, value in numbers if value is not None for word in (option, f"{value:g}")]
        out += [] if self.confidence == 0.95 else ["--confidence", f"{self.confidence:g}"]
        return out + (["--sheet", self.sheet] if self.sheet else [])


@dataclass(frozen=True, kw_only=True)
class GaugeFile:
    """An answer with what a report needs beside it; ``remarks`` say what was guessed."""

    answer: GaugeAnswer
    title: str
    remarks: tuple[str, ...]
    provenance: dict[str, Any]

    def summary(self) -> str:
        from analysis.words.gauge_text import gauge_text

        return gauge_text(self.answer)

    def to_json(self) -> dict[str, Any]:
        from analysis.control.gauge.serialise import gauge_json

        return {**gauge_json(self.answer), "remarks": list(self.remarks), "provenance": self.provenance}


def analyse_gauge(path: str | Path, asked: GaugeAsked) -> GaugeFile:
    """Raises UsageError (options that cannot be), InputError and NotFound (the file), and what the analysis raises."""
    _check(asked)
    sheet = read_spreadsheet(path, sheet=asked.sheet)
    columns = SheetColumns(sheet)
    response, person, piece, guessed = _columns(columns, asked)
    from analysis.control.gauge.analysing import gauge_study

    question = _question(columns, asked, response, person, piece)
    answer = gauge_study(_frame(columns, response, person, piece), question)
    remarks = [*sheet.notes, *guessed]
    if answer.nested and not asked.nested:
        remarks.append("No piece was read by two people, so each person's pieces were taken as their own (--nested).")
    named = GaugeAsked(**{**asked.__dict__, "response": response, "person": person, "piece": piece})
    return GaugeFile(
        answer=answer,
        title=f"How well {columns.names[response]} is measured",
        remarks=tuple(remarks),
        provenance={
            "source": sheet.source + (f', sheet "{sheet.sheet}"' if sheet.sheet else ""),
            "content_sha256": sheet.sha256,
            "rows_read": len(sheet.rows),
            "rows_used": answer.readings,
            "rows_left_out": len(answer.left_out),
            "versions": versions(),
            "command": shlex.join(["crumbwise", "gauge", "analyse", sheet.source, *named.said()]),
        },
    )


def gauge_page(found: GaugeFile, look: Look) -> Page:
    """The report of a gauge study, before it is written."""
    from reports.gauge import gauge_page as page

    words = [*shlex.split(found.provenance["command"]), *look.said(), "--report", "report.html"]
    facts = as_words({**found.provenance, "command": shlex.join(words)})
    return page(found.answer, title=found.title, provenance=facts, remarks=found.remarks)


def write_gauge(found: GaugeFile, path: Path, *, look: Look, beside: Beside) -> Path:
    """One HTML or PDF file, whole or not at all."""
    from tracker.workflow.reporting import write_page

    return write_page(lambda: gauge_page(found, look).html(), path, look=look, paper=beside.paper, option="--report")


def _check(asked: GaugeAsked) -> None:
    if not 0.5 <= asked.confidence < 1:
        raise UsageError(
            f"A confidence of {asked.confidence:g} is not between 0.5 and 1.",
            where="--confidence",
            try_this="--confidence 0.95",
        )
    if asked.tolerance is not None and (asked.lower is not None or asked.upper is not None):
        raise UsageError(
            "The tolerance is the width between both limits: it was given twice.",
            where="--tolerance",
            try_this="either --lower-spec and --upper-spec, or --tolerance",
        )
    if asked.tolerance is not None and not 0 < asked.tolerance < float("inf"):
        raise UsageError(
            f"A tolerance of {asked.tolerance:g} leaves no room.", where="--tolerance", try_this="--tolerance 8"
        )
    if (asked.lower is None) != (asked.upper is None):
        missing = "--upper-spec" if asked.upper is None else "--lower-spec"
        raise UsageError(
            "With one limit the width of the tolerance is not known.",
            where=missing,
            try_this=f"{missing} too, or --tolerance with the width that readings may take",
        )
    if asked.lower is not None and asked.upper is not None and not asked.lower < asked.upper:
        raise UsageError(
            f"The lower limit {asked.lower:g} is not below the upper limit {asked.upper:g}.",
            where="--lower-spec, --upper-spec",
            try_this=f"--lower-spec {asked.upper:g} --upper-spec {asked.lower:g}"
            if asked.lower > asked.upper
            else "two different numbers",
        )


def _columns(columns: SheetColumns, asked: GaugeAsked) -> tuple[str, str | None, str, list[str]]:
    """(response, person, piece) as the file spells them, and what was guessed."""
    said: list[str] = []
    person = columns.column(asked.person, "--person") if asked.person else _guess(columns, PERSONS)
    if person and not asked.person:
        said.append(f"{person} was taken for the person who read.")
    piece = columns.column(asked.piece, "--piece") if asked.piece else _guess(columns, PIECES, person)
    if piece is None:
        raise InputError(
            f"No column is called as pieces mostly are; the columns are {', '.join(columns.sheet.header)}.",
            where=columns.sheet.source,
            try_this=f'--piece "{columns.sheet.header[0]}"',
        )
    if not asked.piece:
        said.append(f"{piece} was taken for the piece that was read.")
    response = (
        columns.column(asked.response, "--response") if asked.response else _only_number(columns, (person, piece))
    )
    if not asked.response:
        said.append(f"{response} was taken for the reading.")
    if not person:
        said.append("No column names a person: all readings were taken as one person's (--person NAME otherwise).")
    _refuse_twice(response, person, piece)
    return response, person, piece, said


def _guess(columns: SheetColumns, known: Sequence[str], taken: str | None = None) -> str | None:
    """The first column in the order of the known names."""
    named = {plain(columns.names[column]): column for column in columns.sheet.header if column != taken}
    return next((named[name] for name in known if name in named), None)


def _only_number(columns: SheetColumns, taken: tuple[str | None, str]) -> str:
    """The one column of numbers that is nothing else. Raises InputError when there are several or none."""
    header = columns.sheet.header
    free = [column for column in header if column not in taken]
    # A slip of the pen among numbers is for the reader of the cells to find: most cells decide.
    numeric = [column for column in free if _mostly_numbers(columns.sheet.column(column))]
    likely = [column for column in numeric if plain(columns.names[column]) not in NOT_READ]
    likely = likely or [column for column in numeric if len(free) == 1]
    if len(likely) == 1:
        return likely[0]
    which = f"any of {', '.join(likely)}" if likely else f"none of {', '.join(header)}"
    raise InputError(
        f"The reading could be {which}.",
        where=columns.sheet.source,
        try_this=f'--response "{likely[-1] if likely else header[-1]}"',
    )


def _mostly_numbers(cells: Sequence[str]) -> bool:
    filled = [cell for cell in cells if cell.strip()]
    return sum(isinstance(plain_number(cell), float) for cell in filled) > len(filled) / 2


def _refuse_twice(response: str, person: str | None, piece: str) -> None:
    for one, other, option in (
        (response, person, "--person"),
        (response, piece, "--piece"),
        (person, piece, "--piece"),
    ):
        if one is not None and one == other:
            raise UsageError(
                f"The column {one} was named twice.", where=option, try_this=f"{option} with the name of another column"
            )


def _question(columns: SheetColumns, asked: GaugeAsked, response: str, person: str | None, piece: str) -> GaugeQuestion:
    from analysis.control.gauge.results import GaugeQuestion
    from analysis.control.results import Specification

    name, unit = columns.names[response], columns.units[response]
    limits = None
    if asked.lower is not None:
        limits = Specification(response=name, unit=unit, lower=asked.lower, upper=asked.upper)
    return GaugeQuestion(
        response=name,
        unit=unit,
        person=columns.names[person] if person else None,
        piece=columns.names[piece],
        nested=True if asked.nested else None,
        specification=limits,
        tolerance=asked.tolerance,
        confidence=asked.confidence,
    )


def _frame(columns: SheetColumns, response: str, person: str | None, piece: str) -> pd.DataFrame:
    """Numbers and names by row of the file. Raises InputError for a cell that is no number."""
    import pandas as pd

    sheet: Sheet = columns.sheet
    data: dict[str, Any] = {columns.names[response]: pd.Series(numbers_of(sheet, response), dtype="float64")}
    for column in (person, piece):
        if column:
            data[columns.names[column]] = pd.Series(texts_of(sheet, column), dtype=object)
    return pd.DataFrame(data).set_axis(pd.Index(sheet.places, name="row"), axis=0) if sheet.rows else pd.DataFrame(data)
