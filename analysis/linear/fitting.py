"""How are the chosen terms fitted to the readings?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.linear.coding import Term, Variable, term_columns
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
    """The finest stratum first, so that the coarser ones are rid of what its terms add to them.

    ``raw`` are the readings as they came, ``offset`` what was taken off.
    """
    floor = max(NOTHING * float(np.ptp(raw)), ROUNDING * float(np.abs(raw).max()))
    if ground.weights is not None:
        floor *= float(np.sqrt(ground.weights.max()))
    found: list[Stratum] = []  # coarsest first
    for place, y in reversed(list(enumerate(ground.readings()))):
        own = {term: columns for term, (at, columns) in selection.columns.items() if at == place}
        carried = [_carried(variables, finer, ground, place) for finer in found]
        finer = {
            term: columns[:, stratum.spans[term]] @ stratum.fit.coefficients[stratum.spans[term]]
            for stratum, columns in zip(found, carried, strict=True)
            for term in stratum.terms
        }
        constant = place == 0
        parts = [ground.constant()] if constant else [np.zeros((len(y), 0))]
        rest = y - sum(finer.values(), np.zeros(len(y)))
        fit = least_squares(np.hstack([*parts, *own.values()]), rest, absorbed=ground.absorbed[place])
        noiseless = fit.df > 0 and np.sqrt(fit.sum_sq / fit.df) <= floor
        shifts = tuple(fit.inverse @ (fit.q.T @ columns) for columns in carried)
        spans = _spans(own, int(constant))
        stratum = Stratum(ground.names[place], tuple(own), spans, fit, constant, bool(noiseless), finer, shifts)
        found.insert(0, stratum)
    return Model(tuple(variables), tuple(found), offset)


def _carried(variables: Sequence[Variable], finer: Stratum, ground: Ground, place: int) -> Floats:
    """The columns of a finer stratum's terms as the coarser one at ``place`` sees them."""
    parts = [ground.parts(term_columns(variables, term))[place] for term in finer.terms]
    return np.hstack([np.zeros((ground.rows[place], 0)), *parts])


def _spans(columns: dict[Term, Floats], start: int) -> dict[Term, slice]:
    spans = {}
    for term, block in columns.items():
        spans[term] = slice(start, start + block.shape[1])
        start += block.shape[1]
    return spans
