"""Is a straight line enough?

Orthogonal polynomials over the values of an amount, made by QR of Chebyshev columns
on -1 … 1, which stay independent where raw powers do not.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def orthogonal_polynomials(values: Floats, degree: int) -> Floats:
    """Columns (n, degree) of the linear, quadratic … trend, orthonormal and free of the mean."""
    middle, half = (values.min() + values.max()) / 2, (values.max() - values.min()) / 2
    columns = np.polynomial.chebyshev.chebvander((values - middle) / half, degree)
    return np.linalg.qr(columns)[0][:, 1:]
