"""What does a blend of three shares look like over all its blends?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.blends.best import Search, blend_slack
from analysis.blends.predictor import BlendPredictor
from analysis.blends.results import BlendPart
from analysis.results import ResponseResult
from analysis.surfaces.region import baked_region

Floats = NDArray[np.float64]

STEPS = 70


@dataclass(frozen=True, eq=False)
class Triangle:
    """``blends`` (m, 3) lie evenly over the triangle whose corners are ``corners`` (3, 3), in parts of the whole.

    ``mean`` (m,) is the response, ``inside`` at least 0 inside what was baked, ``good`` where a blend is as good as
    the best (None: not known). ``bakes`` (k, 3) were baked.
    """

    corners: Floats
    blends: Floats
    mean: Floats
    inside: Floats
    good: Floats | None
    bakes: Floats


def triangle(result: ResponseResult, part: BlendPart, confidence: float) -> Triangle | None:
    """None unless there are three shares. Narrow blends get the triangle of their lowest shares."""
    predictor = result.family.predictor
    if not isinstance(predictor, BlendPredictor) or len(part.shares) != 3:
        return None
    raw = np.array([[float(point.settings[name]) for name in part.shares] for point in result.family.points])
    bakes = np.unique(np.round(raw / raw.sum(axis=1, keepdims=True), 9), axis=0)
    low = bakes.min(axis=0)
    corners = low + (1 - low.sum()) * np.eye(3)
    even = np.array([(i, j, STEPS - i - j) for i in range(STEPS + 1) for j in range(STEPS + 1 - i)]) / STEPS
    blends = even @ corners
    region = baked_region(bakes[:, :-1])
    search = Search(predictor, region, result.response, confidence)
    best = np.array([float(part.best[name]) for name in part.shares]) / part.total
    return Triangle(
        corners=corners,
        blends=blends,
        mean=predictor.mean(search.frame(blends, part.at)),
        inside=(region.offsets - blends[:, :-1] @ region.normals.T).min(axis=1),
        good=blend_slack(search, part.at, best, blends),
        bakes=bakes,
    )
