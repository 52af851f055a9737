"""Who did what to this trial, run or person's entries, and why?"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session, SQLModel, col, select

from tracker.current import find_trial, rows_of
from tracker.current_batches import find_batch, find_product
from tracker.errors import UsageError
from tracker.models import (
    AcceptanceRule,
    AlarmAnswer,
    AlarmEntry,
    AuditEntry,
    Bake,
    Batch,
    BatchChange,
    BatchFile,
    BatchLot,
    BatchLotChange,
    Disposition,
    Expectation,
    Factor,
    ImportFile,
    LoggedResponse,
    Outcome,
    PhaseEntry,
    PhaseLimits,
    Photo,
    PhotoErasure,
    Piece,
    Product,
    Reading,
    ReadingSize,
    Response,
    Run,
    Specification,
    TasteNote,
    Tasting,
    TastingAnswer,
    TastingConsent,
    TastingSample,
    TastingState,
    Trial,
    TrialState,
    Weighing,
)
from tracker.store import Store
from tracker.workflow.lookup import find_run, runs_of

# What is said of a row first, table by table; every other table is known by its name or number.
_TOLD = {
    "reading": ("response", "value", "repeat"),
    "outcome": ("state", "deviations"),
    "weighing": ("ingredient", "grams"),
    "taste_note": ("words", "tags"),
    "photo": ("words", "sha256"),
    "photo_erasure": ("photo_id",),
    "trial_state": ("state",),
    "tasting": ("allergens", "rest_s"),
    "tasting_state": ("state",),
    "tasting_sample": ("place", "code"),
    "tasting_consent": ("words",),
    "tasting_answer": ("tasted",),
    "run": ("code",),
    "batch": ("number", "baked_at"),
    "import_file": ("name", "sha256"),
    "specification": ("response", "version", "lower", "upper", "target"),
    "logged_response": ("name", "unit", "stands_for"),
    "expectation": ("response", "mean", "sd"),
    "lot": ("ingredient", "code"),
    "lot_dates": ("received_on", "opened_on"),
    "batch_change": ("detail", "value"),
    "batch_lot_change": ("ingredient",),
    "phase": ("response", "number", "kind"),
    "phase_limits": ("chart", "lower", "centre", "upper"),
    "alarm": ("number", "response", "rule", "side"),
    "alarm_answer": ("state", "cause", "action"),
    "acceptance_rule": ("response", "version", "rule"),
    "disposition": ("decision",),
}


@dataclass(frozen=True, kw_only=True)
class HistoryLine:
    """One audit entry; ``old`` is the row that this one replaces, None when it is new."""

    sequence: int
    at: str
    person: int | None
    action: str
    table: str
    row: int
    reason: str
    old: dict[str, Any] | None
    new: dict[str, Any] | None

    def words(self) -> str:
        who = f"person {self.person}" if self.person is not None else "the program"
        was = f" (was {_told(self.table, self.old)})" if self.old is not None and self.new is not None else ""
        now = _told(self.table, self.new) if self.new is not None else "erased"
        why = f' because "{self.reason}"' if self.reason else ""
        return f"{self.sequence}  {self.at}  {who}, {self.action}: {self.table} {self.row}, {now}{was}{why}"

    def to_json(self) -> dict[str, Any]:
        return {
            "sequence": self.sequence,
            "at": self.at,
            "person": self.person,
            "action": self.action,
            "table": self.table,
            "row": self.row,
            "reason": self.reason,
            "old": self.old,
            "new": self.new,
        }


def _told(table: str, row: dict[str, Any] | None) -> str:
    content = row or {}
    if content.get("void"):
        return "taken back"
    parts = [str(content[name]) for name in _TOLD.get(table, ("name",)) if content.get(name) not in (None, "", "[]")]
    return " ".join(parts) or "entered"


def history(
    store: Store,
    *,
    trial: str | None = None,
    run: str | None = None,
    product: str | None = None,
    batch: str | None = None,
    person: int | None = None,
    limit: int = 50,
) -> tuple[HistoryLine, ...]:
    """Audit entries, newest first: of a trial or product, of one run (code or #place) or batch, by a person, or all.

    Raises NotFound for an unknown trial, run, product or batch, UsageError for a run without its
    trial and for a trial and a product at once.
    """
    if run is not None and trial is None:
        raise UsageError("A run needs its trial.", where="--run", try_this="--trial NAME --run CODE")
    if batch is not None and product is None:
        raise UsageError("A batch needs its product.", where="--batch", try_this="--product NAME --batch NUMBER")
    if trial is not None and product is not None:
        raise UsageError("Entries belong to a trial or to a product.", where="history", try_this="one of the two")
    if limit < 1:
        raise UsageError("The limit counts from 1.", where="--limit", try_this="--limit 50")
    with store.read() as session:
        entries: Iterable[AuditEntry]
        if trial is None and product is None:
            newest = select(AuditEntry).order_by(col(AuditEntry.sequence).desc())
            if person is not None:
                newest = newest.where(AuditEntry.person_id == person)
            entries = session.exec(newest.limit(limit)).all()
        else:
            every = _of_trial(session, trial, run) if trial is not None else _of_product(session, product or "", batch)
            found = [e for e in every if person is None or e.person_id == person]
            entries = sorted(found, key=lambda entry: -entry.sequence)[:limit]
    return tuple(_line(entry) for entry in entries)


def _line(entry: AuditEntry) -> HistoryLine:
    return HistoryLine(
        sequence=entry.sequence,
        at=entry.at,
        person=entry.person_id,
        action=entry.action,
        table=entry.table_name,
        row=entry.row_id,
        reason=entry.reason,
        old=None if entry.old is None else json.loads(entry.old),
        new=None if entry.new is None else json.loads(entry.new),
    )


def _of_trial(session: Session, name: str, word: str | None) -> list[AuditEntry]:
    """Entries of everything that belongs to a trial, or to one of its runs; replaced rows too."""
    trial = find_trial(session, name)
    runs = runs_of(session, trial)
    if word is not None:
        runs = [find_run(runs, word, trial=name)]
    rows: dict[type[SQLModel], list[int | None]] = {Run: [run.id for run in runs]}
    if word is None:
        rows[Trial] = [trial.id]
        parts_of_trial: tuple[Any, ...] = (TrialState, Factor, Response, ImportFile)
        for table in parts_of_trial:
            rows[table] = [row.id for row in rows_of(session, table, table.trial_id, [trial.id])]
    bakes = rows[Bake] = [bake.id for bake in rows_of(session, Bake, Bake.run_id, rows[Run])]
    parts_of_bake: tuple[Any, ...] = (Piece, Outcome, Weighing, Reading, TasteNote, Photo)
    for part in parts_of_bake:
        rows[part] = [row.id for row in rows_of(session, part, part.bake_id, bakes)]
    rows[PhotoErasure] = [row.id for row in rows_of(session, PhotoErasure, PhotoErasure.photo_id, rows[Photo])]
    if word is None:
        rows |= _of_tastings(session, trial)
    return [entry for table, numbers in rows.items() for entry in _entries(session, table, numbers)]


def _of_tastings(session: Session, trial: Trial) -> dict[type[SQLModel], list[int | None]]:
    """What was set up, served, agreed and answered; the scores themselves are readings of the bakes."""
    tastings = [row.id for row in rows_of(session, Tasting, Tasting.trial_id, [trial.id])]
    rows: dict[type[SQLModel], list[int | None]] = {Tasting: tastings}
    parts: tuple[Any, ...] = (TastingState, TastingSample, TastingConsent)
    for part in parts:
        rows[part] = [row.id for row in rows_of(session, part, part.tasting_id, tastings)]
    answers = rows_of(session, TastingAnswer, TastingAnswer.sample_id, rows[TastingSample])
    return rows | {TastingAnswer: [row.id for row in answers]}


def _of_product(session: Session, name: str, number: str | None) -> list[AuditEntry]:
    """Entries of everything that belongs to a product, or to one of its batches; replaced rows too."""
    product = find_product(session, name)
    rows: dict[type[SQLModel], list[int | None]] = {}
    if number is None:
        rows[Product] = [product.id]
        parts: tuple[Any, ...] = (
            *(Specification, LoggedResponse, Expectation, ImportFile),
            *(PhaseEntry, AlarmEntry, AcceptanceRule),
        )
        for table in parts:
            rows[table] = [row.id for row in rows_of(session, table, table.product_id, [product.id])]
        rows[PhaseLimits] = [row.id for row in rows_of(session, PhaseLimits, PhaseLimits.phase_id, rows[PhaseEntry])]
        rows[Batch] = [row.id for row in rows_of(session, Batch, Batch.product_id, [product.id])]
    else:
        rows[Batch] = [find_batch(session, product, number).id]
        rows[AlarmEntry] = [row.id for row in rows_of(session, AlarmEntry, AlarmEntry.batch_id, rows[Batch])]
    rows[AlarmAnswer] = [row.id for row in rows_of(session, AlarmAnswer, AlarmAnswer.alarm_id, rows[AlarmEntry])]
    parts_of_batch: tuple[Any, ...] = (BatchLot, BatchChange, BatchLotChange, BatchFile, Disposition, Bake)
    for part in parts_of_batch:
        rows[part] = [row.id for row in rows_of(session, part, part.batch_id, rows[Batch])]
    parts_of_bake: tuple[Any, ...] = (Piece, Reading)
    for part in parts_of_bake:
        rows[part] = [row.id for row in rows_of(session, part, part.bake_id, rows[Bake])]
    rows[ReadingSize] = [row.id for row in rows_of(session, ReadingSize, ReadingSize.reading_id, rows[Reading])]
    return [entry for table, numbers in rows.items() for entry in _entries(session, table, numbers)]


def _entries(session: Session, table: type[SQLModel], numbers: list[int | None]) -> list[AuditEntry]:
    found: list[AuditEntry] = []
    for start in range(0, len(numbers), 500):
        part = numbers[start : start + 500]
        wanted = select(AuditEntry).where(AuditEntry.table_name == table.__tablename__)
        found += session.exec(wanted.where(col(AuditEntry.row_id).in_(part)))
    return found
