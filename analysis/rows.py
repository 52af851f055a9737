"""Of each row of a table: which bake is it of, when was that baked, and with which settings?

What the responses of one table share is formed once, and handed to each of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from analysis.checks import did_you_mean, numbers, require_columns, row_names
from analysis.errors import TrialDataError
from analysis.questions import Factor, Question, Response

ORDER, PIECE = "bake_order", "piece"  # columns read when the table happens to have them


@dataclass(frozen=True, eq=False)
class Rows:
    """``about`` has columns bake, piece and order, ``settings`` one for each factor, group and covariate.

    Amounts are floats, categories text, gaps NaN or None; both frames have the rows of ``table``.
    """

    table: pd.DataFrame
    about: pd.DataFrame
    settings: pd.DataFrame
    question: Question

    @cached_property
    def one_each(self) -> pd.DataFrame | None:
        """The bake frame without a response, where each row is a bake of its own and no setting is missing."""
        whole = not self.settings.isna().to_numpy().any() and not self.about["bake"].isna().any()
        if not whole or self.question.weights is not None or not self.about["bake"].is_unique:
            return None
        return ordered(in_bakes(self.about, self.settings), self.question)

    @cached_property
    def repeated(self) -> pd.Series:
        """Which rows of the table are the same as another in every column."""
        return self.table.duplicated(keep=False)


def rows_of(table: pd.DataFrame, response: Response, question: Question) -> Rows:
    """The rows of a table. Raises TrialDataError (unknown column or level, text in a number, infinity)."""
    where = f"table of {response.name}"
    require_columns(table, asked_for(response, question), where=where)
    return Rows(table, _about(table, question, response), _settings(table, question, where), question)


def in_bakes(about: pd.DataFrame, values: pd.DataFrame) -> pd.DataFrame:
    """A bake frame of rows that are a bake each."""
    bakes = values.reset_index(drop=True)
    bakes["bake"] = about["bake"].astype(str).to_numpy()
    bakes["order"] = about["order"].to_numpy()
    bakes["readings"] = 1
    return bakes


def level_text(value: object) -> str:
    """A level as it is written: 1.0 from a spreadsheet is "1", blanks around a name go."""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def asked_for(response: Response, question: Question) -> list[str]:
    settings = [factor.name for factor in question.factors]
    bake = [question.bake] if question.bake else []
    groups = [*question.blocks, *group_columns(question)]
    return list(dict.fromkeys([*settings, *groups, *measured(question), *bake, response.name]))


def group_columns(question: Question) -> tuple[str, ...]:
    """Every column that says which rows share an error."""
    chains = (question.group, *question.crossed, question.strips, tuple(group for _, group in question.slopes))
    return tuple(dict.fromkeys(name for chain in chains for name in chain))


def measured(question: Question) -> tuple[str, ...]:
    """Columns that were measured beside the response: covariates and weights."""
    return (*question.covariates, *((question.weights,) if question.weights else ()))


def _settings(table: pd.DataFrame, question: Question, where: str) -> pd.DataFrame:
    """Settings of each row: amounts as floats, categories as text, gaps as NaN or None."""
    columns: dict[str, pd.Series] = {}
    for factor in question.factors:
        amount = factor.kind == "amount"
        columns[factor.name] = numbers(table, factor.name, where=where) if amount else _category(table, factor, where)
    for name in (*question.blocks, *group_columns(question)):
        columns.setdefault(name, _texts(table[name]))
    for name in question.covariates:
        columns.setdefault(name, _covariate(table, name, where))
    if question.weights:
        columns.setdefault(question.weights, numbers(table, question.weights, where=where))
    return pd.DataFrame(columns).reset_index(drop=True)


def _covariate(table: pd.DataFrame, name: str, where: str) -> pd.Series:
    """Numbers where every filled cell is one, else texts, which are levels."""
    if table[name].dtype.kind in "iufb" and table[name].dtype.kind != "b":
        return numbers(table, name, where=where)
    return _texts(table[name])


def _about(table: pd.DataFrame, question: Question, response: Response) -> pd.DataFrame:
    """Of each row: which bake, which piece of it, and when it was baked."""
    rows = pd.Series(row_names(table), dtype=object, index=table.index)
    has_pieces = PIECE in table and PIECE not in asked_for(response, question)
    return pd.DataFrame(
        {
            "bake": _texts(table[question.bake]) if question.bake else rows.map(level_text),
            "piece": _texts(table[PIECE]).fillna("") if has_pieces else "",
            "order": _orders(table, question),
        }
    ).reset_index(drop=True)


def _texts(column: pd.Series) -> pd.Series:
    """Levels as text; None where the cell is empty or blank."""
    texts = [None if pd.isna(value) or not level_text(value) else level_text(value) for value in column]
    return pd.Series(texts, index=column.index, dtype=object)


def _category(table: pd.DataFrame, factor: Factor, where: str) -> pd.Series:
    texts = _texts(table[factor.name])
    unknown = [text for text in texts.dropna().unique() if factor.levels and text not in factor.levels]
    if unknown:
        raise TrialDataError(
            f'"{factor.name}" has no level "{unknown[0]}".',
            where=where,
            try_this=did_you_mean(unknown[0], factor.levels),
        )
    return texts


def _orders(table: pd.DataFrame, question: Question) -> list[int]:
    """The recorded order of baking where every row has one, else the order of the rows."""
    if ORDER in table and ORDER not in {factor.name for factor in question.factors}:
        recorded = pd.to_numeric(table[ORDER], errors="coerce")
        if recorded.notna().all():
            return recorded.astype(int).tolist()
    return list(range(1, len(table) + 1))


def ordered(bakes: pd.DataFrame, question: Question) -> pd.DataFrame:
    """Categories, blocks and groups as ordered categoricals of the levels that occur."""
    stored = {factor.name: factor.levels for factor in question.factors if factor.kind != "amount"}
    texts = [name for name in question.covariates if bakes[name].dtype.kind != "f"]
    for name in dict.fromkeys((*stored, *question.blocks, *group_columns(question), *texts)):
        occurring = list(dict.fromkeys(bakes[name]))
        levels = [level for level in stored.get(name, ()) if level in occurring] or occurring
        bakes[name] = pd.Categorical(bakes[name], categories=levels, ordered=True)
    return bakes
