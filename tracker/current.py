"""What stands of a trial: the rows that nothing replaces and that are no void?"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any, TypeVar

from sqlmodel import Session, SQLModel, col, select

from tracker.errors import NotFound
from tracker.models import (
    Bake,
    Extension,
    Factor,
    Formula,
    FormulaLine,
    Outcome,
    Photo,
    Piece,
    Reading,
    Response,
    Run,
    TasteNote,
    Trial,
    Weighing,
)

Row = TypeVar("Row", bound=SQLModel)


@dataclass(frozen=True, kw_only=True)
class CurrentTrial:
    """One trial as it stands. ``runs`` in bake order; what belongs to a bake is keyed by the run's number."""

    trial: Trial
    factors: tuple[Factor, ...]
    responses: tuple[Response, ...]
    runs: tuple[Run, ...]
    formula: Formula | None
    formula_lines: tuple[FormulaLine, ...]
    bakes: dict[int, Bake]  # by run
    pieces: dict[int, int]  # piece -> number on its bake
    outcomes: dict[int, Outcome]  # by run
    readings: dict[int, list[Reading]]  # by run
    weighings: dict[int, list[Weighing]]  # by run
    notes: dict[int, list[TasteNote]]  # by run
    photos: dict[int, list[Photo]]  # by run; without their bytes

    def settings(self, run: Run) -> dict[str, Any]:
        """Factor -> value as planned."""
        return dict(json.loads(run.settings))


def design_as_it_stands(session: Session, trial: Trial) -> dict[str, Any]:
    """What all planned runs can tell: of the last extension, else of the plan."""
    wanted = select(Extension.design).where(Extension.trial_id == trial.id).order_by(col(Extension.number).desc())
    return dict(json.loads(session.exec(wanted).first() or trial.design))


def find_trial(session: Session, name: str) -> Trial:
    """The trial of that name; raises NotFound with the nearest name."""
    trial = session.exec(select(Trial).where(Trial.name == name)).first()
    if trial is None:
        raise NotFound(f'There is no trial "{name}".', where="kitchen", try_this=nearest_name(session, name, Trial))
    return trial


def nearest_name(session: Session, name: str, table: Any) -> str:
    known = list(session.exec(select(table.name)))
    near = get_close_matches(name, known, n=1, cutoff=0.0)
    return f'"{near[0]}"' if near else "crumbwise trial list"


def current_trial(session: Session, name: str) -> CurrentTrial:
    """Read what stands of a trial in a fixed number of queries."""
    trial = find_trial(session, name)
    runs = _of(session, Run, Run.trial_id == trial.id, Run.bake_order)
    bakes = rows_of(session, Bake, Bake.run_id, [run.id for run in runs])
    run_of = {bake.id: bake.run_id for bake in bakes}
    of_bakes = list(run_of)
    pieces = rows_of(session, Piece, Piece.bake_id, of_bakes)
    outcomes = standing(rows_of(session, Outcome, Outcome.bake_id, of_bakes))
    return CurrentTrial(
        trial=trial,
        factors=tuple(_of(session, Factor, Factor.trial_id == trial.id, Factor.position)),
        responses=tuple(_of(session, Response, Response.trial_id == trial.id, Response.position)),
        runs=tuple(runs),
        formula=session.get(Formula, trial.formula_id) if trial.formula_id else None,
        formula_lines=tuple(
            _of(session, FormulaLine, FormulaLine.formula_id == trial.formula_id, FormulaLine.position)
        ),
        bakes={bake.run_id: bake for bake in bakes if bake.run_id is not None},
        pieces={piece.id: piece.number for piece in pieces if piece.id is not None},
        outcomes={run_of[row.bake_id] or 0: row for row in outcomes},
        readings=_grouped(standing(rows_of(session, Reading, Reading.bake_id, of_bakes)), run_of),
        weighings=_grouped(standing(rows_of(session, Weighing, Weighing.bake_id, of_bakes)), run_of),
        notes=_grouped(standing(rows_of(session, TasteNote, TasteNote.bake_id, of_bakes)), run_of),
        photos=_grouped(standing(rows_of(session, Photo, Photo.bake_id, of_bakes)), run_of),
    )


def _of(session: Session, table: type[Row], where: Any, order: Any) -> list[Row]:
    return list(session.exec(select(table).where(where).order_by(col(order))))


def rows_of(session: Session, table: type[Row], column: Any, numbers: list[Any]) -> list[Row]:
    """Rows whose ``column`` is one of ``numbers``, in order of entry; a few hundred at a time."""
    return _by_parts(lambda part: session.exec(select(table).where(col(column).in_(part))), numbers)


def plain_rows_of(session: Session, table: type[SQLModel], column: Any, numbers: list[Any]) -> list[Any]:
    """The same rows with their columns only, to be read: a fifth of the time of objects that could be changed."""
    wanted = select(table.__table__)  # type: ignore[attr-defined]
    return _by_parts(lambda part: session.connection().execute(wanted.where(col(column).in_(part))), numbers)


def _by_parts(ask: Callable[[list[Any]], Iterable[Any]], numbers: list[Any]) -> list[Any]:
    rows = [row for start in range(0, len(numbers), 500) for row in ask(numbers[start : start + 500])]
    return sorted(rows, key=lambda row: row.id)


def standing(rows: Iterable[Row]) -> list[Row]:
    kept = list(rows)
    replaced = {row.replaces_id for row in kept}  # type: ignore[attr-defined]
    return [row for row in kept if row.id not in replaced and not getattr(row, "void", False)]  # type: ignore[attr-defined]


def _grouped(rows: Iterable[Row], run_of: dict[int | None, int | None]) -> dict[int, list[Row]]:
    grouped: dict[int, list[Row]] = {}
    for row in rows:
        grouped.setdefault(run_of[row.bake_id] or 0, []).append(row)  # type: ignore[attr-defined]
    return grouped
