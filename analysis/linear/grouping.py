"""Which bakes share a whole plot?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.linear.coding import Variable, from_codes
from analysis.linear.ground import Ground, flat, whole_plots
from analysis.questions import Question

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


def lay_ground(
    bakes: pd.DataFrame, question: Question, variables: Sequence[Variable], y: Floats
) -> tuple[Ground, list[Variable]]:
    """The strata of a question, and the variables with the outer groups among the blocks.

    Group columns together name a whole plot; all but the last name the outer group, which
    stays in as a fixed block. Groups of one bake, or one group for all, make no strata.
    """
    if not question.group:
        return flat(y), list(variables)
    plots, _ = joint_codes(bakes, question.group)
    count = int(plots.max()) + 1
    if count < 2 or count >= len(y):
        return flat(y), list(variables)
    kept = [v for v in variables if v.covariate or not (v.block and _same_as(v.codes, plots, count))]
    outer = _outer(bakes, question, count)
    blocks = [variable for variable in kept if variable.block]
    if outer is not None and not any(_same_partition(outer.codes, block.codes) for block in blocks):
        blocks.append(outer)
    return whole_plots(y, plots, "+".join(question.group)), blocks + [v for v in kept if not v.block]


def _outer(bakes: pd.DataFrame, question: Question, count: int) -> Variable | None:
    names = question.group[:-1]
    factors = {factor.name for factor in question.factors}
    if not names or factors & set(names):
        return None
    codes, labels = joint_codes(bakes, names)
    if len(labels) < 2 or len(labels) >= count:
        return None
    return from_codes("+".join(names), codes, labels, block=True)


def joint_codes(bakes: pd.DataFrame, names: Sequence[str]) -> tuple[Integers, tuple[str, ...]]:
    """(n,) number of each bake's combination of columns, in order of appearance, and its label."""
    rows = list(zip(*(bakes[name].astype(str) for name in names), strict=True))
    numbers: dict[tuple[str, ...], int] = {}
    codes = np.array([numbers.setdefault(row, len(numbers)) for row in rows], dtype=np.int64)
    return codes, tuple(", ".join(row) for row in numbers)


def _same_as(codes: Integers, plots: Integers, count: int) -> bool:
    return len(np.unique(codes)) == count and _same_partition(codes, plots)


def _same_partition(one: Integers, other: Integers) -> bool:
    pairs = len(np.unique(np.column_stack([one, other]), axis=0))
    return pairs == len(np.unique(one)) == len(np.unique(other))
