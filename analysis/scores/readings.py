"""Which readings does a model of scores rest on?

Scores are not averaged: every reading is a row. Readings of one bake share that bake, assessors and
days are shared likewise, and each becomes a random group. With ``weights`` a score counts so many
times; a yes-no response is then affected pieces (or their share) out of so many, a count is a count
over so many pieces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.bakes import bake_table, level_text
from analysis.checks import row_names
from analysis.errors import NotPossible, TrialDataError
from analysis.questions import Question, Response
from analysis.scores.shared import MOST_TOGETHER, Kin

Floats = NDArray[np.float64]
MOST_SCORES = 30  # different scores beyond which a number is a measurement
FEWEST = 4


@dataclass(frozen=True, eq=False, kw_only=True)
class Readings:
    """One row a reading (n): ``frame`` as of the bakes, ``response`` (n,) and ``weights`` (n,).

    ``kin`` are the random groups; ``left`` says of a group why it is none.
    """

    frame: pd.DataFrame
    response: Floats
    weights: Floats
    kin: tuple[Kin, ...]
    left: dict[str, str]
    bake: NDArray[np.object_]


def readings_of(table: pd.DataFrame, response: Response, question: Question) -> Readings:
    """Raises TrialDataError for values that are none of the scale, NotPossible for too few."""
    single = replace(question, bake=None)
    frame = bake_table(table, response, single).bakes.reset_index(drop=True)
    values = frame[response.name].to_numpy(np.float64)
    weights = np.ones(len(frame)) if question.weights is None else frame[question.weights].to_numpy(np.float64)
    _fit_for_weights(weights, question)
    if response.scale == "yes-no":
        values = _shares(values, weights, response, question)
    if (weights <= 0).any():
        kept = weights > 0
        frame, values, weights = frame[kept].reset_index(drop=True), values[kept], weights[kept]
    if len(frame) < FEWEST:
        raise NotPossible(
            f"{len(frame)} {'reading' if len(frame) == 1 else 'readings'} cannot tell an effect from chance.",
            where=response.name,
            try_this=f"Record at least {FEWEST} readings of {response.name}, better several of each treatment.",
        )
    bake = _bakes(table, frame, question)
    kin, left = _kin(frame, bake, question)
    return Readings(frame=frame, response=values, weights=weights, kin=kin, left=left, bake=bake)


def _fit_for_weights(weights: Floats, question: Question) -> None:
    if not np.isfinite(weights).all() or (weights < 0).any():
        raise TrialDataError(
            f'The column "{question.weights}" holds a negative weight.',
            where=str(question.weights),
            try_this="Write how often each row was seen, 0 or more.",
        )


def _shares(values: Floats, weights: Floats, response: Response, question: Question) -> Floats:
    """Yes as a share of the pieces. Any value above 1 tells that they are numbers of pieces."""
    if question.weights is not None and (values > 1).any():
        if (values > weights).any() or (values < 0).any():
            raise TrialDataError(
                f"{response.name} counts more pieces than {question.weights} has, or less than none.",
                where=response.name,
                try_this=f"Write how many of the {question.weights} pieces were affected.",
            )
        return np.divide(values, weights, out=np.zeros_like(values), where=weights > 0)
    odd = (values < 0) | (values > 1) if question.weights is not None else (values != 0) & (values != 1)
    if odd.any():
        raise TrialDataError(
            f"{response.name} is yes or no, but one value is {values[odd][0]:g}.",
            where=response.name,
            try_this="Write yes or no; or name the column with the number of pieces as weights.",
        )
    return values


def _bakes(table: pd.DataFrame, frame: pd.DataFrame, question: Question) -> NDArray[np.object_]:
    """The true bake of each row."""
    rows = frame["bake"].astype(str).tolist()
    if question.bake is None:
        return np.array(rows, dtype=object)
    named = dict(zip(map(level_text, row_names(table)), table[question.bake], strict=True))
    return np.array([level_text(named[row]) for row in rows], dtype=object)


def _kin(frame: pd.DataFrame, bake: NDArray[np.object_], question: Question) -> tuple[tuple[Kin, ...], dict[str, str]]:
    wanted: dict[str, list[str]] = {}
    for chain in (question.group, *question.crossed, *((name,) for name in question.strips)):
        for depth in range(len(chain)):
            names = chain[: depth + 1]
            joined = frame[list(names)].astype(str).agg("+".join, axis=1)
            wanted["+".join(names)] = joined.tolist()
    if question.bake is not None and len(set(bake)) < len(bake):
        wanted.setdefault(question.bake, list(bake))
    found: list[Kin] = []
    left: dict[str, str] = {}
    seen: dict[tuple[int, ...], str] = {}
    for name, labels in wanted.items():
        codes, levels = _codes(labels)
        key = tuple(codes.tolist())
        if levels < 2:
            left[name] = "there is only one"
        elif levels == len(labels):
            left[name] = "every reading has its own"
        elif key in seen:
            left[name] = f"it is the same as {seen[key]}"
        else:
            seen[key] = name
            found.append(Kin(name, codes, levels))
    if len(found) > 1 and sum(one.count for one in found) > MOST_TOGETHER:
        raise NotPossible(
            f"Groups that cross or nest can be {MOST_TOGETHER} in all; there are {sum(one.count for one in found)}.",
            where="groups",
            try_this="Name one group only, or ask for scores as numbers (kind factors).",
        )
    return tuple(found), left


def _codes(labels: Sequence[str]) -> tuple[NDArray[np.int64], int]:
    codes, levels = pd.factorize(np.array(labels, dtype=object))
    return codes.astype(np.int64), len(levels)
