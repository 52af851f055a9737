"""Along which line does a share change, and how far does a blend lie off the straight line?

A share's effect runs along the line on which the others keep their proportions to each other
(Cox 1971, Biometrika 58:155), here through the mean of the blends that were baked.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.blends.terms import BlendDesign
from analysis.linear.coding import Term
from analysis.linear.stratum import Model

Floats = NDArray[np.float64]


def model_row(model: Model, of: Callable[[Term], Floats], *, constant: float) -> Floats:
    """One row over the columns of all strata; ``of`` gives a term's part of it."""
    parts = []
    for stratum in model.strata:
        parts += [np.full(1, constant)] if stratum.constant else []
        parts += [of(term) for term in stratum.terms]
    return np.concatenate(parts)


def row_at(design: BlendDesign, model: Model, blend: Floats, beside: Mapping[int, Floats] | None = None) -> Floats:
    """The row of a blend (q,), averaged over blocks and other factors but those whose columns ``beside`` gives."""
    given = beside or {}

    def part(term: Term) -> Floats:
        row = np.array([np.prod([blend[at - design.first] for at in design.in_blend(term)])])
        for at in design.beside_blend(term):
            row = np.outer(row, given.get(at, model.variables[at].average)).ravel()
        return row

    return model_row(model, part, constant=1.0)


def reference_blend(design: BlendDesign) -> Floats:
    """The mean of the blends that were baked (q,)."""
    return np.asarray(np.unique(np.round(design.blends.parts, 9), axis=0).mean(axis=0))


def on_line(reference: Floats, share: int, part: float) -> Floats:
    """The blend with ``part`` of one share, the others in the proportions of ``reference``."""
    rest = 1 - reference[share]
    blend = reference * (1 - part) / rest if rest > 0 else np.zeros_like(reference)
    blend[share] = part
    return np.asarray(blend)


def along_share(design: BlendDesign, model: Model, share: int) -> tuple[Floats, float, float]:
    """(row of the change, lowest part, highest part) of one share, the others in proportion."""
    parts = design.blends.parts
    low, high = float(parts[:, share].min()), float(parts[:, share].max())
    mean = reference_blend(design)
    rows = [row_at(design, model, on_line(mean, share, part)) for part in (low, high)]
    return rows[1] - rows[0], low, high


def even_blend(design: BlendDesign, model: Model, members: Sequence[int]) -> Floats:
    """How far an even blend of the shares at these positions lies off the straight line between them."""
    alone = np.eye(len(design.blends.names))[[at - design.first for at in members]]
    return row_at(design, model, alone.mean(axis=0)) - np.mean([row_at(design, model, one) for one in alone], axis=0)


def change_by(design: BlendDesign, model: Model, beside: int, first: Floats, second: Floats, blend: Floats) -> Floats:
    """What a factor beside the blend does to one blend, from its columns ``first`` to ``second``."""
    return row_at(design, model, blend, {beside: second}) - row_at(design, model, blend, {beside: first})
