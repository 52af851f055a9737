"""What do the cells of a spreadsheet hold? Numbers, levels and scores, one row of a table for each row of the file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from tracker.errors import UsageError
from tracker.intake.columns import guess_kind, numbers_of, texts_of
from tracker.intake.scales import read_scale, scores_of
from tracker.intake.spreadsheet import Sheet
from tracker.workflow.sheet_columns import SheetColumns

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, kw_only=True)
class Scales:
    """Column → its scale, and the words of its scores from lowest to highest, as told."""

    of: Mapping[str, str]
    words: Mapping[str, tuple[str, ...]]


def read_scales(columns: SheetColumns, texts: Sequence[str], responses: Sequence[str], *, scores: bool) -> Scales:
    """ "NAME:score", or plainly "score" when there is one response.

    Who asks for ``scores`` and names no scale means scores. Raises UsageError, or InputError for an unknown column.
    """
    scales, words = {}, {}
    for text in texts:
        said = read_scale(text)
        if not said.name and len(responses) != 1:
            raise UsageError(
                f'"{text}" names no response.', where="--scale", try_this=f'--scale "{responses[0]}:{text}"'
            )
        column = columns.column(said.name, "--scale") if said.name else responses[0]
        scales[column], words[column] = said.scale, said.words
    usual = "score" if scores else "measured"
    return Scales(of={column: scales.get(column, usual) for column in responses}, words=words)


@dataclass(kw_only=True)
class Cells:
    """The table with names without units; the words behind scores for each column, and remarks."""

    table: pd.DataFrame
    anchors: dict[str, tuple[str, ...]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


def read_cells(
    columns: SheetColumns,
    *,
    responses: Sequence[str],
    scales: Scales,
    kinds: Mapping[str, str],
    groups: Sequence[str],
    covariates: Sequence[str],
    weights: str | None,
    pieces: bool,
) -> Cells:
    """Numbers as floats, everything else as text; empty is missing.

    Covariates are numbers where every cell is one, else levels. ``pieces``: the weights count pieces, so that a
    column of yes and no may hold shares. Raises InputError naming each cell that cannot be read.
    """
    import pandas as pd

    sheet, names = columns.sheet, columns.names
    found = Cells(table=pd.DataFrame())
    data: dict[str, Any] = {}
    for column in dict.fromkeys(column for column in groups if column not in kinds):
        data[names[column]] = _levels(sheet, column)
    for column, kind in kinds.items():
        data[names[column]] = _levels(sheet, column) if kind == "category" else _numbers(sheet, column)
    for column in responses:
        data[names[column]] = pd.Series(_response(sheet, column, scales, pieces, found), dtype="float64")
    for column in covariates:
        numeric = guess_kind(sheet.column(column)) == "amount"
        data[names[column]] = _numbers(sheet, column) if numeric else _levels(sheet, column)
    if weights is not None:
        data[names[weights]] = _numbers(sheet, weights)
    found.table = pd.DataFrame(data)
    return found


def _levels(sheet: Sheet, column: str) -> pd.Series:
    import pandas as pd

    return pd.Series(texts_of(sheet, column), dtype=object)


def _numbers(sheet: Sheet, column: str) -> pd.Series:
    import pandas as pd

    return pd.Series(numbers_of(sheet, column), dtype="float64")


def _response(sheet: Sheet, column: str, scales: Scales, pieces: bool, found: Cells) -> list[float | None]:
    """A response as numbers; words of a score by their order, and how that was taken as a remark."""
    scale = scales.of[column]
    if scale == "score":
        numbers, words, remark = scores_of(sheet, column, scales.words.get(column, ()))
        found.anchors[column] = words
        found.notes += [remark] if remark else []
        return numbers
    amount = pieces and guess_kind(sheet.column(column)) == "amount"
    return numbers_of(sheet, column, yes_no=scale == "yes-no" and not amount)
