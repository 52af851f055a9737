"""How well do these variances explain the readings? The profiled deviance with its derivatives.

REML: log|V| + log|X'V^-1 X| + (n - p) (1 + log(2 pi Q / (n - p))) with Q = y'Py, everything relative
to the residual variance (Bates, Maechler, Bolker and Walker 2015, eq. 42); ML leaves the second
term out and has n for n - p.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.mixed.jets import Jet
from analysis.mixed.terms import FloatArray


@dataclass(frozen=True, eq=False)
class Deviance:
    """``value`` with gradient (m,) and Hessian (m, m) by gamma; ``expected`` is the Fisher information
    of gamma with the residual variance profiled out, on the scale of the Hessian."""

    value: float
    gradient: FloatArray
    hessian: FloatArray
    expected: FloatArray
    quadratic: float  # Q = y'Py
    quadratic_1: FloatArray  # (m,)
    quadratic_2: FloatArray  # (m, m)
    traces_1: FloatArray  # tr(P V_a) for REML, tr(V^-1 V_a) for ML
    traces_2: FloatArray  # -tr(P V_a P V_b), or -tr(V^-1 V_a V^-1 V_b)
    df: int
    coefficients: FloatArray  # (p,)
    inverse: FloatArray  # (X'V^-1 X)^-1
    jet: Jet

    @property
    def sigma2(self) -> float:
        return self.quadratic / self.df


def deviance(jet: Jet, *, restricted: bool = True) -> Deviance:
    """From M = [X, y]: the last column of ``jet.cross`` belongs to the readings."""
    p = len(jet.cross) - 1
    m = len(jet.log_det_1)
    s, s1, s2 = jet.cross[:p, :p], jet.cross_1[:, :p, :p], jet.cross_2[:, :, :p, :p]
    root = np.linalg.cholesky(s) if p else np.zeros((0, 0))
    half = np.linalg.solve(root, np.eye(p)) if p else root
    inverse = np.asarray(half.T @ half, dtype=np.float64)
    beta = inverse @ jet.cross[:p, p]
    v = np.append(-beta, 1.0)
    moved = jet.cross_1 @ v  # (m, c)
    quadratic = float(v @ jet.cross @ v)
    q1 = moved @ v
    q2 = (jet.cross_2 @ v) @ v - 2 * moved[:, :p] @ inverse @ moved[:, :p].T
    log_det, t1, t2, df = jet.log_det, jet.log_det_1, jet.log_det_2, jet.rows
    if restricted:
        df -= p
        log_det = log_det + 2 * float(np.log(np.diag(root)).sum())
        turned = inverse @ s1  # (m, p, p)
        t1 = t1 + np.trace(turned, axis1=1, axis2=2)
        pairs = turned.reshape(m, p * p) @ turned.transpose(0, 2, 1).reshape(m, p * p).T
        t2 = t2 + (s2 * inverse).sum(axis=(2, 3)) - pairs
    value = log_det + df * (1 + np.log(2 * np.pi * quadratic / df)) if quadratic > 0 else -np.inf
    safe = quadratic if quadratic > 0 else 1.0
    gradient = t1 + df * q1 / safe
    hessian = t2 + df * (q2 / safe - np.outer(q1, q1) / safe**2)
    expected = -t2 - np.outer(t1, t1) / df
    return Deviance(
        value=float(value), gradient=gradient, hessian=hessian, expected=expected, quadratic=quadratic,
        quadratic_1=q1, quadratic_2=q2, traces_1=t1, traces_2=t2, df=df, coefficients=beta,
        inverse=inverse, jet=jet,
    )  # fmt: skip
