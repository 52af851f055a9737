"""Along which line does a share change, and how far does a blend lie off the straight line?

A share's effect runs along the line on which the others keep their proportions to each other
(Cox 1971, Biometrika 58:155), here through the mean of the blends that were baked.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.blends.terms import BlendDesign
from analysis.linear.coding import Term, term_row
from analysis.linear.stratum import Model

Floats = NDArray[np.float64]


def model_row(model: Model, of: Callable[[Term], Floats], *, constant: float) -> Floats:
    """One row over the columns of all strata; ``of`` gives a term's part of it."""
    parts = []
    for stratum in model.strata:
        parts += [np.full(1, constant)] if stratum.constant else []
        parts += [of(term) for term in stratum.terms]
    return np.concatenate(parts)


def row_at(design: BlendDesign, model: Model, blend: Floats) -> Floats:
    """The row of a blend (q,), averaged over blocks and other factors."""

    def part(term: Term) -> Floats:
        if not design.is_share(term):
            return term_row(model.variables, term, {})
        return np.array([np.prod([blend[at - design.first] for at in term.members])])

    return model_row(model, part, constant=1.0)


def along_share(design: BlendDesign, model: Model, share: int) -> tuple[Floats, float, float]:
    """(row of the change, lowest part, highest part) of one share, the others in proportion."""
    parts = design.blends.parts
    low, high = float(parts[:, share].min()), float(parts[:, share].max())
    mean = np.unique(np.round(parts, 9), axis=0).mean(axis=0)
    rest = 1 - mean[share]
    rows = []
    for part in (low, high):
        blend = mean * (1 - part) / rest if rest > 0 else np.zeros_like(mean)
        blend[share] = part
        rows.append(row_at(design, model, blend))
    return rows[1] - rows[0], low, high


def even_blend(design: BlendDesign, model: Model, members: Sequence[int]) -> Floats:
    """How far an even blend of the shares at these positions lies off the straight line between them."""

    def part(term: Term) -> Floats:
        inside = design.is_share(term) and term.order > 1 and set(term.members) <= set(members)
        return np.array([float(len(members)) ** -term.order]) if inside else 0 * term_row(model.variables, term, {})

    return model_row(model, part, constant=0.0)
