"""Which blends keep all bounds and constraints, and which of them are worth baking?

Corners with the middles of edges and faces, and the middle of all (McLean & Anderson 1966,
Technometrics 8:447; Snee 1975, Technometrics 17:149, for models with bends).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.designs.columns import Floats
from analysis.designs.constraints import Constraint, read_constraints
from analysis.designs.polytope import Polytope, polytope
from analysis.designs.requests import DesignRequest
from analysis.designs.shares import ROOM, Blend
from analysis.errors import PlanError


def linear_bounds(request: DesignRequest, blend: Blend, *, others_too: bool = False) -> list[Constraint]:
    """The constraints that are one linear bound on shares.

    Others are left out with ``others_too``, else refused with a PlanError.
    """
    read = read_constraints(request.constraints, {factor.name: factor.levels for factor in request.factors})
    kept = [each for each in read if each.coefficients is not None and each.factors <= set(blend.names)]
    others = [each for each in read if each not in kept]
    if others and not others_too:
        raise PlanError(
            f'A constrained mixture cannot use "{others[0].text}": it is no single bound on a sum of shares.',
            where="constraint",
            try_this='kind = "optimal", which takes any constraint, or a bound such as '
            f"{blend.names[0]} + {blend.names[1]} <= {blend.said(0.8)}",
        )
    return kept


def blends_within(blend: Blend, constraints: Sequence[Constraint]) -> Polytope:
    """Raises PlanError that names the constraint which leaves no room for blends."""
    room = len(blend.names) - 1
    whole = _meet(blend, constraints)
    if whole.dimension == room:
        return whole
    alone = [each for each in constraints if _meet(blend, [each]).dimension < room]
    named = f'"{alone[0].text}" leaves' if alone else " and ".join(f'"{each.text}"' for each in constraints) + " leave"
    raise PlanError(
        f"{named} no room for blends within the lows and highs of the shares.",
        where="constraint",
        try_this="a looser constraint, or wider lows and highs",
    )


def _meet(blend: Blend, constraints: Sequence[Constraint]) -> Polytope:
    """Lows and highs that the others keep anyway are left out: they bound nothing."""
    one = np.eye(len(blend.names))
    high_counts = blend.high <= 1 - (blend.low.sum() - blend.low) + ROOM
    low_counts = blend.low >= 1 - (blend.high.sum() - blend.high) - ROOM
    rows = [one[high_counts], -one[low_counts]]
    limits = [blend.high[high_counts], -blend.low[low_counts]]
    for constraint in constraints:
        assert constraint.coefficients is not None
        assert constraint.bound is not None
        normal = np.array([constraint.coefficients.get(name, 0.0) for name in blend.names])
        limit = constraint.bound / blend.total
        if np.ptp(normal) > 0:
            rows.append(normal[None, :])
            limits.append(np.array([limit]))
        elif normal[0] > limit + ROOM:  # it bounds the whole, which is what it is
            return Polytope(corners=np.empty((0, len(one))), met=np.empty((0, 0), dtype=np.bool_))
    return polytope(np.vstack(rows), np.concatenate(limits))


def region_points(region: Polytope, degree: int) -> Floats:
    """Corners and the middle; for bends also middles of edges and outer faces; for blends of three, of flat faces."""
    parts = [region.corners]
    if degree >= 2:
        parts += [region.middles(1), region.face_middles()]
    if degree >= 3 and region.dimension > 2:
        parts.append(region.middles(2))
    return distinct(np.vstack([*parts, region.middle()]))


def distinct(points: Floats) -> Floats:
    """Each point once, in the order of its first place."""
    _, first = np.unique(np.round(points, 8), axis=0, return_index=True)
    return points[np.sort(first)]
