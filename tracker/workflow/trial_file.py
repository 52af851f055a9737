"""What does the spreadsheet of a finished trial hold?

Its columns as factors, responses and blocks, its rows as bakes; checked as a whole before
anything is written.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tracker.errors import InputError, UsageError
from tracker.intake.columns import (
    KINDS,
    SCALES,
    find_column,
    guess_kind,
    levels_of,
    numbers_of,
    split_kind,
    texts_of,
)
from tracker.intake.mapping import split_unit
from tracker.intake.preview import ImportPreview
from tracker.intake.spreadsheet import Sheet, read_spreadsheet


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What the columns of the file are. ``bake`` columns together name one bake; none: each row is one."""

    factors: tuple[str, ...]
    responses: tuple[str, ...]
    block: str | None = None
    bake: tuple[str, ...] = ()
    group: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class FileFactor:
    column: str
    name: str
    unit: str
    kind: str
    guessed: bool
    cells: tuple[float | str | None, ...]
    levels: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class FileResponse:
    column: str
    name: str
    unit: str
    scale: str
    cells: tuple[float | None, ...]


@dataclass(frozen=True, kw_only=True)
class FileBake:
    """One bake of the file: its rows, its settings and its block."""

    rows: tuple[int, ...]
    settings: dict[str, Any]
    block: str | None


@dataclass(frozen=True, kw_only=True)
class TrialFile:
    """The file as it was understood."""

    table: Sheet
    factors: list[FileFactor]
    responses: list[FileResponse]
    bakes: list[FileBake]
    preview: ImportPreview


def read_trial_file(name: str, path: str | Path, asked: Asked, sheet: str | None) -> TrialFile:
    table = read_spreadsheet(path, sheet=sheet)
    factors, responses = _factors(table, asked), _responses(table, asked)
    bakes = _bakes(table, asked, factors)
    preview = ImportPreview(
        trial=name,
        file=table.source,
        sheet=table.sheet,
        sha256=table.sha256,
        columns={each.name: each.column for each in factors} | {each.name: each.column for each in responses},
        left_out=tuple(column for column in table.header if column not in _used(table, asked, factors, responses)),
        rows=len(table.rows),
        runs=len(bakes),
        readings=sum(value is not None for response in responses for value in response.cells),
        missing={response.name: sum(value is None for value in response.cells) for response in responses},
        notes=table.notes,
        kinds={each.name: f"{each.kind} (guessed)" if each.guessed else each.kind for each in factors},
    )
    return TrialFile(table=table, factors=factors, responses=responses, bakes=bakes, preview=preview)


def group_of(read: TrialFile, asked: Asked) -> list[str]:
    """Whole plots are named by factors and the block, since nothing else of a run is stored."""
    known = {factor.column: factor.name for factor in read.factors}
    if asked.block:
        known[find_column(read.table.header, asked.block, option="--block")] = split_unit(asked.block)[0]
    columns = [find_column(read.table.header, name, option="--group") for name in asked.group]
    for column in columns:
        if column not in known:
            raise InputError(
                f'"{column}" is neither a factor nor the block.',
                where="--group",
                try_this=f'--group "{"+".join(list(known.values())[:2])}"',
            )
    return [known[column] for column in columns]


def _factors(table: Sheet, asked: Asked) -> list[FileFactor]:
    if not asked.factors:
        raise UsageError("No factor was named.", where="--factor", try_this=f'--factor "{table.header[0]}:category"')
    return [_factor(table, text) for text in asked.factors]


def _factor(table: Sheet, text: str) -> FileFactor:
    wanted, kind = split_kind(text, KINDS, option="--factor", header=table.header)
    column = find_column(table.header, wanted, option="--factor")
    name, unit = split_unit(column)
    real = kind or guess_kind(table.column(column))
    cells: list[Any] = numbers_of(table, column) if real != "category" else texts_of(table, column)
    for index, cell in enumerate(cells):
        if cell is None:
            raise InputError(
                f"{name} is empty.",
                where=table.place(index, column),
                try_this="write what was set, or take the row out of the file",
            )
    levels = levels_of(cells) if real == "category" else ()
    return FileFactor(
        column=column, name=name, unit=unit, kind=real, guessed=kind is None, cells=tuple(cells), levels=levels
    )


def _responses(table: Sheet, asked: Asked) -> list[FileResponse]:
    if not asked.responses:
        raise UsageError("No response was named.", where="--response", try_this=f'--response "{table.header[-1]}"')
    found = []
    for text in asked.responses:
        wanted, scale = split_kind(text, SCALES, option="--response", header=table.header)
        column = find_column(table.header, wanted, option="--response")
        name, unit = split_unit(column)
        cells = numbers_of(table, column, yes_no=scale == "yes-no")
        found.append(FileResponse(column=column, name=name, unit=unit, scale=scale or "measured", cells=tuple(cells)))
    return found


def _used(table: Sheet, asked: Asked, factors: list[FileFactor], responses: list[FileResponse]) -> set[str]:
    named = [*([asked.block] if asked.block else []), *asked.bake, *asked.group]
    columns = {factor.column for factor in factors} | {response.column for response in responses}
    return columns | {find_column(table.header, name, option="--block") for name in named}


def _bakes(table: Sheet, asked: Asked, factors: list[FileFactor]) -> list[FileBake]:
    """In the order in which the bakes appear. Raises InputError when the rows of a bake disagree."""
    columns = [find_column(table.header, name, option="--bake") for name in asked.bake]
    names = [texts_of(table, column) for column in columns]
    blocks = texts_of(table, find_column(table.header, asked.block, option="--block")) if asked.block else None
    rows: dict[object, list[int]] = {}
    for index in range(len(table.rows)):
        rows.setdefault(tuple(column[index] for column in names) if names else index, []).append(index)
    for column in columns:
        texts = texts_of(table, column)
        if None in texts:
            raise InputError(
                f"{column} is empty.", where=table.place(texts.index(None), column), try_this="name the bake"
            )
    return [_bake(table, tuple(of_bake), factors, blocks) for of_bake in rows.values()]


def _bake(table: Sheet, rows: tuple[int, ...], factors: list[FileFactor], blocks: list[str | None] | None) -> FileBake:
    for factor in factors:
        for index in rows[1:]:
            if factor.cells[index] != factor.cells[rows[0]]:
                raise InputError(
                    f"{factor.name} differs within one bake.",
                    where=table.place(index, factor.column),
                    try_this="give bakes that were mixed separately names of their own (--bake)",
                )
    return FileBake(
        rows=rows,
        settings={factor.name: factor.cells[rows[0]] for factor in factors},
        block=blocks[rows[0]] if blocks else None,
    )
