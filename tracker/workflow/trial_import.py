"""How does a trial that was baked before Crumbwise come into the record?

A spreadsheet of a finished trial becomes a trial with its factors, responses, runs, bakes
and readings in one transaction, in the order in which its rows stand.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sqlmodel import Session, select

from tracker.errors import Conflict, InputError, UsageError
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
from tracker.models import Bake, Factor, ImportFile, Outcome, Reading, Response, Run, Trial, TrialState
from tracker.store import Deed, Store
from tracker.workflow.exchange import keep_file
from tracker.workflow.lookup import key


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What the columns of the file are. ``bake`` columns together name one bake; none: each row is one."""

    factors: tuple[str, ...]
    responses: tuple[str, ...]
    block: str | None = None
    bake: tuple[str, ...] = ()
    group: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class _Factor:
    column: str
    name: str
    unit: str
    kind: str
    guessed: bool
    cells: tuple[float | str | None, ...]
    levels: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class _Response:
    column: str
    name: str
    unit: str
    scale: str
    cells: tuple[float | None, ...]


@dataclass(frozen=True, kw_only=True)
class _Bake:
    """One bake of the file: its rows, its settings and its block."""

    rows: tuple[int, ...]
    settings: dict[str, Any]
    block: str | None


@dataclass(frozen=True, kw_only=True)
class _Read:
    """The file as it was understood."""

    table: Sheet
    factors: list[_Factor]
    responses: list[_Response]
    bakes: list[_Bake]
    preview: ImportPreview


def preview_trial(
    store: Store | None, name: str, path: str | Path, asked: Asked, *, sheet: str | None = None
) -> ImportPreview:
    """What ``import_trial`` would store; writes nothing and needs no kitchen. Raises the same."""
    read = _read(name, path, asked, sheet)
    if store is not None:
        with store.read() as session:
            _refuse_taken(session, name, read.table)
    return read.preview


def import_trial(
    store: Store,
    name: str,
    path: str | Path,
    asked: Asked,
    *,
    title: str = "",
    question: str = "",
    sheet: str | None = None,
    person: int = 1,
) -> ImportPreview:
    """Make a trial of a spreadsheet; all of it or nothing.

    Raises InputError (columns or cells that do not fit), Conflict (the name is taken, the
    file came before), NotFound (no such file or sheet).
    """
    read = _read(name, path, asked, sheet)
    design = {
        "kind": "imported",
        "block": split_unit(asked.block)[0] if asked.block else None,
        "group": list(_group(read, asked)),
        "bake": list(asked.bake),
        "source": read.table.source,
    }
    with store.write(person=person, action="import trial") as deed:
        _refuse_taken(deed.session, name, read.table)
        trial = deed.add(
            Trial(
                name=name,
                title=title or name,
                question=question,
                design=json.dumps(design, ensure_ascii=False, sort_keys=True),
                made_at=deed.at,
            )
        )
        _write(deed, trial, read, person)
    return replace(read.preview, stored=True)


def _read(name: str, path: str | Path, asked: Asked, sheet: str | None) -> _Read:
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
    return _Read(table=table, factors=factors, responses=responses, bakes=bakes, preview=preview)


def _group(read: _Read, asked: Asked) -> list[str]:
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


def _refuse_taken(session: Session, name: str, table: Sheet) -> None:
    if session.exec(select(Trial).where(Trial.name == name)).first() is not None:
        raise Conflict(f'There is a trial "{name}" already.', where="kitchen", try_this="another name")
    came = session.exec(select(ImportFile).where(ImportFile.sha256 == table.sha256)).first()
    if came is not None:
        raise Conflict(
            f"{table.source} came in already, as {came.name} on {came.at[:16].replace('T', ' at ')} UTC.",
            where=table.source,
            try_this="crumbwise trial list shows the trial it made",
        )


