"""How are the chosen terms fitted to the readings?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.linear.coding import Term, Variable
from analysis.linear.ground import Ground
from analysis.linear.least_squares import least_squares
from analysis.linear.selection import Selection
from analysis.linear.stratum import Model, Stratum

Floats = NDArray[np.float64]

ROUNDING = 4 * float(np.finfo(np.float64).eps)  # relative size of what storing a number loses, generously
NOTHING = 1e-10  # scatter smaller than this part of the range of the readings is arithmetic, not baking


def is_constant(y: Floats) -> bool:
    """Are all readings the same but for the last digits a computer stores?

    Judged in units of storage, not as a share of the size: 1000000000000.4 and
    1000000000000.5 still differ, and the check "leading digits" warns of them.
    """
    return float(np.ptp(y)) <= ROUNDING * float(np.abs(y).max(initial=0.0))


def fit_model(variables: Sequence[Variable], selection: Selection, ground: Ground, raw: Floats, offset: float) -> Model:
    """One stratum after the other; ``raw`` are the readings as they came, ``offset`` what was taken off."""
    floor = max(NOTHING * float(np.ptp(raw)), ROUNDING * float(np.abs(raw).max()))
    strata = []
    for place, (name, y) in enumerate(zip(ground.names, ground.readings(), strict=True)):
        own = {term: columns for term, (at, columns) in selection.columns.items() if at == place}
        constant = place == 0
        parts = [ground.constant()] if constant else [np.zeros((len(y), 0))]
        fit = least_squares(np.hstack([*parts, *own.values()]), y, absorbed=ground.absorbed[place])
        noiseless = fit.df > 0 and np.sqrt(fit.sum_sq / fit.df) <= floor
        strata.append(Stratum(name, tuple(own), _spans(own, int(constant)), fit, constant, bool(noiseless)))
    return Model(tuple(variables), tuple(strata), offset)


def _spans(columns: dict[Term, Floats], start: int) -> dict[Term, slice]:
    spans = {}
    for term, block in columns.items():
        spans[term] = slice(start, start + block.shape[1])
        start += block.shape[1]
    return spans
