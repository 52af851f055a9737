"""How much of the variation does each term account for?

Type 1 takes the terms in their order; type 2 each after all others that do not
contain it; type 3 each after all others whatever. Type 3 is only meaningful with
columns that add to zero, which ``coding`` always makes.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.estimates import Test
from analysis.linear.coding import Term
from analysis.linear.distributions import f_tail
from analysis.linear.least_squares import explained
from analysis.linear.stratum import Stratum

Floats = NDArray[np.float64]
SquaresType = Literal[1, 2, 3]

DISAGREE = (0.05, 0.10)  # a term below the first in one type and above the second in the other


def sums_of_squares(stratum: Stratum, kind: SquaresType) -> dict[Term, float]:
    """Sum of squares of each term of the stratum."""
    if kind == 1 or is_orthogonal(stratum):
        found = {}
        for term, span in stratum.spans.items():
            along = stratum.fit.q[:, span].T @ _readings(stratum, term, kind)
            found[term] = float(along @ along)
        return found
    return {term: _after_others(stratum, term, kind) for term in stratum.terms}


def _after_others(stratum: Stratum, term: Term, kind: SquaresType) -> float:
    others = [other for other in stratum.terms if other != term and not (kind == 2 and other.contains(term))]
    readings = _readings(stratum, term, kind)
    return explained(stratum.columns(others), stratum.fit.x[:, stratum.spans[term]], readings)


def _readings(stratum: Stratum, term: Term, kind: SquaresType) -> Floats:
    """Types 1 and 2 leave terms that contain this one out of account, those of finer strata too."""
    return stratum.fit.y if kind == 3 else stratum.readings_for(term)


def is_orthogonal(stratum: Stratum) -> bool:
    """Are the columns of different terms at right angles, so that all three types agree?"""
    x = stratum.fit.x
    if not x.shape[1]:
        return True
    products = np.abs(x.T @ x)
    scale = np.sqrt(np.diag(products))
    products /= np.outer(scale, scale)
    for span in stratum.spans.values():
        products[span, span] = 0.0
    if stratum.constant:
        products[0, 0] = 0.0
    return bool(products.max() < 1e-10)


def tests(stratum: Stratum, kind: SquaresType) -> list[Test]:
    """One line for each term, judged against the error of its stratum."""
    mean_sq, df_error = stratum.mean_sq, stratum.fit.df
    lines = []
    for term, sum_sq in sums_of_squares(stratum, kind).items():
        span = stratum.spans[term]
        df = span.stop - span.start
        value = sum_sq / df / mean_sq if mean_sq else None
        lines.append(
            Test(
                term=term.name,
                df=df,
                sum_sq=sum_sq,
                mean_sq=sum_sq / df,
                df_error=float(df_error) if mean_sq else None,
                value=value,
                p=None if value is None else f_tail(value, df, df_error),
                stratum=stratum.name,
            )
        )
    return lines


def disagreements(stratum: Stratum) -> list[tuple[str, float, float]]:
    """(term, p of type 2, p of type 3) where the two types would lead to different talk."""
    if stratum.mean_sq is None or is_orthogonal(stratum):
        return []
    low, high = DISAGREE
    found = []
    for second, third in zip(tests(stratum, 2), tests(stratum, 3), strict=True):
        if second.p is None or third.p is None:
            continue
        if min(second.p, third.p) < low and max(second.p, third.p) > high:
            found.append((second.term, second.p, third.p))
    return found
