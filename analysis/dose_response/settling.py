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
_ROUNDS, _FEWER = 40, 8


def settle(fit: ShapeFit, weights: Array | None, *, estimated: int = 0) -> ShapeFit | None:
    """The fit with its restricted-likelihood ratios under ``weights``; None when the shape gives way."""
    at = fit
    for _ in range(_ROUNDS if len(fit.layout.random) < 2 else _FEWER):
        y, columns = tangent(at)
        errors = replace(
            best_ratios(at.layout, y, columns, weights, restricted=True, near=at.layout.errors), estimated=estimated
        )
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
    # Several ratios are searched for without derivatives, so that their last digits wander.
    close = 1e-9 if len(a.ratios) < 2 else 1e-5
    return bool(np.allclose(a.ratios, b.ratios, rtol=close, atol=1e-3 * close))