def _factors(table: Sheet, asked: Asked) -> list[_Factor]:
    if not asked.factors:
        raise UsageError("No factor was named.", where="--factor", try_this=f'--factor "{table.header[0]}:category"')
    return [_factor(table, text) for text in asked.factors]


def _factor(table: Sheet, text: str) -> _Factor:
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
    return _Factor(
        column=column, name=name, unit=unit, kind=real, guessed=kind is None, cells=tuple(cells), levels=levels
    )


def _responses(table: Sheet, asked: Asked) -> list[_Response]:
    if not asked.responses:
        raise UsageError("No response was named.", where="--response", try_this=f'--response "{table.header[-1]}"')
    found = []
    for text in asked.responses:
        wanted, scale = split_kind(text, SCALES, option="--response", header=table.header)
        column = find_column(table.header, wanted, option="--response")
        name, unit = split_unit(column)
        cells = numbers_of(table, column, yes_no=scale == "yes-no")
        found.append(_Response(column=column, name=name, unit=unit, scale=scale or "measured", cells=tuple(cells)))
    return found


def _used(table: Sheet, asked: Asked, factors: list[_Factor], responses: list[_Response]) -> set[str]:
    named = [*([asked.block] if asked.block else []), *asked.bake, *asked.group]
    columns = {factor.column for factor in factors} | {response.column for response in responses}
    return columns | {find_column(table.header, name, option="--block") for name in named}


def _bakes(table: Sheet, asked: Asked, factors: list[_Factor]) -> list[_Bake]:
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


def _bake(table: Sheet, rows: tuple[int, ...], factors: list[_Factor], blocks: list[str | None] | None) -> _Bake:
    for factor in factors:
        for index in rows[1:]:
            if factor.cells[index] != factor.cells[rows[0]]:
                raise InputError(
                    f"{factor.name} differs within one bake.",
                    where=table.place(index, factor.column),
                    try_this="give bakes that were mixed separately names of their own (--bake)",
                )
    return _Bake(
        rows=rows,
        settings={factor.name: factor.cells[rows[0]] for factor in factors},
        block=blocks[rows[0]] if blocks else None,
    )


def _write(deed: Deed, trial: Trial, read: _Read, person: int) -> None:
    factors, responses, bakes = read.factors, read.responses, read.bakes
    file = keep_file(deed, trial, read.table, person)
    deed.add(TrialState(trial_id=key(trial), state="baking", reason="imported", at=deed.at, person_id=person))
    deed.add_many(
        Factor(
            trial_id=key(trial),
            position=at,
            name=each.name,
            kind=each.kind,
            unit=each.unit,
            levels=json.dumps(list(each.levels), ensure_ascii=False),
        )
        for at, each in enumerate(factors, start=1)
    )
    stored = deed.add_many(
        Response(trial_id=key(trial), position=at, name=each.name, unit=each.unit, scale=each.scale)
        for at, each in enumerate(responses, start=1)
    )
    width = max(3, len(str(len(bakes))))
    runs = deed.add_many(
        Run(
            trial_id=key(trial),
            place_in_design=at,
            bake_order=at,
            block=bake.block,
            code=str(at).zfill(width),
            settings=json.dumps(bake.settings, ensure_ascii=False, sort_keys=True),
        )
        for at, bake in enumerate(bakes, start=1)
    )
    baked = deed.add_many(Bake(run_id=key(run), made_at=deed.at) for run in runs)
    deed.add_many(Outcome(bake_id=key(bake), state="done", person_id=person, at=deed.at) for bake in baked)
    deed.add_many(
        Reading(
            bake_id=key(done),
            response_id=kept.id,
            response=kept.name,
            repeat=repeat,
            value=response.cells[index],
            person_id=person,
            import_file_id=file.id,
            at=deed.at,
        )
        for done, bake in zip(baked, bakes, strict=True)
        for kept, response in zip(stored, responses, strict=True)
        for repeat, index in enumerate(bake.rows, start=1)
        if response.cells[index] is not None
    )
