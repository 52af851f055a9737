"""What stands recorded for a run?

A row stands when nothing replaces it and it is not a void: corrections and voids stay in
the record behind it. A whole trial at once: ``tracker.current``.
"""

from __future__ import annotations

from typing import Any, TypeVar

from sqlmodel import Session, select

from tracker.current import rows_of, standing
from tracker.models import Bake, Outcome, Piece, Reading, Run, Weighing

Row = TypeVar("Row", Reading, Outcome, Weighing)


def bake_of(session: Session, run: Run) -> Bake | None:
    """The bake that carries out a run; None before it is baked."""
    return session.exec(select(Bake).where(Bake.run_id == run.id)).first()


def _standing(session: Session, table: type[Row], bakes: list[Any]) -> list[Row]:
    return standing(rows_of(session, table, table.bake_id, bakes))


def readings_of(session: Session, bake: Bake) -> list[Reading]:
    return _standing(session, Reading, [bake.id])


def outcome_of(session: Session, bake: Bake) -> Outcome | None:
    found = _standing(session, Outcome, [bake.id])
    return found[-1] if found else None


def weighings_of(session: Session, bake: Bake) -> list[Weighing]:
    return _standing(session, Weighing, [bake.id])


def pieces_of(session: Session, bake: Bake) -> dict[int, Piece]:
    """Piece number → piece."""
    return {piece.number: piece for piece in session.exec(select(Piece).where(Piece.bake_id == bake.id))}
