"""Do the shares of every bake add up to one whole?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.errors import NotPossible, TrialDataError
from analysis.questions import Factor

Floats = NDArray[np.float64]

WHOLE_WITHIN = 0.005  # shares may miss the whole by this part of it: a scale's rounding


@dataclass(frozen=True, eq=False, kw_only=True)
class Blends:
    """``parts`` (n, q) are the shares that changed, as parts of the whole they make up together.

    ``total`` is that whole in the unit of the shares; ``still`` names shares that never changed.
    """

    factors: tuple[Factor, ...]
    parts: Floats
    total: float
    still: tuple[Factor, ...]

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(factor.name for factor in self.factors)


def blends_of(bakes: pd.DataFrame, shares: Sequence[Factor]) -> Blends:
    """Raises TrialDataError for shares that make no whole, NotPossible for bakes that are all one blend."""
    raw = bakes[[factor.name for factor in shares]].to_numpy(dtype=np.float64)
    _require_whole(bakes, shares, raw)
    changed = np.ptp(raw, axis=0) > 0
    if not changed.any():
        raise NotPossible(
            "Every bake had the same blend.", where="shares", try_this="bake blends that differ in their shares"
        )
    free = raw[:, changed]
    sums = free.sum(axis=1)
    return Blends(
        factors=tuple(factor for factor, moved in zip(shares, changed, strict=True) if moved),
        parts=free / sums[:, None],
        total=float(np.median(sums)),
        still=tuple(factor for factor, moved in zip(shares, changed, strict=True) if not moved),
    )


def _require_whole(bakes: pd.DataFrame, shares: Sequence[Factor], raw: Floats) -> None:
    sums = raw.sum(axis=1)
    total = float(np.median(sums))
    if len(shares) < 2 or total <= 0:
        raise TrialDataError(
            "A blend has at least two shares that add up to a whole.",
            where="shares",
            try_this="name every share of the whole as share, or this one as amount",
        )
    away = np.abs(sums - total) > WHOLE_WITHIN * total
    if away.any() or (raw < 0).any():
        at = int(np.argmax(away | (raw < 0).any(axis=1)))
        raise TrialDataError(
            f"The shares of bake {bakes['bake'].iloc[at]} add up to {sums[at]:g}, those of the others to {total:g}."
            if away.any()
            else f"Bake {bakes['bake'].iloc[at]} has a share below 0.",
            where=" + ".join(factor.name for factor in shares),
            try_this="correct the share, or name the missing one as well",
        )
