"""Can a mixed model be fitted to these numbers at all?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.errors import NotPossible, TrialDataError
from analysis.mixed.terms import FloatArray, RandomTerm

WHERE = "mixed model"
LARGEST = 1e75  # its fourth power is still a number


def check(y: FloatArray, x: FloatArray, terms: Sequence[RandomTerm], weights: FloatArray | None, method: str) -> None:
    """Raise TrialDataError for numbers that are none, NotPossible for what cannot be fitted."""
    n, p = x.shape
    arrays = [y, x, *(t.slope for t in terms if t.slope is not None), *([] if weights is None else [weights])]
    if any(not np.isfinite(each).all() for each in arrays):
        raise TrialDataError("A number is missing or without bound.", where=WHERE, try_this="Leave such rows out.")
    if any(each.size and np.abs(each).max() > LARGEST for each in arrays):
        raise TrialDataError(
            "A number is too large to square.", where=WHERE, try_this="Give the values in another unit."
        )
    if any(len(each) != n for each in arrays) or any(len(t.codes) != n for t in terms):
        raise TrialDataError("The columns are not of one length.", where=WHERE, try_this="Give one value for each row.")
    if any(t.codes.size and t.codes.min() < 0 for t in terms):
        raise TrialDataError("A row belongs to no group.", where=WHERE, try_this="Name the group of every row.")
    if weights is not None and (weights <= 0).any():
        raise TrialDataError("A weight is not above 0.", where=WHERE, try_this="Leave rows out that should not count.")
    if method not in ("reml", "ml"):
        raise NotPossible(f"There is no method {method!r}.", where=WHERE, try_this="Ask for reml or ml.")
    if n <= p:
        raise NotPossible(
            f"{n} rows cannot tell {p} coefficients and their scatter.",
            where=WHERE,
            try_this="Bake more, or leave terms out.",
        )


def no_scatter() -> NotPossible:
    return NotPossible(
        "The readings leave no scatter to judge by.",
        where=WHERE,
        try_this="Check whether the readings were copied or rounded; bake replicates.",
    )


def dependent_columns() -> NotPossible:
    return NotPossible(
        "A column of the fixed part follows from the others.",
        where=WHERE,
        try_this="Leave the column out that says the same twice.",
    )


def nothing_within() -> NotPossible:
    return NotPossible(
        "All the scatter lies between groups: the readings within a group agree.",
        where=WHERE,
        try_this="Check whether readings were copied within a group; else leave the grouping out.",
    )
