"""Is a substitute as good, within the margin, when the response was transformed?

The difference (or ratio) of what two levels come back as, with the interval of two one-sided tests; it is as
good when that interval lies within the margin.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analysis.linear.distributions import t_quantile
from analysis.linear.equivalence import pairs_asked_about, within_margin
from analysis.linear.means import Slice
from analysis.linear.undoing import Undoing
from analysis.parts import Equivalence


def undone_equivalences(undoing: Undoing, references: Mapping[str, str | None]) -> tuple[Equivalence, ...]:
    """Every level against the reference of its category, or every pair where none was named."""
    model = undoing.model
    if undoing.response.margin is None:
        return ()
    found: list[Equivalence] = []
    for slice_, pairs in pairs_asked_about(model, references):
        found += [_equivalence(undoing, slice_, one, other) for one, other in pairs]
    return tuple(found)


def _equivalence(undoing: Undoing, slice_: Slice, one: int, other: int) -> Equivalence:
    variable, margin = undoing.model.variables[slice_.variable], undoing.response.margin
    assert margin is not None
    rows = slice_.rows(undoing.model)[[one, other]]
    contrast = undoing.model.contrast(rows[0] - rows[1])
    factor = None if contrast.df is None else t_quantile(2 * undoing.confidence - 1, contrast.df)
    size, low, high = (
        undoing.ratio(rows, factor) if margin.ratio else undoing.combined(rows, np.array([1.0, -1.0]), factor)
    )
    return Equivalence(
        factor=variable.name,
        a=variable.levels[one],
        b=variable.levels[other],
        estimate=size if size is not None else 0.0,
        low=low,
        high=high,
        margin_low=margin.low,
        margin_high=margin.high,
        ratio=margin.ratio,
        p_low=None,
        p_high=None,
        p=None,
        df=contrast.df,
        equivalent=within_margin(low, high, margin.low, margin.high),
    )
