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


def interval(predictor: Predictor, settings: pd.DataFrame, means: Floats, confidence: float) -> list[Ends]:
    """Ends of the interval of each mean; open where nothing tells the scatter."""
    return intervals(predictor, settings, means, confidence)[0]


def intervals(
    predictor: Predictor, settings: pd.DataFrame, means: Floats, confidence: float
) -> tuple[list[Ends], list[Ends]]:
    """The same, and beside them the ends between which one new bake would fall."""
    from scipy.special import ndtri, stdtrit

    errors = predictor.se(known_to(predictor, settings))
    if errors is None:
        return [OPEN] * len(means), [OPEN] * len(means)
    upper = (1 + confidence) / 2
    times = float(ndtri(upper) if predictor.df is None else stdtrit(predictor.df, upper))
    bake = None if predictor.sd is None else np.hypot(errors, predictor.sd)
    return _around(means, times * np.asarray(errors)), _around(means, None if bake is None else times * bake)


def _around(means: Floats, half: Floats | None) -> list[Ends]:
    if half is None:
        return [OPEN] * len(means)
    return [
        (float(mean - each), float(mean + each)) if np.isfinite(each) else OPEN
        for mean, each in zip(means, half, strict=True)
    ]
