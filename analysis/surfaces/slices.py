"""What does the surface look like over two amounts, the others held at their best?"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from analysis.results import ResponseResult
from analysis.surfaces.best import slack
from analysis.surfaces.quadratic import Coding, Quadratic, quadratic_of
from analysis.surfaces.region import Region, baked_region
from analysis.surfaces.results import SurfacePart
from analysis.surfaces.turning import bound, distance

Floats = NDArray[np.float64]

GRID = 81
MARGIN = 0.06


@dataclass(frozen=True, eq=False)
class Slice:
    """Fields over a grid of two amounts: ``x`` (n,), ``y`` (m,) in the baker's units, the others (m, n).

    ``mean`` is the response; ``inside`` is at least 0 inside what was baked, ``good`` where a setting is as good as
    the best, ``turning`` inside the region of the point where the surface levels out (None: not known, or more
    than two amounts). ``bakes`` (k, 2) are the settings that were baked.
    """

    x_name: str
    y_name: str
    x: Floats
    y: Floats
    mean: Floats
    inside: Floats
    good: Floats | None
    turning: Floats | None
    bakes: Floats


def slices(result: ResponseResult, part: SurfacePart, confidence: float, *, most: int = 2) -> list[Slice]:
    """The slices over the ``most`` pairs of amounts along which the response changes most."""
    if result.family.predictor is None:
        return []
    coding = _coding(part)
    quadratic = quadratic_of(result.family.predictor, coding, part.at)
    if quadratic is None:
        return []
    settings = np.array([[float(point.settings[n]) for n in part.amounts] for point in result.family.points])
    region = baked_region(coding.coded(settings))
    found = [
        _slice(result, part, quadratic, region, settings, pair, confidence)
        for pair in combinations(range(len(part.amounts)), 2)
    ]
    return sorted(found, key=lambda one: -_change(one))[:most]


def _coding(part: SurfacePart) -> Coding:
    codes = [part.coding[name] for name in part.amounts]
    return Coding(part.amounts, np.array([code.middle for code in codes]), np.array([code.half for code in codes]))


def _change(one: Slice) -> float:
    """How far the response moves inside what was baked."""
    seen = one.mean[one.inside >= 0]
    return float(np.ptp(seen)) if seen.size else 0.0


def _slice(
    result: ResponseResult,
    part: SurfacePart,
    quadratic: Quadratic,
    region: Region,
    settings: Floats,
    pair: tuple[int, int],
    confidence: float,
) -> Slice:
    best = quadratic.coding.coded(np.array([float(part.best[name]) for name in part.amounts]))
    axes = []
    for at in pair:
        low, high = settings[:, at].min(), settings[:, at].max()
        room = MARGIN * (high - low)
        axes.append(np.linspace(low - room, high + room, GRID))
    grid = np.tile(best, (GRID * GRID, 1))
    x, y = np.meshgrid(*axes)
    for at, values in zip(pair, (x, y), strict=True):
        coded = (values - quadratic.coding.middle[at]) / quadratic.coding.half[at]
        grid[:, at] = coded.ravel()
    good = slack(quadratic, grid, best, result.response, confidence)
    turning = None
    if quadratic.k == 2 and part.stationary is not None and quadratic.covariance is not None:
        away = distance(quadratic, grid)
        turning = None if away is None else bound(quadratic, confidence) - away
    return Slice(
        x_name=part.amounts[pair[0]],
        y_name=part.amounts[pair[1]],
        x=axes[0],
        y=axes[1],
        mean=quadratic.mean(grid).reshape(GRID, GRID),
        inside=(region.offsets - grid @ region.normals.T).min(axis=1).reshape(GRID, GRID),
        good=None if good is None else good.reshape(GRID, GRID),
        turning=None if turning is None else turning.reshape(GRID, GRID),
        bakes=np.unique(settings[:, list(pair)], axis=0),
    )
