"""Which edges of the hidden scale belong to which score, and how do settings move them?

Parametrisation: F^-1 P(Y <= j) = theta_j - x'beta, so that a positive beta raises the scores. A
nominal term moves each edge on its own (theta_j + x'gamma_j), which drops proportional odds.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.scores.links import Link, quantile
from analysis.scores.problem import Ordered, Problem

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


def ordered_problem(
    y: Integers,
    x: Floats,
    w: Floats,
    *,
    scores: int,
    link: Link,
    nominal: Sequence[int] = (),
    scale: Sequence[int] = (),
) -> Problem:
    """Rows as a problem. ``y`` (n,) holds 0 ... scores - 1, ``x`` (n, p) no constant, ``w`` (n,) weights.

    ``nominal`` and ``scale`` name columns of x; nominal ones leave beta and join the edges.
    Parameters: thetas, gammas (edge by edge within a column), betas of the other columns; then the
    logs of the spread.
    """
    edges = scores - 1
    upper, lower = _edges(y, edges), _edges(y - 1, edges)
    own = [column for column in range(x.shape[1]) if column not in nominal]
    parts_a, parts_b = [upper], [lower]
    for column in nominal:
        parts_a.append(upper * x[:, [column]])
        parts_b.append(lower * x[:, [column]])
    shown = x[:, own]
    top, bottom = y == edges, y == 0
    # An infinite edge does not move: its row of the design is empty.
    parts_a.append(np.where(top[:, None], 0.0, -shown))
    parts_b.append(np.where(bottom[:, None], 0.0, -shown))
    return Problem(
        kind=Ordered(link, w),
        a=np.hstack(parts_a),
        b=np.hstack(parts_b),
        a_offset=np.where(top, np.inf, 0.0),
        b_offset=np.where(bottom, -np.inf, 0.0),
        scale=x[:, list(scale)] if scale else None,
    )


def _edges(index: Integers, edges: int) -> Floats:
    """One-hot rows (n, edges); empty outside."""
    return np.asarray(index[:, None] == np.arange(edges)[None, :], dtype=np.float64)


def first_guess(y: Integers, w: Floats, *, scores: int, link: Link, width: int) -> Floats:
    """Edges from the shares of the scores, effects 0; ``width`` parameters in all."""
    counts = np.bincount(y, weights=w, minlength=scores) + 0.5
    start = np.zeros(width)
    start[: scores - 1] = quantile(link, np.cumsum(counts)[:-1] / counts.sum())
    return start
