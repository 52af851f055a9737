"""What does the likelihood need to know of the readings, and how does it change with the variances?

With V = W^-1 + sum_a gamma_a V_a (relative to the residual variance, linear in gamma) and
M = [X, y] of c columns, everything asked of a mixed model follows from log|V| and M'V^-1 M with
their first and second derivatives by gamma: deviance, gradient, Hessian, expected information
(tr V^-1 V_a V^-1 V_b = -d2 log|V|) and the matrices of Kenward and Roger (1997).
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.mixed.terms import FloatArray


@dataclass(frozen=True, eq=False)
class Jet:
    """Value and derivatives at one gamma (m,); ``rows`` is n."""

    log_det: float
    log_det_1: FloatArray  # (m,)
    log_det_2: FloatArray  # (m, m)
    cross: FloatArray  # (c, c)
    cross_1: FloatArray  # (m, c, c)
    cross_2: FloatArray  # (m, m, c, c)
    rows: int
