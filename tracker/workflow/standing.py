"""What stands recorded for a run?

A row stands when nothing replaces it and it is not a void: corrections and voids stay in
the record behind it.
"""

from __future__ import annotations

from typing import TypeVar

from sqlalchemy import exists
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select

from tracker.models import Bake, Outcome, Piece, Reading, Run, TasteNote, Weighing

Row = TypeVar("Row", Reading, Outcome, Weighing, TasteNote)


def bake_of(session: Session, run: Run) -> Bake | None:
    """The bake that carries out a run; None before it is baked."""
    return session.exec(select(Bake).where(Bake.run_id == run.id)).first()


def _standing(session: Session, table: type[Row], bake_id: int | None) -> list[Row]:
    later = aliased(table)
    rows = session.exec(
        select(table)
        .where(col(table.bake_id) == bake_id)
        .where(~exists().where(col(later.replaces_id) == col(table.id)))
        .order_by(col(table.id))
    )
    return [row for row in rows if not getattr(row, "void", False)]


def readings_of(session: Session, bake: Bake) -> list[Reading]:
    return _standing(session, Reading, bake.id)


def outcome_of(session: Session, bake: Bake) -> Outcome | None:
    found = _standing(session, Outcome, bake.id)
    return found[-1] if found else None


def weighings_of(session: Session, bake: Bake) -> list[Weighing]:
    return _standing(session, Weighing, bake.id)


def notes_of(session: Session, bake: Bake) -> list[TasteNote]:
    return _standing(session, TasteNote, bake.id)


def pieces_of(session: Session, bake: Bake) -> dict[int, Piece]:
    """Piece number → piece."""
    return {piece.number: piece for piece in session.exec(select(Piece).where(Piece.bake_id == bake.id))}
