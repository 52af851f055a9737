"""How does a trial that was baked before Crumbwise come into the record?

A spreadsheet of a finished trial becomes a trial with its factors, responses, runs, bakes
and readings in one transaction, in the order in which its rows stand.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

from sqlmodel import Session, select

from tracker.deeds import Deed
from tracker.errors import Conflict
from tracker.intake.mapping import split_unit
from tracker.intake.preview import ImportPreview
from tracker.intake.spreadsheet import Sheet
from tracker.models import Bake, Factor, ImportFile, Outcome, Reading, Response, Run, Trial, TrialState
from tracker.store import Store
from tracker.workflow.exchange import keep_file
from tracker.workflow.lookup import key
from tracker.workflow.trial_file import Asked, TrialFile, group_of, read_trial_file

__all__ = ["Asked", "import_trial", "preview_trial"]


def preview_trial(
    store: Store | None, name: str, path: str | Path, asked: Asked, *, sheet: str | None = None
) -> ImportPreview:
    """What ``import_trial`` would store; writes nothing and needs no kitchen. Raises the same."""
    read = read_trial_file(name, path, asked, sheet)
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
    read = read_trial_file(name, path, asked, sheet)
    design = {
        "kind": "imported",
        "block": split_unit(asked.block)[0] if asked.block else None,
        "group": list(group_of(read, asked)),
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


def _write(deed: Deed, trial: Trial, read: TrialFile, person: int) -> None:
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
