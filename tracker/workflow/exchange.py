"""How do readings typed into a spreadsheet become part of the record?

The file is read and checked as a whole, then written in one transaction, or not at all;
the file itself is kept beside what it brought.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from sqlmodel import Session, select

from tracker.current import CurrentTrial, current_trial, rows_of
from tracker.deeds import Deed
from tracker.errors import Conflict
from tracker.intake.mapping import read_map
from tracker.intake.preview import ImportPreview
from tracker.intake.spreadsheet import Sheet, read_spreadsheet
from tracker.models import Bake, ImportFile, Outcome, Piece, Reading, TasteNote, Trial, TrialState
from tracker.store import Store
from tracker.workflow.import_rows import RowEntry, read_rows
from tracker.workflow.lookup import find_trial, key, refuse_closed, state_of


def import_readings(
    store: Store,
    trial: str,
    path: str | Path,
    *,
    sheet: str | None = None,
    mapping: Sequence[str] = (),
    person: int = 1,
    reason: str = "",
    dry_run: bool = False,
) -> ImportPreview:
    """Bring the readings of a CSV or XLSX file into a planned trial; all of them or none.

    Rows name their run by its code or by the order of baking; ``piece`` and ``repeat`` are
    optional. ``mapping`` holds texts such as "height=rise height". A dry run writes nothing
    and returns the preview with its errors. Otherwise raises InputError (rows that cannot be
    used), Conflict (the file came before, readings stand there, closed trial), NotFound.
    """
    table = read_spreadsheet(path, sheet=sheet)
    explicit = read_map(mapping)
    if dry_run:
        with store.read() as session:
            return _preview(session, trial, table, explicit)[0]
    with store.write(person=person, action="import readings", reason=reason) as deed:
        preview, entries, current = _preview(deed.session, trial, table, explicit)
        found = current.trial
        preview.refuse_errors()
        file = keep_file(deed, found, table, person)
        _write(deed, entries, current, file, person, reason.strip())
        if state_of(deed.session, found) == "planned":
            deed.add(TrialState(trial_id=key(found), state="baking", at=deed.at, person_id=person))
    return replace(preview, stored=True)


def _preview(
    session: Session, trial: str, table: Sheet, explicit: dict[str, str]
) -> tuple[ImportPreview, list[RowEntry], CurrentTrial]:
    found = find_trial(session, trial)
    refuse_closed(session, found)
    refuse_known_file(session, table, found.name, found.id)
    current = current_trial(session, trial)
    preview, entries = read_rows(table, current, explicit)
    return preview, entries, current


def refuse_known_file(session: Session, table: Sheet, trial: str, trial_id: int | None) -> None:
    """Raises Conflict when the same bytes came into this trial before."""
    came = session.exec(
        select(ImportFile).where(ImportFile.trial_id == trial_id).where(ImportFile.sha256 == table.sha256)
    ).first()
    if came is not None:
        raise Conflict(
            f'{table.source} came into "{trial}" already, as {came.name} on {came.at[:16].replace("T", " at ")} UTC.',
            where=table.source,
            try_this="give a file with new readings",
        )


def keep_file(deed: Deed, trial: Trial, table: Sheet, person: int) -> ImportFile:
    """The file as it came, in the same transaction as what it brings."""
    return deed.add(
        ImportFile(
            trial_id=key(trial),
            name=table.source,
            sha256=table.sha256,
            content=table.content,
            person_id=person,
            at=deed.at,
        )
    )


def _write(
    deed: Deed, entries: list[RowEntry], current: CurrentTrial, file: ImportFile, person: int, reason: str
) -> None:
    told = [entry for entry in entries if entry.outcome or entry.values or entry.note]
    bakes = _bakes(deed, told, current)
    _outcomes(deed, told, current, bakes, person)
    pieces = _pieces(deed, told, bakes)
    deed.add_many(
        Reading(
            bake_id=key(bakes[key(entry.run)]),
            piece_id=pieces.get((key(entry.run), entry.piece)),
            response_id=response.id,
            response=response.name,
            repeat=entry.repeat,
            value=value.value,
            implausible=bool(value.warning),
            person_id=person,
            import_file_id=file.id,
            at=deed.at,
            reason=(reason or f"unlikely, but so in row {entry.row} of {file.name}") if value.warning else "",
        )
        for entry in told
        for response, value in entry.values
    )
    deed.add_many(
        TasteNote(
            bake_id=key(bakes[key(entry.run)]),
            piece_id=pieces.get((key(entry.run), entry.piece)),
            words=entry.note,
            person_id=person,
            at=deed.at,
        )
        for entry in told
        if entry.note
    )


def _bakes(deed: Deed, entries: list[RowEntry], current: CurrentTrial) -> dict[int, Bake]:
    """Run number → bake; new bakes for the runs that had none."""
    new = dict.fromkeys(key(entry.run) for entry in entries if key(entry.run) not in current.bakes)
    added = deed.add_many(Bake(run_id=run, made_at=deed.at) for run in new)
    return {**current.bakes, **dict(zip(new, added, strict=True))}


def _outcomes(deed: Deed, entries: list[RowEntry], current: CurrentTrial, bakes: dict[int, Bake], person: int) -> None:
    """One outcome for each bake that has none: the first row of the run that tells it."""
    told: dict[int, RowEntry] = {}
    for entry in entries:
        if entry.outcome and key(entry.run) not in current.outcomes:
            told.setdefault(key(bakes[key(entry.run)]), entry)
    deed.add_many(
        Outcome(
            bake_id=bake,
            state=entry.outcome,
            reason=entry.reason if entry.outcome != "done" else "",
            deviations=entry.deviations,
            oven_temperature_c=entry.oven_temperature_c,
            person_id=person,
            at=deed.at,
        )
        for bake, entry in told.items()
    )


def _pieces(deed: Deed, entries: list[RowEntry], bakes: dict[int, Bake]) -> dict[tuple[int, int | None], int]:
    """(run number, piece number) → number of the piece in the database."""
    there = rows_of(deed.session, Piece, Piece.bake_id, [bake.id for bake in bakes.values()])
    known = {(piece.bake_id, piece.number): key(piece) for piece in there}
    wanted = dict.fromkeys((key(entry.run), entry.piece) for entry in entries if entry.piece is not None)
    of_bake = {(run, number): (key(bakes[run]), number) for run, number in wanted}
    new = [place for place in of_bake.values() if place not in known]
    added = deed.add_many(Piece(bake_id=bake, number=number or 1) for bake, number in new)
    known |= {(piece.bake_id, piece.number): key(piece) for piece in added}
    return {place: known[(bake, number or 1)] for place, (bake, number) in of_bake.items()}
