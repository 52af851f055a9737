"""Does the answer hang on an odd bake?

The same model is fitted again with every bake weighed by how far it lies from its fellows
(Huber 1964, Ann. Math. Stat. 35, 73; statsmodels' robust linear model, scale by the median
absolute deviation). What counts is how far any treatment's fitted value moves.
"""

from __future__ import annotations

import warnings

import numpy as np

from analysis.linear.least_squares import Fit


def largest_move(fit: Fit) -> float | None:
    """The furthest any fitted value moves, in the response's unit; None when the robust fit does not settle."""
    from statsmodels.robust.norms import HuberT  # loaded only when there is an odd bake to weigh down
    from statsmodels.robust.robust_linear_model import RLM

    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            steady = RLM(fit.y, fit.x, M=HuberT()).fit(maxiter=100)
        except (Warning, ValueError, ZeroDivisionError, np.linalg.LinAlgError):
            return None
    moved = np.abs(fit.x @ steady.params - fit.fitted)
    return float(moved.max()) if np.isfinite(moved).all() else None
