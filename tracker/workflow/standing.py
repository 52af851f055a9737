"""What stands recorded for a run?

A row stands when nothing replaces it and it is not a void: corrections and voids stay in
the record behind it. What is given is to be read only: bare rows of the tables, without the objects of a session.
A whole trial at once: ``tracker.current``.
"""

from __future__ import annotations

from typing import Any, TypeVar, cast

from sqlalchemy import bindparam, select
from sqlmodel import Session

from tracker.current import standing
from tracker.models import Bake, Outcome, Piece, Reading, Run, Weighing
from tracker.prepared import Prepared

Row = TypeVar("Row", Reading, Outcome, Weighing)


def _of(table: Any, column: str) -> Prepared:
    """Rows with the columns of a table, in order of entry."""
    columns = table.__table__.c
    return Prepared(select(table.__table__).where(columns[column] == bindparam("of")).order_by(columns.id))


_BAKES, _PIECES = _of(Bake, "run_id"), _of(Piece, "bake_id")
_READINGS = Reading.__table__  # type: ignore[attr-defined]
_OF_RESPONSE = Prepared(
    select(_READINGS)
    .where(_READINGS.c.bake_id == bindparam("of"), _READINGS.c.response_id == bindparam("response"))
    .order_by(_READINGS.c.id)
)
_OF_BAKE = {table: _of(table, "bake_id") for table in (Reading, Outcome, Weighing)}


def bake_of(session: Session, run: Run) -> Bake | None:
    """The bake that carries out a run; None before it is baked."""
    return cast("Bake | None", _BAKES.first(session.connection(), of=run.id))


def _standing(session: Session, table: type[Row], bake: Bake) -> list[Row]:
    return standing(cast("list[Row]", _OF_BAKE[table].all(session.connection(), of=bake.id)))


def readings_of(session: Session, bake: Bake) -> list[Reading]:
    return _standing(session, Reading, bake)


def readings_of_response(session: Session, bake: Bake, response: int | None) -> list[Reading]:
    """Of one response; a correction is one of the same."""
    return standing(cast("list[Reading]", _OF_RESPONSE.all(session.connection(), of=bake.id, response=response)))


def outcome_of(session: Session, bake: Bake) -> Outcome | None:
    found = _standing(session, Outcome, bake)
    return found[-1] if found else None


def weighings_of(session: Session, bake: Bake) -> list[Weighing]:
    return _standing(session, Weighing, bake)


def pieces_of(session: Session, bake: Bake) -> dict[int, Piece]:
    """Piece number → piece."""
    found = cast("list[Piece]", _PIECES.all(session.connection(), of=bake.id))
    return {piece.number: piece for piece in found}
