"""What do the bakes say about one curve, with blocks and the other curves taken out?

Everything about one curve depends on its bakes only through a weight matrix over its doses and
a pull on each dose. The blocks are taken out exactly, other curves that share blocks with it to
first order (by their tangents at the fit).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.dose_response.curves import ShapeFit, joint_jacobian
from analysis.dose_response.shape import Array


@dataclass(frozen=True, eq=False)
class OneCurve:
    """``weights`` (k, k); ``along`` (n, k) turns whitened bakes into pulls; ``inside`` (n,) is the whitened curve."""

    fit: ShapeFit
    weights: Array
    along: Array
    inside: Array

    def whitened(self, left: Array) -> Array:
        """The curve's own bakes: its whitened heights with leftovers (n,) on top."""
        return self.inside + self.fit.layout.whiten(left)

    def pull(self, whitened: Array) -> Array:
        """Pulls (..., k) of whitened bakes (..., n)."""
        return np.asarray(whitened @ self.along)


def single(fit: ShapeFit, curve: int) -> OneCurve:
    layout, size = fit.layout, fit.shape.size
    part = layout.parts[curve]
    inside = np.zeros(layout.n)
    inside[part.rows] = fit.mean(curve, layout.dose[part.rows])
    spread = np.zeros((layout.n, part.doses.size))
    spread[part.rows, part.which] = 1.0
    spread = layout.whiten(spread)
    along = spread
    if layout.coupled:
        slopes = joint_jacobian(layout, fit.shape, np.concatenate([fit.inner.ravel(), fit.block_effects]))
        others = np.ones(slopes.shape[1], dtype=bool)
        others[curve * size : (curve + 1) * size] = False
        nuisance = layout.whiten(slopes[:, others])
        if nuisance.shape[1]:
            nuisance = nuisance / np.maximum(np.linalg.norm(nuisance, axis=0), 1e-300)
            left, values, _ = np.linalg.svd(nuisance, full_matrices=False)
            q = left[:, values > 1e-10 * values[0]]
            along = spread - q @ (q.T @ spread)
    weights = spread.T @ along
    return OneCurve(fit, (weights + weights.T) / 2, along, np.asarray(layout.whiten(inside)))
