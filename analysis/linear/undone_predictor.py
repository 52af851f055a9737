"""What would a treatment that was not baked give, in the response's own unit, when the model was fitted on a scale?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.linear.scales import Scale
from analysis.predicting import Treatments

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class UndonePredictor:
    """Treatments not baked, in the response's unit (see ``analysis.predicting.Predictor``)."""

    inner: Any
    scale: Scale
    most: float

    @property
    def spans(self) -> Any:
        return self.inner.spans

    @property
    def df(self) -> float | None:
        found: float | None = self.inner.df
        return found

    @property
    def sd(self) -> float | None:
        """Scatter of bakes around the middle of the readings."""
        sd = self.inner.sd
        return None if sd is None else float(sd * self.scale.slope(np.array([self.inner.model.offset]))[0])

    def mean(self, settings: Treatments) -> Floats:
        return self._back(self.inner.mean(settings))

    def se(self, settings: Treatments) -> Floats | None:
        se = self.inner.se(settings)
        return None if se is None else np.asarray(se * self._slope(settings))

    def covariance(self, settings: Treatments) -> Floats | None:
        covariance = self.inner.covariance(settings)
        slope = self._slope(settings)
        return None if covariance is None else np.asarray(covariance * np.outer(slope, slope))

    def _slope(self, settings: Treatments) -> Floats:
        return np.asarray(np.nan_to_num(self.scale.slope(self.inner.mean(settings)), nan=0.0, posinf=0.0))

    def draws(self, settings: Treatments, *, count: int, seed: int) -> Floats | None:
        draws = self.inner.draws(settings, count=count, seed=seed)
        return None if draws is None else self._back(draws)

    def _back(self, values: Floats) -> Floats:
        """What has no way back stands at the end of the scale; ``most`` is the largest reading there can be."""
        with np.errstate(over="ignore"):
            found = self.scale.back(values)
        end = 0.0 if self.scale.name == "square root" else self.most
        return np.asarray(np.minimum(np.where(np.isfinite(found), found, end), self.most))
