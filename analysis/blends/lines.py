"""Along which line does a share change, and how far does a blend lie off the straight line?

A share's effect runs along the line on which the others keep their proportions to each other
(Cox 1971, Biometrika 58:155), here through the mean blend of the bakes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.blends.terms import BlendDesign, BlendTerm

Floats = NDArray[np.float64]


def along_share(design: BlendDesign, share: int) -> tuple[Floats, float, float]:
    """(weights on the coefficients, lowest part, highest part) of the change of one share."""
    low, high = float(design.parts[:, share].min()), float(design.parts[:, share].max())
    distinct = np.unique(np.round(design.parts, 12), axis=0)
    mean = distinct.mean(axis=0)
    rows = []
    for part in (low, high):
        rest = 1 - mean[share]
        blend = mean * (1 - part) / rest if rest > 0 else np.zeros_like(mean)
        blend[share] = part
        rows.append(row_at(design, blend))
    return rows[1] - rows[0], low, high


def row_at(design: BlendDesign, blend: Floats) -> Floats:
    """The model's row at a blend (q,), averaged over blocks and other factors."""
    row = np.zeros(design.matrix.shape[1])
    for term, span in zip(design.terms, design.spans(), strict=True):
        if term.shares:
            row[span] = blend[list(term.shares)].prod()
    return row


def even_blend(design: BlendDesign, term: BlendTerm) -> Floats:
    """How far an even blend of the term's shares lies off the straight line between them."""
    row = np.zeros(design.matrix.shape[1])
    size = len(term.shares)
    for other, span in zip(design.terms, design.spans(), strict=True):
        if len(other.shares) > 1 and set(other.shares) <= set(term.shares):
            row[span] = float(size) ** -len(other.shares)
    return row
