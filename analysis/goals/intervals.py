"""How sure is a foretold mean, and where would one new bake fall?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.predicting import Predictor, Settings

Floats = NDArray[np.float64]
Ends = tuple[float | None, float | None]

OPEN: Ends = (None, None)


def interval(predictor: Predictor, settings: Settings, means: Floats, confidence: float) -> list[Ends]:
    """Ends of the interval of each mean; open where nothing tells the scatter."""
    return intervals(predictor, settings, means, confidence)[0]


def intervals(
    predictor: Predictor, settings: Settings, means: Floats, confidence: float
) -> tuple[list[Ends], list[Ends]]:
    """The same, and beside them the ends between which one new bake would fall."""
    from scipy.special import ndtri, stdtrit

    errors = predictor.se(settings)
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
