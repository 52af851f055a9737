"""What is one bake?

Readings become one row per bake, because the bake was mixed and baked afresh and
the reading was not: slices of one loaf say how even the loaf is, never how well
the trial can be repeated. See DEVELOPERS.md for the bake frame.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from analysis.checks import did_you_mean, numbers, require_columns, row_names
from analysis.errors import NotPossible, TrialDataError
from analysis.questions import Factor, Question, Response
from analysis.results import Check, LeftOut

OWN_COLUMNS = ("bake", "order", "readings")  # what the bake frame adds to the user's columns
_ORDER, _PIECE = "bake_order", "piece"  # columns read when the table happens to have them


@dataclass(frozen=True, kw_only=True)
class BakeTable:
    """The bake frame of one response with an account of every row of its table.

    ``n_rows`` rows came in, ``n_readings`` of them were used; ``left_out`` lists the rest.
    ``notes`` are the checks that forming the bakes gave rise to.
    """

    bakes: pd.DataFrame
    n_rows: int
    n_readings: int
    left_out: tuple[LeftOut, ...]
    notes: tuple[Check, ...]

    @property
    def n_bakes(self) -> int:
        """Bakes, not their readings by several assessors."""
        return int(self.bakes["bake"].nunique())


def bake_table(table: pd.DataFrame, response: Response, question: Question) -> BakeTable:
    """One row per bake from one row per reading.

    Readings of one bake (``question.bake``) are averaged, piece means first where there is a
    column "piece". Groups that vary within bakes (assessors who scored the same one) keep a row for
    each bake and group; the bake's name then stands in several rows. Without ``question.bake`` each
    row is a bake. Rows without a response, a setting or a block are left out and listed. Raises
    TrialDataError (unknown column, text in a number, infinity, settings that differ within a bake) and
    NotPossible (nothing left).
    """
    where = f"table of {response.name}"
    require_columns(table, _asked_for(response, question), where=where)
    _refuse_own_names(response, question, where)
    about, values = _about(table, question, response), _values(table, response, question, where)
    gaps = _gaps(about, values)
    left_out = tuple(
        LeftOut(row=row, why=why, response=response.name)
        for row, why in zip(row_names(table), gaps, strict=True)
        if why
    )
    used = [not why for why in gaps]
    if not any(used):
        raise NotPossible(
            f"No row has {response.name} together with all its settings.",
            where=where,
            try_this=f"Record {response.name} for the bakes of this trial, or leave this response out.",
        )
    about, values = about[used], values[used]
    numeric = [name for name in _measured(question) if values[name].dtype.kind == "f"]
    _refuse_no_weight(about, values, question, where)
    apart = _within_bakes(about, values, question)
    _settings_agree(about, values.drop(columns=[response.name, *numeric, *apart]), where)
    about["unit"] = _units(about, values, apart)
    bakes = _ordered(_average(about, values, response.name, numeric, question.weights), question)
    return BakeTable(
        bakes=bakes,
        n_rows=len(table),
        n_readings=len(values),
        left_out=left_out,
        notes=_unit_notes(table, bakes, response, question),
    )


def level_text(value: object) -> str:
    """A level as it is written: 1.0 from a spreadsheet is "1", blanks around a name go."""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def _asked_for(response: Response, question: Question) -> list[str]:
    settings = [factor.name for factor in question.factors]
    bake = [question.bake] if question.bake else []
    groups = [*question.blocks, *group_columns(question)]
    return list(dict.fromkeys([*settings, *groups, *_measured(question), *bake, response.name]))


def group_columns(question: Question) -> tuple[str, ...]:
    """Every column that says which rows share an error."""
    chains = (question.group, *question.crossed, question.strips, tuple(group for _, group in question.slopes))
    return tuple(dict.fromkeys(name for chain in chains for name in chain))


def without_readings(bakes: pd.DataFrame, response: Response, question: Question) -> tuple[pd.DataFrame, Question]:
    """One row for each bake, and the question without the groups that vary within bakes: for a family that
    takes the bake as the smallest unit."""
    if not bakes["bake"].duplicated().any():
        return bakes, question
    of_bake = bakes["bake"].to_numpy()
    held = bakes.groupby(of_bake, sort=False)
    whole = held.first()
    whole[response.name] = held[response.name].mean()
    whole["readings"] = held["readings"].sum()
    apart = {name for name in group_columns(question) if (held[name].nunique() > 1).any()}
    chains = [tuple(n for n in chain if n not in apart) for chain in (question.group, *question.crossed)]
    kept = [chain for chain in chains if chain]
    return whole.reset_index(drop=True), replace(question, group=kept[0] if kept else (), crossed=tuple(kept[1:]))


def _measured(question: Question) -> tuple[str, ...]:
    """Columns that were measured beside the response: covariates and weights."""
    return (*question.covariates, *((question.weights,) if question.weights else ()))


def _refuse_own_names(response: Response, question: Question, where: str) -> None:
    groups = (*question.blocks, *group_columns(question), *_measured(question))
    names = [response.name, *(factor.name for factor in question.factors), *groups]
    taken = [name for name in names if name in OWN_COLUMNS and name != question.bake]
    if taken:
        raise TrialDataError(
            f'"{taken[0]}" cannot name a factor, block or response: the bakes themselves are counted under it.',
            where=where,
            try_this=f'Rename the column, for example to "{taken[0]} of the day".',
        )


def _values(table: pd.DataFrame, response: Response, question: Question, where: str) -> pd.DataFrame:
    """Settings and response of each row: amounts as floats, categories as text, gaps as NaN or None."""
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
    columns[response.name] = numbers(table, response.name, where=where, yes_no=response.scale == "yes-no")
    return pd.DataFrame(columns).reset_index(drop=True)


def _covariate(table: pd.DataFrame, name: str, where: str) -> pd.Series:
    """Numbers where every filled cell is one, else texts, which are levels."""
    if table[name].dtype.kind in "iufb" and table[name].dtype.kind != "b":
        return numbers(table, name, where=where)
    return _texts(table[name])


def _refuse_no_weight(about: pd.DataFrame, values: pd.DataFrame, question: Question, where: str) -> None:
    if question.weights is None:
        return
    low = values.index[values[question.weights].to_numpy() <= 0]
    if len(low):
        worst = values[question.weights].loc[low[0]]
        raise TrialDataError(
            f'Bake "{about["bake"].loc[low[0]]}" has the weight {worst:g}; a weight is above 0.',
            where=where,
            try_this="Give how many pieces each value stands for, or leave the row out.",
        )


def _about(table: pd.DataFrame, question: Question, response: Response) -> pd.DataFrame:
    """Of each row: which bake, which piece of it, and when it was baked."""
    rows = pd.Series(row_names(table), dtype=object, index=table.index)
    has_pieces = _PIECE in table and _PIECE not in _asked_for(response, question)
    return pd.DataFrame(
        {
            "bake": _texts(table[question.bake]) if question.bake else rows.map(level_text),
            "piece": _texts(table[_PIECE]).fillna("") if has_pieces else "",
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
    if _ORDER in table and _ORDER not in {factor.name for factor in question.factors}:
        recorded = pd.to_numeric(table[_ORDER], errors="coerce")
        if recorded.notna().all():
            return recorded.astype(int).tolist()
    return list(range(1, len(table) + 1))


def _gaps(about: pd.DataFrame, values: pd.DataFrame) -> list[str]:
    """For each row why it cannot be used, or ''."""
    empty = values.isna().assign(**{"name of the bake": about["bake"].isna()})
    names = list(empty.columns)
    return [
        " and ".join(name for name, is_empty in zip(names, row, strict=True) if is_empty) + " empty" if any(row) else ""
        for row in empty.to_numpy()
    ]


def _settings_agree(about: pd.DataFrame, settings: pd.DataFrame, where: str) -> None:
    """All readings of a bake carry the same settings, or one of them is wrong."""
    names = about["bake"].to_numpy()
    codes = pd.factorize(names)[0]
    first = np.unique(codes, return_index=True)[1][codes]
    if (first == np.arange(len(first))).all():
        return  # every bake was read once
    for column in settings.columns:
        cells = settings[column].to_numpy()
        torn = names[cells != cells[first]]
        if len(torn):
            held = ", ".join(level_text(value) for value in settings.loc[names == torn[0], column].unique())
            raise TrialDataError(
                f'Bake "{torn[0]}" has more than one value of "{column}": {held}.',
                where=where,
                try_this="Correct the setting, or give the bakes different names if they were mixed separately.",
            )


def _within_bakes(about: pd.DataFrame, values: pd.DataFrame, question: Question) -> list[str]:
    """Group columns that change within most of the bakes that were read more than once.

    Where only few bakes hold two values, one of them is a slip, and is told as such.
    """
    if not question.bake:
        return []
    held = values.groupby(about["bake"].to_numpy(), sort=False)
    several = held.size() > 1
    names = [name for name in group_columns(question) if name not in question.strips]
    return [name for name in names if several.any() and (held[name].nunique()[several] > 1).mean() > 0.5]


def _units(about: pd.DataFrame, values: pd.DataFrame, apart: list[str]) -> pd.Series:
    """What becomes one row: the bake, or the bake and what varied within it."""
    columns = [about["bake"], *(values[name] for name in apart)]
    units = [" / ".join(map(str, row)) for row in zip(*columns, strict=True)] if apart else about["bake"].tolist()
    return pd.Series(units, index=about.index, dtype=object)


def _average(
    about: pd.DataFrame, values: pd.DataFrame, response: str, numeric: list[str], weights: str | None
) -> pd.DataFrame:
    """One row per bake, in order of appearance; the response is the mean of its piece means.

    Covariates that are numbers (``numeric``) are averaged too. With ``weights`` the readings of a bake
    count by theirs, and the bake weighs what they weigh together.
    """
    if about["unit"].is_unique:
        bakes = values.reset_index(drop=True)
        bakes["bake"] = about["bake"].astype(str).to_numpy()
        bakes["order"] = about["order"].to_numpy()
        bakes["readings"] = 1
        return bakes
    keys = [about["unit"].to_numpy(), about["piece"].to_numpy()]
    pieces = values[response].groupby(keys, sort=False).mean()
    means = pieces.groupby(level=0, sort=False).mean()
    of_bake = about["unit"].to_numpy()
    bakes = values.groupby(of_bake, sort=False).first()
    bakes[response] = means if weights is None else _weighed(values, response, weights, of_bake)
    for name in numeric:
        held = values[name].groupby(of_bake, sort=False)
        bakes[name] = held.sum() if name == weights else held.mean()
    bakes["bake"] = about.groupby(of_bake, sort=False)["bake"].first().astype(str)
    bakes["order"] = about.groupby(of_bake, sort=False)["order"].first()
    bakes["readings"] = values.groupby(of_bake, sort=False).size()
    return bakes.reset_index(drop=True)


def _weighed(values: pd.DataFrame, response: str, weights: str, of_bake: Any) -> pd.Series:
    """Weighted mean of the readings of each bake; of a single one, that reading to its last digit."""
    light = values[weights] / values[weights].groupby(of_bake, sort=False).transform("sum")
    return (values[response] * light).groupby(of_bake, sort=False).sum()


def _ordered(bakes: pd.DataFrame, question: Question) -> pd.DataFrame:
    """Categories, blocks and groups as ordered categoricals of the levels that occur."""
    stored = {factor.name: factor.levels for factor in question.factors if factor.kind != "amount"}
    texts = [name for name in question.covariates if bakes[name].dtype.kind != "f"]
    for name in dict.fromkeys((*stored, *question.blocks, *group_columns(question), *texts)):
        occurring = list(dict.fromkeys(bakes[name]))
        levels = [level for level in stored.get(name, ()) if level in occurring] or occurring
        bakes[name] = pd.Categorical(bakes[name], categories=levels, ordered=True)
    return bakes


def _unit_notes(table: pd.DataFrame, bakes: pd.DataFrame, response: Response, question: Question) -> tuple[Check, ...]:
    """Was the right thing counted as one bake?"""
    most = int(bakes["readings"].max())
    count = int(bakes["bake"].nunique())
    facts: dict[str, Any] = {"bakes": count, "readings": int(bakes["readings"].sum()), "most": most}
    if count < len(bakes):
        held = bakes.groupby("bake", observed=True)
        facts["apart"] = tuple(name for name in group_columns(question) if (held[name].nunique() > 1).any())
        return (Check(check="experimental unit", verdict="fine", facts=facts),)
    if question.bake:
        averaged = [Check(check="experimental unit", verdict="fine", facts=facts)] if most > 1 else []
        return tuple(averaged)
    asked = _asked_for(response, question)
    hints = [name for name in (_PIECE, "bake", "reading") if name in table.columns and name not in asked]
    if hints:
        return (Check(check="experimental unit", verdict="look here", facts={**facts, "column": hints[0]}),)
    return ()
