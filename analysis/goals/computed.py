"""What is known of a treatment without baking it, such as its price?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.predicting import Span, Treatments
from analysis.questions import Response

Floats = NDArray[np.float64]
Values = Callable[[Treatments], Floats]


@dataclass(frozen=True, kw_only=True)
class Computed:
    """``values`` gives the response (m,) at settings with a column for each factor; there is no doubt about it."""

    response: Response
    values: Values


@dataclass(frozen=True, eq=False, kw_only=True)
class Certain:
    """A ``Predictor`` without scatter."""

    values: Values
    spans: Mapping[str, Span]
    sd: float | None = 0.0
    df: float | None = None

    def mean(self, settings: Treatments) -> Floats:
        return np.asarray(self.values(settings), dtype=np.float64)

    def se(self, settings: Treatments) -> Floats | None:
        return np.zeros(len(settings))

    def draws(self, settings: Treatments, *, count: int, seed: int) -> Floats | None:
        return np.broadcast_to(self.mean(settings), (count, len(settings))).copy()
