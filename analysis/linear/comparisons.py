"""Which levels differ, by how much, allowing for having looked at all of them?

All pairs by Tukey-Kramer; against a control by Dunnett, which spends less on fewer questions;
plain t for two levels. Holm, Bonferroni, Scheffé or no allowance where they are asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from analysis.estimates import Comparison
from analysis.linear.distributions import f_tail, range_quantile, range_tail, t_quantile, t_tails
from analysis.linear.letters import letters
from analysis.linear.many_at_once import correlation_of, largest_quantile, largest_tail
from analysis.linear.means import Slice
from analysis.linear.stratum import Contrast, Model
from analysis.questions import Adjust

Floats = NDArray[np.float64]

METHODS: Mapping[Adjust, str] = {
    "holm": "Holm",
    "bonferroni": "Bonferroni",
    "scheffe": "Scheffé",
    "none": "t",
}


@dataclass(frozen=True)
class Pair:
    """Levels ``one`` and ``other`` (positions) with their difference (one - other), adjusted."""

    one: int
    other: int
    contrast: Contrast
    low: float | None
    high: float | None
    p: float | None
    method: str = "t"


def compare(model: Model, slice_: Slice, confidence: float) -> list[Pair]:
    """Every pair of levels of a slice, by Tukey-Kramer."""
    return judged(model, slice_, confidence, pairs_of(model, slice_), "auto")


def pairs_of(model: Model, slice_: Slice) -> list[tuple[int, int]]:
    return list(combinations(range(len(model.variables[slice_.variable].levels)), 2))


def newer_first(model: Model, slice_: Slice) -> list[tuple[int, int]]:
    """Every pair, the level that was named later first: the first named is what was in use."""
    return [(one, other) for other, one in pairs_of(model, slice_)]


def against(model: Model, slice_: Slice, reference: int) -> list[tuple[int, int]]:
    """Every other level less the reference."""
    return [(one, reference) for one in range(len(model.variables[slice_.variable].levels)) if one != reference]


def judged(
    model: Model, slice_: Slice, confidence: float, chosen: Sequence[tuple[int, int]], adjust: Adjust
) -> list[Pair]:
    """The chosen pairs of levels. "auto" is Tukey-Kramer for all pairs, Dunnett for pairs with one control."""
    if not chosen:
        return []
    rows = slice_.rows(model)
    differences = np.array([rows[one] - rows[other] for one, other in chosen])
    contrasts = model.contrasts(differences)
    plain = [Pair(one, other, c, None, None, None) for (one, other), c in zip(chosen, contrasts, strict=True)]
    if any(not c.se or c.df is None for c in contrasts):
        return plain
    if len(rows) == 2 or adjust == "none":
        return [_with(pair, t_quantile(confidence, _df(pair)), t_tails(_t(pair), _df(pair)), "t") for pair in plain]
    if adjust != "auto":
        return _stepwise(plain, confidence, adjust, len(rows) - 1)
    if len(chosen) == len(rows) - 1 and len({other for _, other in chosen}) == 1 and len(rows) > 2:
        return _dunnett(model, differences, plain, confidence)
    return [_tukey(pair, len(rows), confidence) for pair in plain]


def _tukey(pair: Pair, levels: int, confidence: float) -> Pair:
    margin = range_quantile(confidence, levels, _df(pair)) / np.sqrt(2)
    return _with(pair, float(margin), range_tail(abs(_t(pair)) * np.sqrt(2), levels, _df(pair)), "Tukey-Kramer")


def _dunnett(model: Model, differences: Floats, pairs: Sequence[Pair], confidence: float) -> list[Pair]:
    """Single-step: all differences from one control together, with their correlation."""
    covariance = model.covariance(differences)
    assert covariance is not None, "every difference has a standard error"
    correlation = correlation_of(covariance)
    df = min(_df(pair) for pair in pairs)
    factor = largest_quantile(confidence, correlation, df)
    return [_with(pair, factor, largest_tail(_t(pair), correlation, df), "Dunnett") for pair in pairs]


def _stepwise(pairs: Sequence[Pair], confidence: float, adjust: Adjust, df: int) -> list[Pair]:
    """Holm's p-values go with Bonferroni's intervals: his steps have none that belong to single pairs."""
    count = len(pairs)
    raw = [t_tails(_t(pair), _df(pair)) for pair in pairs]
    bound = 1 - (1 - confidence) / count
    if adjust == "scheffe":
        from scipy.special import fdtri

        factors = [float(np.sqrt(df * fdtri(df, _df(pair), confidence))) for pair in pairs]
        p = [f_tail(_t(pair) ** 2 / df, df, _df(pair)) for pair in pairs]
    else:
        factors = [t_quantile(bound, _df(pair)) for pair in pairs]
        p = [min(1.0, count * each) for each in raw] if adjust == "bonferroni" else _holm(raw)
    return [_with(pair, factor, each, METHODS[adjust]) for pair, factor, each in zip(pairs, factors, p, strict=True)]


def _holm(raw: Sequence[float]) -> list[float]:
    adjusted, worst = [0.0] * len(raw), 0.0
    for step, at in enumerate(np.argsort(raw, kind="stable")):
        worst = max(worst, min(1.0, (len(raw) - step) * raw[at]))
        adjusted[at] = worst
    return adjusted


def _with(pair: Pair, factor: float, p: float, method: str) -> Pair:
    assert pair.contrast.se is not None
    low, high = pair.contrast.within(factor * pair.contrast.se)
    return replace(pair, low=low, high=high, p=p, method=method)


def _t(pair: Pair) -> float:
    assert pair.contrast.se
    return pair.contrast.estimate / pair.contrast.se


def _df(pair: Pair) -> float:
    assert pair.contrast.df is not None
    return pair.contrast.df


def as_comparisons(model: Model, slice_: Slice, pairs: Sequence[Pair]) -> list[Comparison]:
    variable = model.variables[slice_.variable]
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
            method=pair.method,
            at=slice_.named(model),
        )
        for pair in pairs
    ]


def slice_letters(model: Model, slice_: Slice, pairs: Sequence[Pair], confidence: float) -> list[str | None]:
    """Letters of a slice's levels from all its pairs; None when nothing could be compared."""
    count = len(model.variables[slice_.variable].levels)
    if any(pair.p is None for pair in pairs) or not pairs:
        return [None] * count
    means = [contrast.estimate for contrast in model.contrasts(slice_.rows(model))]
    apart = [(pair.one, pair.other) for pair in pairs if pair.p is not None and pair.p < 1 - confidence]
    return list(letters(means, apart))


Judge = Callable[[Slice, Sequence[Pair]], list[Pair]]


def shown_pairs(model: Model, references: Mapping[str, str | None], adjust: Adjust, confidence: float) -> Judge:
    """Which pairs of a slice are listed: those with the reference where one was named, else all.

    The function gets all pairs by Tukey-Kramer and gives them back where nothing else was asked for.
    """

    def shown(slice_: Slice, pairs: Sequence[Pair]) -> list[Pair]:
        variable = model.variables[slice_.variable]
        reference = references.get(variable.name)
        if reference is not None and reference in variable.levels:
            chosen = against(model, slice_, variable.levels.index(reference))
            return judged(model, slice_, confidence, chosen, adjust)
        if adjust == "auto":
            return list(pairs)
        return judged(model, slice_, confidence, pairs_of(model, slice_), adjust)

    return shown
