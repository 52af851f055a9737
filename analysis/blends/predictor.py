"""What would a blend give that was not baked?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.linear.predictor import LinearPredictor
from analysis.predicting import Settings, Span, Treatments

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class BlendPredictor(LinearPredictor):
    """Means of a fitted blending model (see ``analysis.predicting.Predictor``).

    ``shares`` in the baker's units are taken as parts of what they add up to; ``total`` is the whole.
    """

    shares: tuple[str, ...]
    total: float

    @cached_property
    def spans(self) -> Mapping[str, Span]:
        found = dict(super().spans)
        for name in self.shares:
            span = found[name]
            low, high = (self.total * float(end or 0.0) for end in (span.low, span.high))
            # No settings to choose from one by one: shares change together.
            found[name] = Span(name=name, low=low, high=high)
        return found

    def _rows(self, settings: Treatments) -> Floats:
        raw = np.column_stack([np.asarray(settings[name], dtype=np.float64) for name in self.shares])
        parts = raw / raw.sum(axis=1, keepdims=True)
        beside = {name: np.asarray(settings[name]) for name in self.spans if name not in self.shares}
        return super()._rows(Settings(beside | {name: parts[:, at] for at, name in enumerate(self.shares)}))
