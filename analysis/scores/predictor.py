"""What score is to be expected of a treatment that was not baked?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.predicting import Span, Treatments
from analysis.scores.model import Model

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class ScorePredictor:
    """Expected scores, shares of yes or counts over settings (see ``analysis.predicting.Predictor``)."""

    model: Model

    @cached_property
    def spans(self) -> Mapping[str, Span]:
        found = {}
        for v in self.model.layout.variables:
            if v.asked and v.amount:
                found[v.name] = Span(name=v.name, low=v.values[0], high=v.values[-1], baked=v.values)
            elif v.asked:
                found[v.name] = Span(name=v.name, levels=v.levels)
        return found

    @cached_property
    def sd(self) -> float | None:
        """Scatter of one reading: of the scores at the average treatment, or of a count around its mean."""
        mean = float(self.model.expected.averaged([self.model.cells({})])[0])
        if self.model.data.counted:
            return float(np.sqrt(mean * max(self.model.dispersion or 1.0, 1.0)))
        shares = self.model.expected.shares(self.model.cells({})).mean(axis=0)
        values = np.array(self.model.data.values)
        return float(np.sqrt(max(shares @ (values - mean) ** 2, 0.0)))

    @property
    def df(self) -> float | None:
        known = [df for term in self.model.layout.terms if (df := self.model.df_of(term.name)) is not None]
        return min(known) if known else None

    def mean(self, settings: Treatments) -> Floats:
        return self.model.expected.averaged(self._grids(settings))

    def se(self, settings: Treatments) -> Floats | None:
        spread = self.model.expected.spread(self._grids(settings))
        return None if spread is None else np.sqrt(np.maximum(np.diag(spread), 0.0))

    def draws(self, settings: Treatments, *, count: int, seed: int) -> Floats | None:
        """Parameters from the normal distribution around the fitted ones, the same for every treatment of a draw."""
        if self.model.covariance is None:
            return None
        chance = np.random.Generator(np.random.PCG64(seed))
        sizes, directions = np.linalg.eigh(self.model.covariance)
        half = directions * np.sqrt(np.maximum(sizes, 0.0))
        moved = self.model.fit.params + chance.standard_normal((count, len(half))) @ half.T
        lead = self.model.data.lead
        if lead > 1:  # edges keep their order
            moved[:, :lead] = np.sort(moved[:, :lead], axis=1)
        grids = self._grids(settings)
        return np.array([self.model.expected.averaged(grids, one) for one in moved])

    def _grids(self, settings: Treatments) -> list[Floats]:
        names = [name for name in self.spans if name in settings]
        columns = [settings[name].tolist() for name in names]
        return [self.model.cells(dict(zip(names, row, strict=True))) for row in zip(*columns, strict=True)]
