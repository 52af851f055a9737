"""Were centre points baked, and how do they enter the model?

A two-level design with centre points has every amount at an end of its range, or every
amount half way at once. The centre bakes then say two things and no more: how far bakes
of one treatment scatter, and whether the middle lies on the plane through the corners.
The second is one column, "curvature"; it enters like a block, so that a bend that all
amounts share does not swell the error by which their effects are judged.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from analysis.linear.coding import Variable
from analysis.linear.treatments import treatment_codes

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]

CURVATURE = "curvature"
FEWEST_AMOUNTS = 2  # with one amount a middle dose is a dose like any other


def centre_bakes(variables: Sequence[Variable]) -> Bools | None:
    """(n,) which bakes are centre points; None when the design is not two-level with centre points."""
    factors = [variable for variable in variables if not variable.block]
    amounts = [variable for variable in factors if variable.amount]
    if len(amounts) < FEWEST_AMOUNTS or any(len(v.levels) != (3 if v.amount else 2) for v in factors):
        return None
    sides = np.column_stack([variable.columns[:, 0] for variable in amounts])
    middle = np.abs(sides) < 1e-9
    centre = np.asarray(middle.all(axis=1))
    if not centre.any() or centre.all() or np.any(middle.any(axis=1) != centre):
        return None
    apart = np.unique(np.sign(sides) * np.sign(sides[np.argmin(centre)]), axis=1).shape[1]
    return centre if apart >= FEWEST_AMOUNTS else None  # amounts that move together are one amount


def with_curvature(variables: Sequence[Variable], order: int) -> list[Variable]:
    """``variables`` with the column of the bend among the blocks, where replicates leave an error beside it.

    Not where effects or interactions up to ``order`` need the centre points to be told at all.
    """
    centre = centre_bakes(variables)
    blocks = [variable for variable in variables if variable.block]
    factors = [variable for variable in variables if not variable.block]
    if centre is None:
        return list(variables)
    _, counts = treatment_codes(factors)
    if int((counts - 1).sum()) <= sum(block.width for block in blocks):
        return list(variables)
    told = _columns(factors, min(order, 2))
    if np.linalg.matrix_rank(told[~centre]) < np.linalg.matrix_rank(told):
        return list(variables)
    return [*blocks, _column(centre, {variable.name for variable in variables}), *factors]


def curvature_of(variables: Sequence[Variable]) -> int | None:
    """Position of the column of the bend, if there is one."""
    return next((i for i, v in enumerate(variables) if v.block and v.amount and not v.covariate), None)


def _columns(factors: Sequence[Variable], order: int) -> Floats:
    """The mean, single effects and, from order 2 on, their products."""
    single = [factor.columns for factor in factors]
    pairs = [one * other for one, other in combinations(single, 2)] if order > 1 else []
    return np.hstack([np.ones((len(single[0]), 1)), *single, *pairs])


def _column(centre: Bools, taken: set[str]) -> Variable:
    """0 at the corners, 1 at the centre: the coefficient is how far the centre lies off the corners' mean."""
    return Variable(
        name=CURVATURE if CURVATURE not in taken else f"{CURVATURE} (centre points)",
        block=True,
        amount=True,
        unit="",
        codes=centre.astype(np.int64),
        levels=("corners", "centre"),
        coded=np.array([[0.0], [1.0]]),
        values=np.array([0.0, 1.0]),
    )
