"""Which bakes are odd, when one odd bake may hide another?

Bakes are set aside one after the other, each time the one that lies furthest out of what is left, and counted
as odd up to the last that is too far out for chance (Rosner 1983, Technometrics 25:165, with externally
studentised residuals and Bonferroni's allowance for the bakes that are left).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.linear.distributions import t_tails
from analysis.linear.least_squares import Fit, least_squares

Floats = NDArray[np.float64]

DF_FOR_EACH = 5  # error df it takes to set one more bake aside
MOST = 6
ROOM = 1e-8


def odd_in_turn(fit: Fit, alarm: float) -> list[int]:
    """Positions of the odd bakes, in the order in which they were set aside."""
    steps = min(MOST, fit.df // DF_FOR_EACH)
    kept = np.arange(len(fit.y))
    aside: list[int] = []
    odd = 0
    for step in range(1, steps + 1):
        found = _furthest(fit, kept)
        if found is None:
            break
        at, p = found
        aside.append(int(kept[at]))
        kept = np.delete(kept, at)
        if p < alarm:
            odd = step
    return aside[:odd]


def _furthest(fit: Fit, kept: NDArray[np.int64]) -> tuple[int, float] | None:
    """(position among ``kept``, p) of the bake that lies furthest out."""
    x = fit.x[kept]
    if np.linalg.matrix_rank(x) < x.shape[1]:
        return None
    again = least_squares(x, fit.y[kept])
    room = 1 - again.leverage
    usable = np.flatnonzero(room > ROOM)
    if again.df < 3 or not len(usable) or again.sum_sq <= 0:
        return None
    e = again.residuals[usable]
    rest = (again.sum_sq - e * e / room[usable]) / (again.df - 1)
    if np.any(rest <= 1e-12 * again.sum_sq / again.df):
        return None
    t = np.abs(e) / np.sqrt(rest * room[usable])
    at = int(t.argmax())
    return int(usable[at]), min(1.0, len(usable) * t_tails(float(t[at]), again.df - 1))
