"""What belongs to a trial, wherever it goes?

The rows of every table that a trial stands on, in an order in which each comes after what it
refers to; corrections and what they replaced alike. Of people only their numbers.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from typing import Any

from sqlmodel import Session, SQLModel, col, select

from tracker.current import find_trial, rows_of
from tracker.models import (
    Bake,
    BakeMoment,
    Extension,
    Factor,
    Formula,
    FormulaLine,
    ImportFile,
    Ingredient,
    Instrument,
    Outcome,
    Photo,
    PhotoContent,
    PhotoErasure,
    Piece,
    Reading,
    Response,
    Run,
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
from tracker.workflow.ingredients import kept_before

# Parents first.
TABLES: tuple[type[SQLModel], ...] = (
    Ingredient,
    Instrument,
    Formula,
    FormulaLine,
    Trial,
    TrialState,
    Extension,
    Factor,
    Response,
    Run,
    Bake,
    Outcome,
    Weighing,
    BakeMoment,
    Piece,
    ImportFile,
    Reading,
    TasteNote,
    Photo,
    PhotoContent,
    PhotoErasure,
    Tasting,
    TastingState,
    TastingSample,
    TastingConsent,
    TastingAnswer,
)
# A bundle without them was made before there were photos or tastings, or of a trial that has none.
TASTED = ("tasting", "tasting_state", "tasting_sample", "tasting_consent", "tasting_answer")
MAY_BE_MISSING = frozenset(("photo", "photo_content", "photo_erasure", *TASTED))
BY_NAME: Mapping[str, type[SQLModel]] = {str(table.__tablename__): table for table in TABLES}
Rows = dict[str, list[SQLModel]]


def rows_of_trial(session: Session, name: str) -> Rows:
    """Table name -> its rows of that trial, in order of entry. Raises NotFound."""
    trial = find_trial(session, name)
    found: dict[str, list[Any]] = {name: [] for name in BY_NAME}

    def take(table: Any, column: Any, numbers: Sequence[Any]) -> list[Any]:
        found[table.__tablename__] = list(rows_of(session, table, column, list(numbers)))
        return [row.id for row in found[table.__tablename__]]

    take(Trial, Trial.id, [trial.id])
    for table in (TrialState, Extension, Factor, Response):
        take(table, table.trial_id, [trial.id])
    runs = take(Run, Run.trial_id, [trial.id])
    bakes = take(Bake, Bake.run_id, runs)
    for below in (Outcome, Weighing, BakeMoment, Piece, Reading, TasteNote, Photo):
        take(below, below.bake_id, bakes)
    for of_photo in (PhotoContent, PhotoErasure):
        take(of_photo, of_photo.photo_id, [row.id for row in found["photo"]])
    tastings = take(Tasting, Tasting.trial_id, [trial.id])
    for belongs in (TastingState, TastingSample, TastingConsent):
        take(belongs, belongs.tasting_id, tastings)
    take(TastingAnswer, TastingAnswer.sample_id, [row.id for row in found["tasting_sample"]])
    readings = found["reading"]
    take(ImportFile, ImportFile.trial_id, [trial.id])
    instruments = {row.instrument_id for row in readings if row.instrument_id is not None}
    take(Instrument, Instrument.id, sorted(instruments))
    if trial.formula_id is not None:
        take(Formula, Formula.id, [trial.formula_id])
        take(FormulaLine, FormulaLine.formula_id, [trial.formula_id])
    take(Ingredient, Ingredient.id, _ingredients(session, trial, found))
    return found


def _ingredients(session: Session, trial: Trial, found: dict[str, list[Any]]) -> list[int]:
    """What was kept of its ingredients before it was planned: that is what weighs its runs to the last."""
    named = {line.ingredient for table in ("formula_line", "weighing") for line in found[table]}
    told = " ".join([trial.plan, *(factor.settings + factor.levels for factor in found["factor"])])
    rows = session.exec(select(Ingredient).where(col(Ingredient.id).in_(kept_before(session, trial))))
    return [row.id or 0 for row in rows if row.name in named or row.name in told]


def as_plain(row: SQLModel) -> dict[str, Any]:
    """A row's columns as JSON knows them; the bytes of a file as base64."""
    values = row.model_dump()
    return {
        name: base64.b64encode(value).decode("ascii") if isinstance(value, bytes) else value
        for name, value in values.items()
    }
