"""Is this bake frame fit for a factorial model?

Everything behind the door trusts the frame: columns are there, numbers are finite,
at least one factor was baked at two levels.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.checks import require_columns
from analysis.errors import NotPossible, TrialDataError
from analysis.questions import Factor, Question, Response
from analysis.rows import group_columns

Floats = NDArray[np.float64]

FEWEST_BAKES = 3
LARGEST, SMALLEST = 1e100, 1e-100  # squares of numbers outside run out of a double's range


def check_frame(bakes: pd.DataFrame, response: Response, question: Question) -> None:
    """Raise TrialDataError or NotPossible with a way out, or return in silence."""
    factors = [factor.name for factor in question.factors]
    groups = [*question.blocks, *group_columns(question)]
    wanted = [response.name, *factors, *groups]
    require_columns(bakes, wanted, where=response.name)
    if len(bakes) < FEWEST_BAKES:
        raise NotPossible(
            f"{len(bakes)} {'bake' if len(bakes) == 1 else 'bakes'} cannot tell an effect from chance.",
            where=response.name,
            try_this=f"bake at least {FEWEST_BAKES}, better each treatment twice.",
        )
    if not factors and not group_columns(question):
        raise NotPossible("No factor was named.", where=response.name, try_this="name what was changed on purpose.")
    _numbers(bakes[response.name], response.name)
    for factor in question.factors:
        if factor.kind != "category":
            _numbers(bakes[factor.name], factor.name)
        elif bakes[factor.name].isna().any():
            raise _gap(factor.name)
    for name in groups:
        if bakes[name].isna().any():
            raise _gap(name)


def _numbers(column: pd.Series, name: str) -> None:
    try:
        values = column.to_numpy(dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise TrialDataError(
            f"Column {name!r} holds text where numbers are needed.",
            where=name,
            try_this="correct the entries, or call the factor a category.",
        ) from error
    if not np.isfinite(values).all():
        raise _gap(name)
    size = float(np.abs(values).max())
    width = float(np.ptp(values)) if size < LARGEST else 0.0
    if size >= LARGEST or 0 < width <= SMALLEST:
        raise NotPossible(
            f"Column {name!r} holds numbers of an impossible size.",
            where=name,
            try_this="give them in another unit.",
        )


def _gap(name: str) -> TrialDataError:
    return TrialDataError(
        f"Column {name!r} has a gap or an infinite number.",
        where=name,
        try_this="leave out the bakes without a value, with the reason.",
    )


def varied(bakes: pd.DataFrame, factors: Sequence[Factor]) -> tuple[list[Factor], list[Factor]]:
    """(factors that took two levels or more, factors that stood still)."""
    moving = [factor for factor in factors if bakes[factor.name].nunique() > 1]
    still = [factor for factor in factors if factor not in moving]
    if not moving:
        raise NotPossible(
            f"Every bake has the same {' and '.join(factor.name for factor in factors)}.",
            where="factors",
            try_this="bake at least two levels of something.",
        )
    return moving, still
