"""How far may a curve with a kink be moved before the bakes rule it out?

The residual sum of a plateau has its own valleys between the doses, so that stepping away
from the best breakpoint can stop in the wrong one. Here the breakpoint runs over a fine
grid; with it fixed the rest is linear, and what each breakpoint allows is known in closed
form. The interval reaches over all that any breakpoint allows (profile-F limits, exact to the grid).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.dose_response.curves import ShapeFit, profile
from analysis.dose_response.one_curve import single
from analysis.dose_response.profiles import Ends, allowed
from analysis.dose_response.shape import Array

_GRID = 4000


@dataclass(frozen=True, eq=False)
class Allowed:
    """Breakpoints (g,) that the bakes allow, the best linear parameters (g, 2) at each, their covariance
    in units of sigma² (g, 2, 2), and how much the residual sum may still rise (g,)."""

    theta: Array
    beta: Array
    inverse: Array
    room: Array
    ends: Ends


def allowed_breakpoints(fit: ShapeFit, curve: int, confidence: float) -> Allowed:
    """All breakpoints of one curve between its second and its last dose that are not refused."""
    shape, part, centre = fit.shape, fit.layout.parts[curve], fit.layout.centre
    own = single(fit, curve)
    weights, pull = own.weights, own.pull(own.whitened(fit.layout.y - fit.fitted))
    theta = np.unique(
        np.concatenate([np.linspace(part.doses[1], part.doses[-1], _GRID), part.doses[1:], [fit.inner[curve, 0]]])
    )
    basis = np.asarray(shape.basis(part.doses, theta[:, None], centre), dtype=float)
    beta, explained = profile(basis, weights, pull)
    at_best = np.asarray(shape.basis(part.doses, fit.inner[curve, :1][None, :], centre), dtype=float)
    room = allowed(fit, confidence) - fit.rss - (profile(at_best, weights, pull)[1][0] - explained)
    kept = np.isfinite(explained) & (room >= 0)
    normal = np.einsum("gki,kl,glj->gij", basis[kept], weights, basis[kept], optimize=True)
    ends = Ends(_edge(theta, room, 1), _edge(theta, room, -1))
    return Allowed(theta[kept], beta[kept], np.linalg.inv(normal), room[kept], ends)


def _edge(values: Array, room: Array, way: int) -> float | None:
    """Where ``room`` first becomes positive, coming from one end; None when it is so at the end itself."""
    values, room = values[::way], np.where(np.isfinite(room), room, -np.inf)[::way]
    first = int((room >= 0).argmax())
    if first == 0:
        return None
    below, above = room[first - 1], room[first]
    share = -below / (above - below) if np.isfinite(below) and above > below else 1.0
    return float(values[first - 1] + share * (values[first] - values[first - 1]))


def linear_ends(found: Allowed, row: Callable[[float], Array]) -> Ends:
    """A number that is ``row`` (theta) @ (level, slope): its range over all that is allowed."""
    rows = np.stack([row(float(theta)) for theta in found.theta])
    middle = np.einsum("gi,gi->g", rows, found.beta)
    reach = np.sqrt(found.room * np.einsum("gi,gij,gj->g", rows, found.inverse, rows))
    return Ends(float((middle - reach).min()), float((middle + reach).max()))


def solved_ends(found: Allowed, below: Callable[[float], Array], wanted: float, values: Array) -> Ends:
    """Doses among ``values`` (rising) at which the curve may lie ``wanted`` above its plateau.

    ``below`` (dose) gives the height (g,) there per unit of slope, for every breakpoint allowed.
    """
    slope, spread = found.beta[:, 1], found.inverse[:, 1, 1]
    room = np.empty(values.size)
    for i, value in enumerate(values):
        across = below(float(value))
        room[i] = np.max(found.room * across**2 * spread - (across * slope - wanted) ** 2)
    if not np.any(room >= 0):
        return Ends(None, None)
    return Ends(_edge(values, room, 1), _edge(values, room, -1))
