"""Does what stands beside a blend act alike on every blend, and could these runs tell?

A plan promises the blend and what stands beside it, not their products: those take degrees of freedom
that few plans have, and what is promised has to be what is analysed. So a plan says that it takes them
as nothing, and what asking for them would cost.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from analysis.designs.columns import Floats
from analysis.designs.entering import indicators, rank_of
from analysis.designs.judgement import FEWEST_DF
from analysis.designs.levels import Setting
from analysis.designs.requests import MIXTURE_MODELS, DesignFactor


def products_not_promised(
    factors: Sequence[DesignFactor],
    settings: Sequence[Mapping[str, Setting]],
    groups: Sequence[Sequence[str]],
    *,
    model: str,
    df_error: int,
) -> list[str]:
    """One sentence for each factor beside the blend. ``groups``: the labels of each fixed group over the runs."""
    if model not in MIXTURE_MODELS:
        return []
    shares = [factor.name for factor in factors if factor.kind == "share"]
    beside = [
        factor for factor in factors if factor.kind != "share" and len({run[factor.name] for run in settings}) > 1
    ]
    parts = np.array([[float(run[name]) for name in shares] for run in settings])
    parts = parts / parts.sum(axis=1, keepdims=True)
    columns = {factor.name: _columns(factor, settings) for factor in beside}
    base = np.hstack([parts, *(indicators(labels)[:, 1:] for labels in groups), *columns.values()])
    words = []
    for name, own in columns.items():
        products = np.hstack([own * parts[:, [at]] for at in range(len(shares))])
        needed = own.shape[1] * (len(shares) - 1)  # one share's products are what the factor does by itself
        told = rank_of(np.hstack([base, products])) - rank_of(base) == needed
        words.append(f'This plan takes "{name}" to do the same to every blend. {_way(told, needed, df_error)}')
    return words


def _way(told: bool, needed: int, df_error: int) -> str:
    if not told or df_error - needed < FEWEST_DF:
        return "These runs cannot tell whether it does."
    return (
        "Whether it does is asked by --kind mixture in the analysis, which takes at least "
        f"{needed} of the {df_error} degrees of freedom of the error."
    )


def _columns(factor: DesignFactor, settings: Sequence[Mapping[str, Setting]]) -> Floats:
    """(n, d): an amount less its mean, a category's levels but the first."""
    if factor.kind == "amount":
        amounts = np.array([[float(run[factor.name])] for run in settings])
        return np.asarray((amounts - amounts.mean()) / np.ptp(amounts))
    return indicators([str(run[factor.name]) for run in settings])[:, 1:]
