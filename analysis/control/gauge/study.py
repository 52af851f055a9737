"""Is this a gauge study, and how was it laid out?

Rows with a gap are left out and named. People share pieces (crossed) or have their own because
pieces are cut (nested); where nothing was said, pieces that only ever met one person are their own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.checks import numbers, require_columns, row_names
from analysis.control.gauge.results import GaugeQuestion
from analysis.errors import NotPossible, TrialDataError
from analysis.mixed.terms import FloatArray, IntArray
from analysis.results import LeftOut

WHERE = "gauge study"


@dataclass(frozen=True, eq=False)
class Coded:
    """Codes (n,) of person, piece and cell (person and piece), each from 0 on.

    ``people`` and ``pieces`` name the codes; a nested piece is named with its person.
    """

    person: IntArray
    piece: IntArray
    cell: IntArray
    people: tuple[str, ...]
    pieces: tuple[str, ...]
    nested: bool


@dataclass(frozen=True, eq=False)
class Study:
    """Readings ``y`` (n,) of whom and of what; ``rows`` (n) are the rows as the file names them."""

    y: FloatArray
    coded: Coded
    rows: tuple[int | str, ...]
    left_out: tuple[LeftOut, ...]

    @property
    def person(self) -> IntArray:
        return self.coded.person

    @property
    def piece(self) -> IntArray:
        return self.coded.piece

    @property
    def cell(self) -> IntArray:
        return self.coded.cell

    @property
    def people(self) -> tuple[str, ...]:
        return self.coded.people

    @property
    def pieces(self) -> tuple[str, ...]:
        return self.coded.pieces

    @property
    def nested(self) -> bool:
        return self.coded.nested

    @property
    def cells(self) -> int:
        return int(self.cell.max()) + 1

    @property
    def counts(self) -> IntArray:
        """(cells,) readings of each."""
        return np.bincount(self.cell)

    @property
    def within_df(self) -> int:
        """Degrees of freedom of repeat readings of one person on one piece."""
        return len(self.y) - self.cells

    @property
    def even(self) -> bool:
        """Every person read as many pieces as often as every other."""
        each = np.bincount(self.person[np.unique(self.cell, return_index=True)[1]], minlength=len(self.people))
        whole = self.nested or self.cells == len(self.people) * len(self.pieces)
        return bool(whole and np.ptp(self.counts) == 0 and np.ptp(each) == 0)


def read_study(frame: pd.DataFrame, question: GaugeQuestion) -> Study:
    """Raises TrialDataError for what is wrong in the table, NotPossible for what it cannot tell."""
    named = [question.response, question.piece, *([question.person] if question.person else [])]
    require_columns(frame, named, where=WHERE)
    if len(set(named)) < len(named):
        raise TrialDataError(
            "One column cannot be two things.", where=WHERE, try_this="Name a column each for response, person, piece."
        )
    _check_limits(question)
    values = numbers(frame, question.response, where=WHERE)
    person = _names(frame, question.person) if question.person else [""] * len(frame)
    piece = _names(frame, question.piece)
    rows, y = row_names(frame), values.to_numpy(dtype=np.float64)
    known = y.tolist()
    left_out, kept = [], []
    for i, row in enumerate(rows):
        gap = _gap(question, known[i], person[i], piece[i])
        if gap:
            left_out.append(LeftOut(row=row, why=gap))
        else:
            kept.append(i)
    if not kept:
        raise TrialDataError(
            "No row has a reading.", where=WHERE, try_this="Fill in the readings, or name the column that holds them."
        )
    coded = _coded([str(person[i]) for i in kept], [str(piece[i]) for i in kept], question.nested)
    study = Study(y=y[kept], coded=coded, rows=tuple(rows[i] for i in kept), left_out=tuple(left_out))
    _refuse(study)
    return study


def _names(frame: pd.DataFrame, column: str) -> list[str | None]:
    """Names as text, None where nothing stands; 3 and 3.0 are one name."""

    def said(value: object) -> str | None:
        if value is None or value is pd.NA or (isinstance(value, float) and np.isnan(value)):
            return None
        if isinstance(value, float) and value.is_integer():
            value = int(value)
        return str(value).strip() or None

    return [said(value) for value in frame[column].tolist()]


def _gap(question: GaugeQuestion, value: float, person: str | None, piece: str | None) -> str:
    if math.isnan(value):
        return "no reading"
    if person is None:
        return "no person named"
    return "no piece named" if piece is None else ""


def _coded(person: list[str], piece: list[str], nested: bool | None) -> Coded:
    people = list(dict.fromkeys(person))
    met: dict[str, set[str]] = {}
    for who, what in zip(person, piece, strict=True):
        met.setdefault(what, set()).add(who)
    alone = len(people) > 1 and all(len(each) == 1 for each in met.values())
    nested = alone if nested is None else nested and len(people) > 1
    own = [f"{what} of {who}" if nested and not alone else what for who, what in zip(person, piece, strict=True)]
    pieces = list(dict.fromkeys(own))
    cells = [f"{who}\0{what}" for who, what in zip(person, own, strict=True)]
    return Coded(
        person=_codes(people, person), piece=_codes(pieces, own), cell=_codes(list(dict.fromkeys(cells)), cells),
        people=tuple(people), pieces=tuple(pieces), nested=nested,
    )  # fmt: skip


def _codes(names: list[str], values: list[str]) -> IntArray:
    place = {name: i for i, name in enumerate(names)}
    return np.array([place[value] for value in values], dtype=np.int64)


def _check_limits(question: GaugeQuestion) -> None:
    asked = question.specification
    if asked and asked.lower is not None and asked.upper is not None and asked.lower >= asked.upper:
        raise TrialDataError(
            f"The lower limit {asked.lower:g} is not below the upper limit {asked.upper:g}.",
            where=WHERE,
            try_this="Give the smaller number as the lower limit.",
        )
    if question.tolerance is not None and not question.tolerance > 0:
        raise TrialDataError(
            f"A tolerance of {question.tolerance:g} leaves no room.",
            where=WHERE,
            try_this="Give the width from the lower to the upper limit, above 0.",
        )


def _refuse(study: Study) -> None:
    if len(study.pieces) < 2:
        raise NotPossible(
            f"Only one piece was measured ({study.pieces[0]}), so it is not known how much pieces differ.",
            where=WHERE,
            try_this="Let the same people read at least 5 pieces that differ as your bakes do, each twice or more.",
        )
    if study.nested and len(study.pieces) == len(study.people):
        raise NotPossible(
            "Each person had a single piece, so people cannot be told from their pieces.",
            where=WHERE,
            try_this="Give each person at least 5 pieces, or let all people read the same ones.",
        )
    if np.ptp(study.y) <= 1e-12 * np.abs(study.y).max():
        raise NotPossible(
            f"All {len(study.y)} readings are the same.",
            where=WHERE,
            try_this="Read on a finer scale, or take pieces that differ; check that the column was not copied.",
        )
    if study.within_df == 0 and (study.nested or len(study.people) == 1):
        raise NotPossible(
            "No piece was read twice by the same person, so pieces cannot be told from the scatter of readings.",
            where=WHERE,
            try_this="Let each person read every piece at least twice, without looking at the first reading.",
        )
    if study.within_df == 0 and len(study.y) - len(study.people) - len(study.pieces) + 1 < 1:
        raise NotPossible(
            f"{len(study.y)} readings of {len(study.pieces)} pieces by {len(study.people)} people leave nothing to "
            "judge the scatter by.",
            where=WHERE,
            try_this="Let each person read every piece at least twice.",
        )
    if study.within_df and _all_repeats_agree(study):
        raise NotPossible(
            "Repeat readings agree to the last digit everywhere, so their scatter is not known.",
            where=WHERE,
            try_this="Read on a finer scale, and check that second readings were not copied from the first.",
        )


def _all_repeats_agree(study: Study) -> bool:
    means = np.bincount(study.cell, study.y) / study.counts
    return bool(np.abs(study.y - means[study.cell]).max() <= 1e-12 * np.abs(study.y).max())
