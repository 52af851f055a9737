"""How sure are the coefficients when the variances are themselves only estimated?

Kenward and Roger, Biometrics 53 (1997) 983-997: the covariance of the coefficients enlarged for the
estimated variances, and an F with a scale and denominator degrees of freedom that match its first two
moments. Expected information, variances linear in V (so that no second derivatives of V are needed).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.mixed.jets import Jet
from analysis.mixed.terms import FloatArray


@dataclass(frozen=True, eq=False)
class KenwardRoger:
    """``phi`` (p, p) naive and ``adjusted`` covariance; ``first`` (m, p, p) = X'(dV^-1)X; ``spread``
    (m, m) the covariance of the estimated variances, the residual last; None when it is singular."""

    phi: FloatArray
    adjusted: FloatArray
    first: FloatArray
    spread: FloatArray


def natural(jet: Jet, gamma: FloatArray, p: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """First and second derivatives of X'V^-1X and traces tr(V^-1 V_i V^-1 V_j), residual last, at sigma2 = 1.

    The residual's own V is W^-1 = V - sum gamma_a V_a, so its derivatives follow from the others'.
    """
    m = len(gamma)
    s, s1, s2 = jet.cross[:p, :p], jet.cross_1[:, :p, :p], jet.cross_2[:, :, :p, :p]
    first, second, traces = np.empty((m + 1, p, p)), np.empty((m + 1, m + 1, p, p)), np.empty((m + 1, m + 1))
    g1 = np.tensordot(gamma, s1, 1)
    g2 = np.tensordot(gamma, s2, 1)  # (m, p, p)
    gg2 = np.tensordot(gamma, g2, 1)
    first[:m], first[m] = s1, -s - g1
    second[:m, :m] = s2
    second[:m, m] = second[m, :m] = -2 * s1 - g2
    second[m, m] = 2 * s + 4 * g1 + gg2
    along = jet.log_det_2 @ gamma
    traces[:m, :m] = -jet.log_det_2
    traces[:m, m] = traces[m, :m] = jet.log_det_1 + along
    traces[m, m] = jet.rows - 2 * gamma @ jet.log_det_1 - gamma @ along
    return first, second, traces


def kenward_roger(jet: Jet, gamma: FloatArray, sigma2: float, inverse: FloatArray) -> KenwardRoger:
    """``inverse`` is (X'V^-1X)^-1 at residual variance 1."""
    p, count = len(inverse), len(gamma) + 1
    first, second, traces = natural(jet, gamma, p)
    turned = first @ inverse  # (m, p, p)
    cross = turned.reshape(count, -1) @ turned.transpose(0, 2, 1).reshape(count, -1).T
    information = (traces - (second * inverse).sum(axis=(2, 3)) + cross) / 2
    spread = symmetric_inverse(information)
    # sum_ij W_ij (Q_ij - P_i Phi P_j); second = Q_ij + Q_ji.
    inner = np.tensordot(spread, second, ([0, 1], [0, 1])) / 2
    mixed = np.tensordot(spread, first, 1)
    inner = inner - (turned @ mixed).sum(axis=0)
    adjusted = inverse + 2 * inverse @ inner @ inverse
    adjusted = (adjusted + adjusted.T) / 2
    return KenwardRoger(
        phi=sigma2 * inverse, adjusted=sigma2 * adjusted, first=first / sigma2**2, spread=spread * sigma2**2
    )


def symmetric_inverse(matrix: FloatArray) -> FloatArray:
    """Inverse by eigenvalues of the matrix scaled to a unit diagonal; directions without information are left out."""
    scale = np.sqrt(np.maximum(np.diag(matrix), 1e-300))
    values, vectors = np.linalg.eigh(matrix / np.outer(scale, scale))
    keep = values > 1e-12 * max(float(values[-1]), 1e-300)
    half = vectors[:, keep] / np.sqrt(values[keep]) / scale[:, None]
    return np.asarray(half @ half.T, dtype=np.float64)


def _of_one(kr: KenwardRoger, row: FloatArray) -> float | None:
    """df of one contrast: A1 = A2 = A, and all of the general case comes to 2 / A and a scale of 1."""
    turned = kr.phi @ row
    traces = (kr.first @ turned) @ turned / (row @ turned)
    a = float(traces @ kr.spread @ traces)
    return 2 / a if a > 1e-14 else None


def moments(kr: KenwardRoger, rows: FloatArray) -> tuple[float, float | None]:
    """(lambda, denominator df) for ``rows`` (q, p) of full rank q; df None when it is without bound."""
    q = len(rows)
    if q == 1:
        return 1.0, _of_one(kr, rows[0])
    theta = rows.T @ np.linalg.solve(rows @ kr.phi @ rows.T, rows)
    pieces = theta @ kr.phi @ kr.first @ kr.phi  # (m, p, p)
    count = len(pieces)
    traces = np.trace(pieces, axis1=1, axis2=2)
    a1 = float(traces @ kr.spread @ traces)
    pairs = pieces.reshape(count, -1) @ pieces.transpose(0, 2, 1).reshape(count, -1).T
    a2 = float((kr.spread * pairs).sum())
    if a2 <= 1e-14:
        return 1.0, None
    b = (a1 + 6 * a2) / (2 * q)
    g = ((q + 1) * a1 - (q + 4) * a2) / ((q + 2) * a2)
    base = 3 * q + 2 * (1 - g)
    v0, v1, v2 = 1 + g / base * b, 1 - (q - g) / base * b, 1 - (q + 2 - g) / base * b
    left = 1 - a2 / q
    ratio = 1.0 if abs(left) < 1e-12 and abs(v1) < 1e-12 else (left / v1 if v1 else np.inf)
    rho = ratio**2 * v0 / (v2 * q) if v2 else np.inf
    if q * rho == 1:
        return 1.0, None
    df = 4 + (q + 2) / (q * rho - 1)  # 4 where rho is without bound, below it where q rho < 1
    if df <= 0:
        return 1.0, 1.0
    # Near 2 df the scale has no meaning; as in Halekoh and Hojsgaard (J. Stat. Softw. 59 (9), 2014) it is 1 there.
    scale = 1.0 if abs(df - 2) < 0.1 else df * left / (df - 2)
    return float(scale), float(df)
