"""What are the coefficients of the second-order model, for coded and for real settings?"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from analysis.surfaces.quadratic import Quadratic
from analysis.surfaces.results import SurfaceCoefficient

Floats = NDArray[np.float64]


def surface_coefficients(quadratic: Quadratic) -> tuple[SurfaceCoefficient, ...]:
    """Intercept, amounts, squares, products; standard errors None without an error to judge by."""
    to_real = real_from_coded(quadratic)
    real = to_real @ quadratic.beta
    coded_se, real_se = quadratic.se(np.eye(len(real))), quadratic.se(to_real)
    names = quadratic.coding.names
    terms = ["intercept", *names, *(f"{name}^2" for name in names), *(":".join(p) for p in combinations(names, 2))]
    return tuple(
        SurfaceCoefficient(
            term=term,
            coded=float(quadratic.beta[at]),
            coded_se=None if coded_se is None else float(coded_se[at]),
            real=float(real[at]),
            real_se=None if real_se is None else float(real_se[at]),
        )
        for at, term in enumerate(terms)
    )


def real_from_coded(quadratic: Quadratic) -> Floats:
    """(p, p): coefficients for settings x from those for z = (x - middle) / half."""
    k, size = quadratic.k, len(quadratic.beta)
    scale, shift = 1 / quadratic.coding.half, -quadratic.coding.middle / quadratic.coding.half
    found = np.zeros((size, size))
    found[0, 0] = 1.0
    for i in range(k):
        found[[0, 1 + i], 1 + i] = shift[i], scale[i]
        found[[0, 1 + i, 1 + k + i], 1 + k + i] = shift[i] ** 2, 2 * scale[i] * shift[i], scale[i] ** 2
    for at, (i, j) in enumerate(combinations(range(k), 2), start=1 + 2 * k):
        found[[0, 1 + i, 1 + j, at], at] = (
            shift[i] * shift[j],
            scale[i] * shift[j],
            scale[j] * shift[i],
            scale[i] * scale[j],
        )
    return found
