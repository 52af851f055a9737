"""How sure is a foretold mean, and where would one new bake fall?"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.predicting import Predictor

Floats = NDArray[np.float64]
Ends = tuple[float | None, float | None]

OPEN: Ends = (None, None)


def known_to(predictor: Predictor, settings: pd.DataFrame) -> pd.DataFrame:
    """The columns that a predictor asks for; the frame itself where it has no others."""
    names = list(predictor.spans)
    return settings if list(settings.columns) == names else settings[names]


def interval(
    predictor: Predictor, settings: pd.DataFrame, means: Floats, confidence: float, *, bake: bool = False
) -> list[Ends]:
    """Ends of the interval of each mean (or of one new bake); open where nothing tells the scatter."""
    from scipy.stats import norm, t

    errors = predictor.se(known_to(predictor, settings))
    if errors is None or (bake and predictor.sd is None):
        return [OPEN] * len(means)
    wide = np.hypot(errors, predictor.sd or 0.0) if bake else np.asarray(errors)
    upper = (1 + confidence) / 2
    times = float(norm.ppf(upper) if predictor.df is None else t.ppf(upper, predictor.df))
    return [
        (float(mean - times * half), float(mean + times * half)) if np.isfinite(half) else OPEN
        for mean, half in zip(means, wide, strict=True)
    ]
