"""How is a two-level design widened until it shows bends: how far out, how many centre points, in which blocks?

The central composite: the corners of a cube, two star points on every axis, and repeats of the middle
(Box & Wilson 1951, J. Royal Statistical Society B 13:1; Box & Hunter 1957, Ann. Math. Stat. 28:195).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np

from analysis.designs.blocks import share_out
from analysis.designs.columns import Floats
from analysis.designs.fractions import GENERATORS, Fraction, best_fraction, fraction_from
from analysis.designs.requests import DesignRequest
from analysis.designs.surfaces import USUAL_CENTRES, blocks_are_orthogonal, centres_of, in_groups, range_of, surface
from analysis.designs.treatments import Property, Treatments
from analysis.errors import PlanError

LEAST_RESOLUTION = 5  # so that every pair of amounts is told from every other
NEAREST, FARTHEST = 0.1, 10.0
# Centre points of the cube and of the star, with which the blocks are orthogonal at or near the rotatable
# distance; Box & Hunter 1957, their table of blocked designs, by (amounts, runs of the cube). Checked by their
# condition in the tests; eight amounts by the same condition.
BLOCK_CENTRES: Mapping[tuple[int, int], tuple[int, int]] = {
    (2, 4): (3, 3),
    (3, 8): (4, 2),
    (4, 16): (4, 2),
    (5, 16): (6, 1),
    (5, 32): (8, 4),
    (6, 32): (8, 2),
    (6, 64): (8, 6),
    (7, 64): (8, 4),
    (7, 128): (16, 11),
    (8, 64): (8, 2),
    (8, 128): (16, 9),
    (8, 256): (16, 18),
}


@dataclass(frozen=True, kw_only=True)
class Cube:
    """Its corners (F, k) in standard order, and the fraction they are of all combinations."""

    corners: Floats
    fraction: Fraction | None

    @property
    def runs(self) -> int:
        return len(self.corners)


def central_composite(request: DesignRequest) -> Treatments:
    """``axial``: rotatable unless told; in blocks so far out that the blocks are orthogonal.

    With ``block`` the cube and the star are blocks of their own; ``block_size``, the most runs a block
    can take, divides the cube further, or lets whole designs stand in each block when it holds one.
    ``inside`` makes low and high the outermost doses.
    """
    between = range_of(request, fewest=2, most=8)
    cube = _cube(len(between), request)
    usual = (
        USUAL_CENTRES if str(request.axial).lower() in ("face", "1", "1.0") else even_centres(len(between), cube.runs)
    )
    centres = centres_of(request, usual)
    if request.block is not None and (request.block_size or 0) < cube.runs + 2 * len(between) + centres:
        return _blocked(cube, between, request)
    alpha = _distance(request, cube, default="rotatable", orthogonal=_orthogonal_distance(cube, centres))
    return surface(
        _coded(cube, alpha),
        between,
        request,
        centres=centres,
        corner=_corner(alpha, request),
        properties=_properties(cube, alpha),
    )


def _cube(factors: int, request: DesignRequest) -> Cube:
    """All corners, or the smallest fraction that tells all pairs of amounts apart."""
    asked = request.resolution or LEAST_RESOLUTION
    if asked < LEAST_RESOLUTION:
        raise PlanError(
            f"With a cube of resolution {asked} some pairs of amounts could not be told apart.",
            where="design, resolution",
            try_this=f"resolution = {LEAST_RESOLUTION}, or leave it out",
        )
    offered = [fraction_from(factors, words).resolution for words in GENERATORS.get(factors, {}).values()]
    fraction = best_fraction(factors, runs=None, resolution=asked) if max(offered, default=0) >= asked else None
    if fraction is not None:
        return Cube(corners=np.array(fraction.signs(), dtype=float), fraction=fraction)
    runs = np.arange(2**factors)
    return Cube(corners=np.column_stack([2.0 * (runs >> place & 1) - 1 for place in range(factors)]), fraction=None)


def _coded(cube: Cube, alpha: float) -> Floats:
    k = cube.corners.shape[1]
    star = np.vstack([sign * alpha * np.eye(k)[at] for at in range(k) for sign in (-1, 1)])
    return np.vstack([cube.corners, star])


def _properties(cube: Cube, alpha: float) -> dict[str, Property]:
    told: dict[str, Property] = {
        "alpha": alpha,
        "cube_points": cube.runs,
        "axial_points": 2 * cube.corners.shape[1],
    }
    if cube.fraction is not None:
        told["cube_resolution"] = cube.fraction.resolution
    return told


# -- how far out, and how often the middle -----------------------------------------


def _distance(request: DesignRequest, cube: Cube, *, default: str, orthogonal: float) -> float:
    """The coded distance of the star points."""
    axial = default if request.axial is None else request.axial
    named = {"rotatable": rotatable_distance(cube.runs), "face": 1.0, "orthogonal": orthogonal}
    if isinstance(axial, str):
        if axial.lower() not in named:
            raise PlanError(
                f'"{axial}" is no distance of star points.',
                where="design, axial",
                try_this='axial = "rotatable", "face", "orthogonal", or a number such as 1.5',
            )
        return named[axial.lower()]
    if not NEAREST <= axial <= FARTHEST:
        raise PlanError(
            f"Star points at {axial:g} times the way from the middle to high cannot be baked.",
            where="design, axial",
            try_this=f'a number from {NEAREST} to {FARTHEST:g}, usually from 1 to 2.5, or "rotatable"',
        )
    return float(axial)


def rotatable_distance(cube_runs: int) -> float:
    """F^(1/4): predictions are as sure in every direction (NIST/SEMATECH e-Handbook 5.3.3.6.1)."""
    return float(cube_runs**0.25)


def _orthogonal_distance(cube: Cube, centres: int) -> float:
    """alpha^2 = (sqrt(F N) - F) / 2 over N runs: bends are then independent of each other (Box & Wilson 1951)."""
    runs = cube.runs + 2 * cube.corners.shape[1] + centres
    return sqrt((sqrt(cube.runs * runs) - cube.runs) / 2)


def even_centres(factors: int, cube_runs: int) -> int:
    """Centre points with which a rotatable design predicts as surely in the middle as at distance 1.

    The distance is in standard deviations of the design's settings along an axis.
    n0 = l (sqrt(F) + 2)^2 - F - 2 k with l = (k + 3 + sqrt(9 k^2 + 14 k - 7)) / (4 (k + 2)):
    the uniform precision of Box & Hunter 1957.
    """
    k = factors
    spread = (k + 3 + sqrt(9 * k * k + 14 * k - 7)) / (4 * (k + 2))
    return round(spread * (sqrt(cube_runs) + 2) ** 2 - cube_runs - 2 * k)


def _corner(alpha: float, request: DesignRequest) -> float:
    """How far out the corners lie: at low and high, or so near that the star reaches low and high."""
    return 1 / max(alpha, 1.0) if request.inside else 1.0


# -- blocks ------------------------------------------------------------------------


def orthogonal_block_distance(cube_runs: int, factors: int, cube_centres: int, star_centres: int) -> float:
    """alpha^2 = F (2 k + n_star) / (2 (F + n_cube)): both blocks then hold their part of every bend (Box & Hunter)."""
    return sqrt(cube_runs * (2 * factors + star_centres) / (2 * (cube_runs + cube_centres)))


def _blocked(cube: Cube, between: Mapping[str, tuple[float, float]], request: DesignRequest) -> Treatments:
    k = len(between)
    in_cube, in_star = _shared_centres(cube, request)
    members = _cube_blocks(cube, in_cube, 2 * k + in_star, request)
    alpha = _distance(
        request, cube, default="orthogonal", orthogonal=orthogonal_block_distance(cube.runs, k, in_cube, in_star)
    )
    coded = _coded(cube, alpha)
    star = list(range(cube.runs, len(coded)))
    groups = in_groups(request, [*members, star], [in_cube // len(members)] * len(members) + [in_star])
    runs = np.vstack([coded, np.zeros((in_cube + in_star, k))])
    orthogonal = blocks_are_orthogonal(runs, [group[str(request.block)] for group in groups])
    return surface(
        coded,
        between,
        request,
        centres=in_cube + in_star,
        corner=_corner(alpha, request),
        properties={
            **_properties(cube, alpha),
            "orthogonal_blocks": orthogonal,
            "centre_points_cube": in_cube,
            "centre_points_star": in_star,
        },
        groups=groups,
    )


def _shared_centres(cube: Cube, request: DesignRequest) -> tuple[int, int]:
    """Centre points of the cube's blocks together and of the star, of one set.

    As told, they are shared so that orthogonal blocks come nearest to the rotatable distance.
    """
    k = cube.corners.shape[1]
    if request.centre_points is None:
        return BLOCK_CENTRES[k, cube.runs]
    told = centres_of(request, 0)
    wanted = rotatable_distance(cube.runs)
    splits = [(told - star, star) for star in range(told + 1)]
    return min(splits, key=lambda split: abs(orthogonal_block_distance(cube.runs, k, *split) - wanted))


def _cube_blocks(cube: Cube, centres: int, star: int, request: DesignRequest) -> list[list[int]]:
    """Places of the cube's corners in as few blocks as hold them, no amount or pair of amounts lost to them."""
    most = request.block_size or max(star, cube.runs + centres)
    held = [parts for parts in (1, 2, 4, 8, 16) if centres % parts == 0 and cube.runs > 2 * parts]
    for parts in held:
        if (cube.runs + centres) // parts <= most and star <= most:
            members = _divided(cube, parts, request)
            if members is not None:
                return members
    fits = [max(star, (cube.runs + centres) // parts) for parts in held if _divided(cube, parts, request) is not None]
    raise PlanError(
        f"Blocks of {request.block_size} do not hold the parts of this central composite: its star has {star} runs, "
        f"its cube {cube.runs + centres}, and parts of the cube must not hide a pair of amounts.",
        where="design, block_size",
        try_this=f"block_size = {min(fits)}, or fewer centre points",
    )


def _divided(cube: Cube, parts: int, request: DesignRequest) -> list[list[int]] | None:
    """The corners in ``parts`` blocks, or None when a pair of amounts would be lost to the blocks."""
    if parts == 1:
        return [list(range(cube.runs))]
    signs = tuple(tuple(int(sign) for sign in row) for row in cube.corners)
    corners = Treatments(treatments=({},) * cube.runs, settings={}, signs=signs, fraction=cube.fraction)
    asked = replace(
        request, kind="fractional factorial", replicates=1, block_size=cube.runs // parts, centre_points=None
    )
    try:
        shared = share_out(corners, asked)
    except PlanError:
        return None
    return _unless_pairs_are_lost(shared.confounded, shared.members)


def _unless_pairs_are_lost(lost: Sequence[int], members: Sequence[Sequence[int]]) -> list[list[int]] | None:
    return None if any(mask.bit_count() < 3 for mask in lost) else [list(block) for block in members]
