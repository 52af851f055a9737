"""How many degrees of freedom does an estimated variance of a contrast amount to?

Satterthwaite's matching of moments by the delta method: df = 2 v^2 / (g' A g) with v the variance of
the contrast, g its gradient by the variance parameters and A their covariance from the observed
information (Kuznetsova, Brockhoff and Christensen, J. Stat. Softw. 82 (13), 2017).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.mixed.criterion import Deviance
from analysis.mixed.kenward_roger import symmetric_inverse
from analysis.mixed.parameters import Layout
from analysis.mixed.terms import FloatArray


@dataclass(frozen=True, eq=False)
class Satterthwaite:
    """``phi`` (p, p); ``slopes`` (k, p, p) its derivatives by the free parameters; ``spread`` (k, k) their
    covariance; ``turn`` (m + 1, k) the derivatives of the variances, residual last, by them."""

    phi: FloatArray
    slopes: FloatArray
    spread: FloatArray
    turn: FloatArray

    @property
    def variances(self) -> FloatArray:
        """Covariance (m + 1, m + 1) of the estimated variances."""
        return self.turn @ self.spread @ self.turn.T


def satterthwaite(at: Deviance, layout: Layout, theta: FloatArray) -> Satterthwaite:
    """Parameters on the edge (theta exactly 0 on the diagonal) are held there."""
    free = theta != 0
    for s, w in zip(layout.slices(), layout.widths, strict=True):
        if w == 2:
            free[s.start + 1] = theta[s.start] > 0
    jacobian = layout.jacobian(theta)[:, free]
    curvature = layout.curvature(at.traces_1 + at.quadratic_1 / at.sigma2)[np.ix_(free, free)]
    count, sigma2 = int(free.sum()), at.sigma2
    hessian = np.empty((count + 1, count + 1))
    hessian[:count, :count] = jacobian.T @ (at.traces_2 + at.quadratic_2 / sigma2) @ jacobian + curvature
    hessian[:count, count] = hessian[count, :count] = -(at.quadratic_1 @ jacobian) / sigma2**2
    hessian[count, count] = -at.df / sigma2**2 + 2 * at.quadratic / sigma2**3
    p = len(at.inverse)
    by_gamma = -sigma2 * at.inverse @ at.jet.cross_1[:, :p, :p] @ at.inverse
    slopes = np.empty((count + 1, p, p))
    slopes[:count] = np.tensordot(jacobian.T, by_gamma, 1)
    slopes[count] = at.inverse
    m = layout.size
    turn = np.zeros((m + 1, count + 1))
    turn[:m, :count] = sigma2 * jacobian
    turn[:m, count] = layout.gamma(theta)
    turn[m, count] = 1.0
    return Satterthwaite(phi=sigma2 * at.inverse, slopes=slopes, spread=2 * symmetric_inverse(hessian), turn=turn)


def degrees(found: Satterthwaite, row: FloatArray) -> float | None:
    """df of the contrast ``row`` (p,); None when its variance is known without error."""
    variance = float(row @ found.phi @ row)
    gradient = (found.slopes @ row) @ row
    spread = float(gradient @ found.spread @ gradient)
    return 2 * variance**2 / spread if spread > 0 else None


def many(found: Satterthwaite, rows: FloatArray, estimates: FloatArray) -> tuple[float, float | None]:
    """(F, denominator df) for ``rows`` (q, p) of full rank: the contrasts are turned until they are independent."""
    q = len(rows)
    values, vectors = np.linalg.eigh(rows @ found.phi @ rows.T)
    turned, size = vectors.T @ rows, vectors.T @ estimates
    f = float((size**2 / values).sum() / q)
    all_df = [degrees(found, row) for row in turned]
    if q == 1:
        return f, all_df[0]
    known = [df for df in all_df if df is not None]
    if len(known) < q:
        return f, None
    if max(known) - min(known) < 1e-6 * max(known):
        return f, float(np.mean(known))
    if min(known) <= 2:
        return f, 2.0
    total = sum(df / (df - 2) for df in known)
    return f, 2 * total / (total - q) if total - q > 1e-9 else None
