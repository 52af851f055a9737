"""What stands recorded for a run?

A row stands when nothing replaces it and it is not a void: corrections and voids stay in
the record behind it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeVar

from sqlmodel import Session, col, select

from tracker.current import rows_of, standing
from tracker.models import Bake, Outcome, Piece, Reading, Run, TasteNote, Trial, Weighing

Row = TypeVar("Row", Reading, Outcome, Weighing, TasteNote)


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


def notes_of(session: Session, bake: Bake) -> list[TasteNote]:
    return _standing(session, TasteNote, [bake.id])


def pieces_of(session: Session, bake: Bake) -> dict[int, Piece]:
    """Piece number → piece."""
    return {piece.number: piece for piece in session.exec(select(Piece).where(Piece.bake_id == bake.id))}


@dataclass(frozen=True, kw_only=True)
class TrialRecord:
    """Everything that stands for the runs of one trial, read in one go.

    ``bakes`` by run number, ``outcomes`` by bake number, ``pieces`` by piece number in the
    database; the lists are in the order of entry.
    """

    runs: tuple[Run, ...]
    bakes: dict[int, Bake]
    outcomes: dict[int, Outcome]
    pieces: dict[int, Piece]
    readings: tuple[Reading, ...]
    weighings: tuple[Weighing, ...]
    notes: tuple[TasteNote, ...]

    def piece_number(self, piece_id: int | None) -> int | None:
        return None if piece_id is None else self.pieces[piece_id].number

    def of_run(self, rows: tuple[Row, ...], run: Run) -> list[Row]:
        bake = self.bakes.get(run.id or 0)
        return [row for row in rows if bake is not None and row.bake_id == bake.id]


def record_of(session: Session, trial: Trial) -> TrialRecord:
    """What stands for every run of the trial; runs in bake order."""
    runs = session.exec(select(Run).where(Run.trial_id == trial.id).order_by(col(Run.bake_order))).all()
    bakes = rows_of(session, Bake, Bake.run_id, [run.id for run in runs])
    ids = [bake.id for bake in bakes]
    pieces = rows_of(session, Piece, Piece.bake_id, ids)
    return TrialRecord(
        runs=tuple(runs),
        bakes={bake.run_id: bake for bake in bakes if bake.run_id is not None},
        outcomes={row.bake_id: row for row in _standing(session, Outcome, ids)},
        pieces={piece.id: piece for piece in pieces if piece.id is not None},
        readings=tuple(_standing(session, Reading, ids)),
        weighings=tuple(_standing(session, Weighing, ids)),
        notes=tuple(_standing(session, TasteNote, ids)),
    )
