"""What are the coefficients of the second-order model, for coded and for real settings?"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from analysis.linear.distributions import f_tail
from analysis.results import Check
from analysis.surfaces.quadratic import Quadratic
from analysis.surfaces.results import JointTest, SurfaceCoefficient

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


def joint_tests(quadratic: Quadratic, checks: Sequence[Check]) -> tuple[JointTest, ...]:
    """All amounts, all products of pairs and all squares together, each beside the rest (F of Wald's kind), and the
    lack of fit where it was tested."""
    k, found = quadratic.k, []
    kinds = {
        "first order": range(1, 1 + k),
        "pairs": range(1 + 2 * k, len(quadratic.beta)),
        "bends": range(1 + k, 1 + 2 * k),
    }
    for name, places in kinds.items():
        at = list(places)
        if quadratic.covariance is None or not quadratic.df:
            break
        spread, beta = quadratic.covariance[np.ix_(at, at)], quadratic.beta[at]
        rank = int(np.linalg.matrix_rank(spread, hermitian=True))
        if rank < len(at):
            continue  # not all of them are in the model
        value = float(beta @ np.linalg.solve(spread, beta)) / rank
        p = f_tail(value, rank, quadratic.df)
        found.append(JointTest(term=name, df=rank, df_error=quadratic.df, value=value, p=p))
    return (*found, *lack_of_fit(checks))


def lack_of_fit(checks: Sequence[Check]) -> tuple[JointTest, ...]:
    """The test behind the check of that name, if it could be made."""
    facts = next((dict(check.facts) for check in checks if check.check == "lack of fit"), {})
    if not facts.get("tested") or facts.get("f") is None:
        return ()
    df, df_error = int(facts["df"]), float(facts["df_error"])
    return (JointTest(term="lack of fit", df=df, df_error=df_error, value=float(facts["f"]), p=float(facts["p"])),)
