"""How surely are all goals met, for the true means and for one new bake?

Each family draws the means as they might truly be. Responses of the same bakes err together: the
draws are put into an order that gives them the correlation of the residuals (Iman & Conover 1982,
"A distribution-free approach to inducing rank correlation among input variables"), which leaves
what each response says by itself as it is. Since a goal is met between two ends, the draw of rank r
meets it exactly when r is at least the number of draws below and less than that of draws up to the
upper end: nothing needs to be sorted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.goals.search import Asker
from analysis.goals.wishes import Wish
from analysis.predicting import Settings
from analysis.results import BakePoint

Floats = NDArray[np.float64]

DRAWS = 2000
DRAWS_ON_GRID = 400
FEWEST_TOGETHER = 5  # bakes with both responses, below which they are taken as independent
FEW_DF = 4.0  # a correlation from so many df is believed by half


@dataclass(frozen=True, kw_only=True)
class Chances:
    """``each`` (k, m): chance of every single goal; ``all`` (m,): of all together; ``_bake`` for one new bake."""

    each: Floats
    all: Floats
    each_bake: Floats | None
    all_bake: Floats | None


@dataclass(frozen=True, kw_only=True)
class Chooser:
    """Draws for the responses of ``asker``; ``correlation`` (k, k) is that of their residuals."""

    asker: Asker
    correlation: Floats
    seed: int

    def chances(self, settings: Settings, *, count: int = DRAWS) -> Chances | None:
        """None when a response has nothing to judge its mean by."""
        drawn = self._draws(settings, count)
        if drawn is None:
            return None
        ranks = self._ranks(count)
        each, together = self._judged(drawn, ranks)
        bakes = self._bakes(drawn, count)
        if bakes is None:
            return Chances(each=each, all=together, each_bake=None, all_bake=None)
        each_bake, all_bake = self._judged(bakes, ranks)
        return Chances(each=each, all=together, each_bake=each_bake, all_bake=all_bake)

    def _draws(self, settings: Settings, count: int) -> list[Floats] | None:
        """One seed for all: which draws go together is settled by their ranks."""
        found = []
        for predictor in self.asker.predictors:
            drawn = predictor.draws(settings, count=count, seed=self.seed)
            if drawn is None or not np.isfinite(drawn).all():
                return None
            found.append(np.asarray(drawn, dtype=np.float64))
        return found

    def _bakes(self, drawn: Sequence[Floats], count: int) -> list[Floats] | None:
        """Single bakes around the drawn means: the scatter is itself known from few bakes, hence t."""
        chance = np.random.Generator(np.random.PCG64([self.seed, 7]))
        found = []
        for means, predictor in zip(drawn, self.asker.predictors, strict=True):
            if predictor.sd is None:
                return None
            wide = chance.standard_normal((count, 1))
            if predictor.df is not None:
                wide = wide * np.sqrt(predictor.df / chance.chisquare(predictor.df, (count, 1)))
            found.append(means + predictor.sd * wide)
        return found

    def _ranks(self, count: int) -> list[NDArray[np.int64]]:
        """For each response the ranks (count,) of correlated normal draws."""
        chance = np.random.Generator(np.random.PCG64([self.seed, 11]))
        normal = chance.standard_normal((count, len(self.correlation))) @ self._half.T
        return [np.argsort(np.argsort(column)) for column in normal.T]

    @cached_property
    def _half(self) -> Floats:
        sizes, directions = np.linalg.eigh(self.correlation)
        half = directions * np.sqrt(np.maximum(sizes, 0.0))
        return np.asarray(half / np.sqrt((half**2).sum(axis=1, keepdims=True)))

    def _judged(self, drawn: Sequence[Floats], ranks: Sequence[NDArray[np.int64]]) -> tuple[Floats, Floats]:
        """Share of the draws (count, m) that meet each goal (k, m), and all of them (m,)."""
        together, each = np.ones(drawn[0].shape, dtype=bool), []
        for wish, y, rank in zip(self.asker.wishes, drawn, ranks, strict=True):
            below, up_to = np.zeros(y.shape[1], dtype=np.int64), np.full(y.shape[1], len(y))
            if np.isfinite(wish.low):
                below = (y <= wish.low).sum(axis=0)
                together &= rank[:, None] >= below
            if np.isfinite(wish.high):
                up_to = (y < wish.high).sum(axis=0)
                together &= rank[:, None] < up_to
            each.append(np.maximum(up_to - below, 0) / len(y))
        return np.array(each), together.mean(axis=0)


def residual_correlation(
    points: Sequence[Sequence[BakePoint]], wishes: Sequence[Wish], dfs: Sequence[float | None]
) -> Floats:
    """Correlation (k, k) of the residuals of bakes that both responses were read from.

    From few error df it is mostly chance, so it is drawn towards 0 by df / (df + FEW_DF).
    """
    residuals = [{p.bake: p.residual for p in each if p.residual is not None} for each in points]
    found = np.eye(len(wishes))
    for i in range(len(wishes)):
        for j in range(i):
            both = sorted(residuals[i].keys() & residuals[j].keys())
            found[i, j] = found[j, i] = _correlation(
                [residuals[i][bake] for bake in both], [residuals[j][bake] for bake in both], dfs[i], dfs[j]
            )
    return found


def _correlation(one: Sequence[float], other: Sequence[float], df: float | None, other_df: float | None) -> float:
    if len(one) < FEWEST_TOGETHER or df is None or other_df is None:
        return 0.0
    a, b = (np.asarray(each) / (np.max(np.abs(each)) or 1.0) for each in (one, other))
    size = float(np.sqrt((a @ a) * (b @ b)))
    least = min(df, other_df)
    return float(a @ b) / size * least / (least + FEW_DF) if size > 0 else 0.0
