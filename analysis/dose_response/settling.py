"""Where do a curve and the spread of its bakes come to rest together?

Each is found with the other held, in turn. The shape is chosen under the errors that the shape
chosen last leads to, so that all shapes are compared, drawn and tested under one V.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from analysis.dose_response.curves import ShapeFit, refit
from analysis.dose_response.variances import best_ratios, tangent
from analysis.dose_response.whitening import Errors

Array = npt.NDArray[np.float64]
_ROUNDS = 40


def settle(fit: ShapeFit, weights: Array | None, *, estimated: int = 0) -> ShapeFit | None:
    """The fit with its restricted-likelihood ratios under ``weights``; None when the shape gives way."""
    at = fit
    for _ in range(_ROUNDS):
        y, columns = tangent(at)
        errors = replace(best_ratios(at.layout, y, columns, weights, restricted=True), estimated=estimated)
        before = at.layout.errors
        moved = refit(at, replace(at.layout, errors=errors))
        if moved is None:
            return None
        at = moved
        if before is not None and _same(before, errors):
            break
    return at


def _same(a: Errors, b: Errors) -> bool:
    if a.weights is not b.weights:
        return False
    return bool(np.allclose(a.ratios, b.ratios, rtol=1e-9, atol=1e-12))
