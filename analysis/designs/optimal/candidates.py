"""Which doses lie on the limits, where a grid of levels would miss them?

Amounts under linear constraints fill a region whose corners, middles of edges and faces, and middle
are worth choosing from (McLean and Anderson 1966, Technometrics 8, 447). It is cut out as a region
of blends is: each amount a share of a whole that is never used up, what is left over the last share.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from analysis.designs.blend_region import region_points
from analysis.designs.columns import Floats
from analysis.designs.constraints import Constraint
from analysis.designs.polytope import Polytope, polytope
from analysis.errors import PlanError

DIGITS = 12  # of a dose


def limit_points(
    ranges: Mapping[str, tuple[float, float]], constraints: Sequence[Constraint]
) -> tuple[dict[str, float], ...]:
    """Points of the amounts that linear constraints tie to each other: name -> dose, these constraints kept.

    ``ranges``: name -> (low, high) of amounts that may take any dose between. Constraints that are not
    linear, or that speak of other factors too, are left to who chooses. Empty when nothing is tied,
    when nothing is left, or when there are more corners than can be gone through.
    """
    ties = [each for each in constraints if each.coefficients and each.factors <= set(ranges)]
    names = [name for name in ranges if any(each.coefficients.get(name) for each in ties if each.coefficients)]
    if not names:
        return ()
    low, high = np.array([ranges[name] for name in names]).T
    # A power of ten at least as large as the number of amounts, so that lows and highs stay round numbers.
    whole = 10.0 ** np.ceil(np.log10(len(names)))
    normals, bounds = _bounds(names, low, (high - low) * whole, 1 / whole, ties)
    try:
        region = _exact(polytope(normals, bounds), normals, bounds)
    except PlanError:  # too many corners: the grid of levels has to do
        return ()
    if not len(region.corners):
        return ()
    parts = np.round(region_points(region, 2)[:, :-1] * whole, DIGITS) + 0.0  # of each range, 0 to 1
    doses = low + parts * (high - low)
    return tuple(
        {name: float(f"{dose:.{DIGITS}g}") for name, dose in zip(names, point, strict=True)} for point in doses
    )


def _bounds(
    names: Sequence[str], low: Floats, scale: Floats, most: float, ties: Sequence[Constraint]
) -> tuple[Floats, Floats]:
    """(m, q + 1) and (m,): lows, highs and ties of the q amounts, as shares from 0 to ``most``."""
    one = np.eye(len(names), len(names) + 1)
    rows, limits = [one, -one], [np.full(len(names), most), np.zeros(len(names))]
    for tie in ties:
        assert tie.coefficients is not None
        assert tie.bound is not None
        weights = np.array([tie.coefficients.get(name, 0.0) for name in names])
        if weights.any():
            rows.append(np.append(weights * scale, 0.0)[None, :])
            limits.append(np.array([tie.bound - weights @ low]))
    normals, bounds = np.vstack(rows), np.concatenate(limits)
    length = np.linalg.norm(normals, axis=1)
    return normals / length[:, None], bounds / length


def _exact(region: Polytope, normals: Floats, bounds: Floats) -> Polytope:
    """The same region with its corners solved for again: those of ``polytope`` are rounded, and a limit is a limit."""
    ones = np.ones(normals.shape[1])
    corners = [
        np.linalg.lstsq(np.vstack([normals[met], ones]), np.append(bounds[met], 1.0), rcond=None)[0]
        for met in region.met
    ]
    return Polytope(corners=np.array(corners).reshape(region.corners.shape), met=region.met)
