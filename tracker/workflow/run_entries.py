"""What was entered for a run, in order, and how is an entry undone?

Undoing is a new entry that brings back what stood before: the former value, or nothing.
Nothing is taken out of the record.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session, SQLModel, col, select

from tracker.deeds import Deed
from tracker.errors import Conflict, NotFound
from tracker.intake.numbers import number_text, read_number
from tracker.models import (
    Bake,
    BakeMoment,
    Outcome,
    PersonDetails,
    Photo,
    PhotoErasure,
    Reading,
    Response,
    Run,
    TasteNote,
    Weighing,
)
from tracker.store import Store
from tracker.workflow.lookup import find_run, find_trial, key, refuse_closed, runs_of
from tracker.workflow.said import said_reading
from tracker.workflow.sheets import make_sheet

UNDONE = "undone at the bench"
TABLES: dict[str, type[SQLModel]] = {
    "reading": Reading,
    "weighing": Weighing,
    "outcome": Outcome,
    "moment": BakeMoment,
    "note": TasteNote,
    "photo": Photo,
}


@dataclass(frozen=True, kw_only=True)
class EntryLine:
    """One entry in words; ``can_undo`` while nothing came after it."""

    table: str
    number: int
    at: str
    who: str
    words: str
    reason: str
    can_undo: bool


def entry_lines(
    session: Session, responses: Sequence[Response], pieces: Mapping[int | None, int], rows: Sequence[Any]
) -> tuple[EntryLine, ...]:
    """Newest first."""
    names = {
        row.person_id: row.name
        for row in session.exec(
            select(PersonDetails).where(col(PersonDetails.person_id).in_({row.person_id for row in rows}))
        )
    }
    known = {response.id: response for response in responses}
    table_of = {PhotoErasure: "erasure"} | {table: name for name, table in TABLES.items()}
    after = {_what_it_followed(row) for row in rows}
    photos = {row.id: row for row in rows if isinstance(row, Photo)}
    lines = [
        EntryLine(
            table=table_of[type(row)],
            number=key(row),
            at=row.at,
            who=names.get(row.person_id, f"person {row.person_id}"),
            words=_erased_words(photos.get(row.photo_id), pieces)
            if isinstance(row, PhotoErasure)
            else _words(row, known, pieces),
            reason=row.reason,
            can_undo=type(row) in TABLES.values() and (type(row), row.id) not in after and row.reason != UNDONE,
        )
        for row in rows
    ]
    return tuple(sorted(lines, key=lambda line: (line.at, line.table, line.number), reverse=True))


def _what_it_followed(row: Any) -> tuple[type[SQLModel], int | None]:
    """The entry that can no longer be undone because of this one."""
    return (Photo, row.photo_id) if isinstance(row, PhotoErasure) else (type(row), row.replaces_id)


def _erased_words(photo: Photo | None, pieces: Mapping[int | None, int]) -> str:
    return ("photo" if photo is None else _words(photo, {}, pieces)) + ": erased"


def _words(row: Any, responses: Mapping[int | None, Response], pieces: Mapping[int | None, int]) -> str:
    piece = f", piece {pieces[row.piece_id]}" if getattr(row, "piece_id", None) in pieces else ""
    if isinstance(row, Reading):
        response = responses.get(row.response_id)
        repeat = f", reading {row.repeat}" if row.repeat > 1 else ""
        return f"{row.response}{piece}{repeat}: {said_reading(response, row.value)}"
    if isinstance(row, Weighing):
        return f"weighed {row.ingredient}: {number_text(row.grams)} g"
    if isinstance(row, Outcome):
        oven = "" if row.oven_temperature_c is None else f", oven {number_text(row.oven_temperature_c)} °C"
        return f"bake {row.state}{oven}" + (f"; {row.deviations}" if row.deviations else "")
    if isinstance(row, BakeMoment):
        return f"{row.what}: taken back" if row.void else f"{row.what}"
    if isinstance(row, Photo):
        return f"photo{piece}: taken back" if row.void else f"photo{piece}" + (f": {row.words}" if row.words else "")
    if row.void:
        return "taste note: taken back"
    tags = ", ".join(json.loads(row.tags))
    return f"taste note{piece}: " + "; ".join(part for part in (row.words, tags) if part)


def undo_entry(store: Store, trial: str, run: str, table: str, number: int, *, person: int) -> str:
    """Bring back what stood before an entry; returns the entry's table. Raises Conflict when something came after."""
    if table not in TABLES:
        raise NotFound("There is no such entry.", where=f'trial "{trial}"', try_this="load the page again")
    asked = {w.ingredient: w.grams for day in make_sheet(store, trial, only=run).days for w in day.runs[0].weights}
    with store.write(person=person, action=f"undo {table}", reason=UNDONE) as deed:
        found = find_trial(deed.session, trial)
        refuse_closed(deed.session, found)
        its_run = find_run(runs_of(deed.session, found), run, trial=trial)
        row = _standing_row(deed, its_run, TABLES[table], number)
        deed.add(_as_before(deed, row, asked, person))
    return table


def _standing_row(deed: Deed, run: Run, table: type[Any], number: int) -> Any:
    row = deed.session.get(table, number)
    bake = deed.session.exec(select(Bake).where(Bake.run_id == run.id)).first()
    if row is None or bake is None or row.bake_id != bake.id:
        raise NotFound("There is no such entry here.", where=f"run {run.code}", try_this="load the page again")
    if deed.session.exec(select(table).where(table.replaces_id == number)).first() is not None:
        raise Conflict(
            "Something was entered after it.", where=f"run {run.code}", try_this="load the page again and undo that"
        )
    if isinstance(row, Photo) and deed.session.exec(_erasure_of(row)).first() is not None:
        raise Conflict(
            "This photo was erased: that there was one stays.",
            where=f"run {run.code}",
            try_this="load the page again",
        )
    if row.reason == UNDONE:
        raise Conflict("That entry undid another one.", where=f"run {run.code}", try_this="enter the value anew")
    return row


def _erasure_of(photo: Photo) -> Any:
    return select(PhotoErasure.id).where(PhotoErasure.photo_id == photo.id)


def _as_before(deed: Deed, row: Any, asked: Mapping[str, str], person: int) -> Any:
    before = deed.session.get(type(row), row.replaces_id) if row.replaces_id else None
    common: dict[str, Any] = {"person_id": person, "at": deed.at, "replaces_id": row.id, "reason": UNDONE}
    if isinstance(row, Weighing):
        grams = before.grams if before else _asked_grams(row, asked)
        return Weighing(bake_id=row.bake_id, ingredient=row.ingredient, grams=grams, **common)
    if isinstance(row, Outcome):
        return Outcome(
            bake_id=row.bake_id,
            state=before.state if before else "done",
            deviations=before.deviations if before else "",
            oven_temperature_c=before.oven_temperature_c if before else None,
            **common,
        )
    void = before is None or before.void
    source = before if before is not None and not void else row
    fields = {name: getattr(source, name) for name in type(row).model_fields if name not in ("id", *common)}
    fields["void"] = void
    if isinstance(row, Reading):
        fields["value"] = None if void else fields["value"]
    return type(row)(**fields, **common)


def _asked_grams(row: Weighing, asked: Mapping[str, str]) -> float:
    """Weights have no void: undone is weighed as the sheet asks."""
    if row.ingredient not in asked:
        raise Conflict(
            f"The sheet asks for no {row.ingredient}, so there is nothing to go back to.",
            where="run",
            try_this="enter what was weighed",
        )
    return read_number(asked[row.ingredient], what=row.ingredient)
