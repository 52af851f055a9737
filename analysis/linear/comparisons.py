"""Which levels differ, by how much, allowing for having looked at all of them?

Tukey-Kramer for three or more levels, plain t for two.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from analysis.linear.distributions import range_quantile, range_tail, t_quantile, t_tails
from analysis.linear.letters import letters
from analysis.linear.means import Slice
from analysis.linear.stratum import Contrast, Model
from analysis.results import Comparison


@dataclass(frozen=True)
class Pair:
    """Levels ``one`` and ``other`` (positions) with their difference (one - other), adjusted."""

    one: int
    other: int
    contrast: Contrast
    low: float | None
    high: float | None
    p: float | None


def compare(model: Model, slice_: Slice, confidence: float) -> list[Pair]:
    """Every pair of levels of a slice."""
    rows = slice_.rows(model)
    pairs = list(combinations(range(len(rows)), 2))
    if not pairs:
        return []
    contrasts = model.contrasts(np.array([rows[one] - rows[other] for one, other in pairs]))
    return [_judged(one, other, c, len(rows), confidence) for (one, other), c in zip(pairs, contrasts, strict=True)]


def _judged(one: int, other: int, contrast: Contrast, levels: int, confidence: float) -> Pair:
    if contrast.se is None or contrast.df is None:
        return Pair(one, other, contrast, None, None, None)
    t = contrast.estimate / contrast.se
    if levels == 2:
        margin, p = t_quantile(confidence, contrast.df), t_tails(t, contrast.df)
    else:
        margin = range_quantile(confidence, levels, contrast.df) / np.sqrt(2)
        p = range_tail(abs(t) * np.sqrt(2), levels, contrast.df)
    low, high = contrast.within(float(margin) * contrast.se)
    return Pair(one, other, contrast, low, high, p)


def as_comparisons(model: Model, slice_: Slice, pairs: list[Pair]) -> list[Comparison]:
    variable = model.variables[slice_.variable]
    method = "t" if len(variable.levels) == 2 else "Tukey-Kramer"
    return [
        Comparison(
            factor=variable.name,
            a=variable.levels[pair.one],
            b=variable.levels[pair.other],
            difference=pair.contrast.estimate,
            se=pair.contrast.se,
            low=pair.low,
            high=pair.high,
            p_adjusted=pair.p,
            method=method,
            at=slice_.named(model),
        )
        for pair in pairs
    ]


def slice_letters(model: Model, slice_: Slice, pairs: list[Pair], confidence: float) -> list[str | None]:
    """Letters of a slice's levels; None when nothing could be compared."""
    count = len(model.variables[slice_.variable].levels)
    if any(pair.p is None for pair in pairs) or not pairs:
        return [None] * count
    means = [contrast.estimate for contrast in model.contrasts(slice_.rows(model))]
    apart = [(pair.one, pair.other) for pair in pairs if pair.p is not None and pair.p < 1 - confidence]
    return list(letters(means, apart))
