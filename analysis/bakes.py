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

from analysis.checks import numbers, require_columns, row_names
from analysis.errors import NotPossible, TrialDataError
from analysis.questions import Question, Response
from analysis.results import Check, LeftOut
from analysis.rows import PIECE, Rows, asked_for, group_columns, in_bakes, level_text, measured, ordered, rows_of

OWN_COLUMNS = ("bake", "order", "readings")  # what the bake frame adds to the user's columns


@dataclass(frozen=True, kw_only=True)
class BakeTable:
    """The bake frame of one response with an account of every row of its table.

    ``n_bakes`` counts bakes, not their readings by several assessors. ``n_rows`` rows came in,
    ``n_readings`` of them were used; ``left_out`` lists the rest.
    ``notes`` are the checks that forming the bakes gave rise to; ``rows`` is what other responses share.
    """

    rows: Rows
    bakes: pd.DataFrame
    n_bakes: int
    n_rows: int
    n_readings: int
    left_out: tuple[LeftOut, ...]
    notes: tuple[Check, ...]


def bake_table(
    table: pd.DataFrame, response: Response, question: Question, *, shared: dict[int, Rows] | None = None
) -> BakeTable:
    """One row per bake from one row per reading.

    Readings of one bake (``question.bake``) are averaged, piece means first where there is a
    column "piece". Groups that vary within bakes (assessors who scored the same one) keep a row for
    each bake and group; the bake's name then stands in several rows. Without ``question.bake`` each
    row is a bake. Rows without a response, a setting or a block are left out and listed. Whoever asks
    about several responses hands the same ``shared`` to each, so that a table's settings are formed once. Raises
    TrialDataError (unknown column, text in a number, infinity, settings that differ within a bake) and
    NotPossible (nothing left).
    """
    where = f"table of {response.name}"
    require_columns(table, asked_for(response, question), where=where)
    _refuse_own_names(response, question, where)
    rows = _rows(table, response, question, shared)
    read = numbers(table, response.name, where=where, yes_no=response.scale == "yes-no").reset_index(drop=True)
    if rows.one_each is not None and not read.isna().any():
        left_out: tuple[LeftOut, ...] = ()
        bakes = rows.one_each.copy()
        bakes.insert(len(rows.settings.columns), response.name, read)
        n_bakes = len(bakes)
    else:
        about, values, left_out = _usable(rows, read, response)
        bakes = _averaged(about, values, response, question)
        n_bakes = int(bakes["bake"].nunique())
    return BakeTable(
        rows=rows,
        bakes=bakes,
        n_bakes=n_bakes,
        n_rows=len(table),
        n_readings=len(table) - len(left_out),
        left_out=left_out,
        notes=_unit_notes(table, bakes, n_bakes, response, question),
    )


def _rows(table: pd.DataFrame, response: Response, question: Question, shared: dict[int, Rows] | None) -> Rows:
    if shared is None or response.name == PIECE:  # which then says nothing of pieces
        return rows_of(table, response, question)
    if id(table) not in shared:
        shared[id(table)] = rows_of(table, response, question)
    return shared[id(table)]


def _usable(rows: Rows, read: pd.Series, response: Response) -> tuple[pd.DataFrame, pd.DataFrame, tuple[LeftOut, ...]]:
    """The rows that have the response and all their settings, and why the others have not."""
    values = rows.settings.assign(**{response.name: read})
    gaps = _gaps(rows.about, values)
    left_out = tuple(
        LeftOut(row=row, why=why, response=response.name)
        for row, why in zip(row_names(rows.table), gaps, strict=True)
        if why
    )
    used = [not why for why in gaps]
    if not any(used):
        raise NotPossible(
            f"No row has {response.name} together with all its settings.",
            where=f"table of {response.name}",
            try_this=f"Record {response.name} for the bakes of this trial, or leave this response out.",
        )
    return rows.about[used], values[used], left_out


def _averaged(about: pd.DataFrame, values: pd.DataFrame, response: Response, question: Question) -> pd.DataFrame:
    where = f"table of {response.name}"
    numeric = [name for name in measured(question) if values[name].dtype.kind == "f"]
    _refuse_no_weight(about, values, question, where)
    apart = _within_bakes(about, values, question)
    _settings_agree(about, values.drop(columns=[response.name, *numeric, *apart]), where)
    about = about.assign(unit=_units(about, values, apart))
    return ordered(_average(about, values, response.name, numeric, question.weights), question)


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


def _refuse_own_names(response: Response, question: Question, where: str) -> None:
    groups = (*question.blocks, *group_columns(question), *measured(question))
    names = [response.name, *(factor.name for factor in question.factors), *groups]
    taken = [name for name in names if name in OWN_COLUMNS and name != question.bake]
    if taken:
        raise TrialDataError(
            f'"{taken[0]}" cannot name a factor, block or response: the bakes themselves are counted under it.',
            where=where,
            try_this=f'Rename the column, for example to "{taken[0]} of the day".',
        )


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
        return in_bakes(about, values)
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


def _unit_notes(
    table: pd.DataFrame, bakes: pd.DataFrame, count: int, response: Response, question: Question
) -> tuple[Check, ...]:
    """Was the right thing counted as one bake?"""
    most = int(bakes["readings"].max())
    facts: dict[str, Any] = {"bakes": count, "readings": int(bakes["readings"].sum()), "most": most}
    if count < len(bakes):
        held = bakes.groupby("bake", observed=True)
        facts["apart"] = tuple(name for name in group_columns(question) if (held[name].nunique() > 1).any())
        return (Check(check="experimental unit", verdict="fine", facts=facts),)
    if question.bake:
        averaged = [Check(check="experimental unit", verdict="fine", facts=facts)] if most > 1 else []
        return tuple(averaged)
    asked = asked_for(response, question)
    hints = [name for name in (PIECE, "bake", "reading") if name in table.columns and name not in asked]
    if hints:
        return (Check(check="experimental unit", verdict="look here", facts={**facts, "column": hints[0]}),)
    return ()
