"""Which treatments were baked, and how often?"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from analysis.linear.coding import Term, Variable

Integers = NDArray[np.int64]

LARGEST_SATURATED = 128  # bakes; beyond this nobody judges all effects of an unreplicated design


def treatment_codes(variables: Sequence[Variable]) -> tuple[Integers, Integers]:
    """(n,) the treatment number of each bake, and (m,) how often each treatment was baked."""
    rows = np.column_stack([variable.codes for variable in variables])
    _, codes, counts = np.unique(rows, axis=0, return_inverse=True, return_counts=True)
    return codes.ravel().astype(np.int64), counts.astype(np.int64)


def all_two_level(variables: Sequence[Variable]) -> bool:
    return bool(variables) and all(len(variable.levels) == 2 for variable in variables)


def is_single_regular(variables: Sequence[Variable]) -> bool:
    """Is this a full two-level design or a regular fraction of one, each treatment baked once?

    Regular: written as 0 and 1, the treatments are a subgroup (or a shift of one), so that
    every two effects are either the same or at right angles.
    """
    if not all_two_level(variables) or len(variables) > 20:
        return False
    codes = sum((variable.codes << place for place, variable in enumerate(variables)), start=np.int64(0))
    treatments = np.asarray(codes)
    n = len(treatments)
    if n < 4 or n > LARGEST_SATURATED or len(np.unique(treatments)) < n:
        return False
    shifted = treatments ^ treatments[0]
    return len(np.unique(shifted[:, None] ^ shifted[None, :])) == n


def empty_cells(variables: Sequence[Variable], term: Term) -> tuple[str, ...]:
    """Combinations of levels that an interaction needs and nobody baked.

    Amounts with more than two levels are left to the rank: a straight line does not
    need all of them.
    """
    needed = [variables[i] for i in term.members if not variables[i].amount or len(variables[i].levels) == 2]
    if len(needed) < 2:
        return ()
    baked = set(zip(*(variable.codes.tolist() for variable in needed), strict=True))
    cells = product(*(range(len(variable.levels)) for variable in needed))
    return tuple(cell_name(needed, cell) for cell in cells if cell not in baked)


def cell_name(variables: Sequence[Variable], cell: Sequence[int]) -> str:
    return ", ".join(f"{variable.name} {variable.levels[code]}" for variable, code in zip(variables, cell, strict=True))
