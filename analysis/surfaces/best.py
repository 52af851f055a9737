"""Which settings inside what was baked are best, and which are as good?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.linear.distributions import t_quantile
from analysis.questions import Response
from analysis.surfaces.quadratic import Quadratic, model_rows
from analysis.surfaces.region import Region, best_of
from analysis.surfaces.results import Limits
from analysis.surfaces.ridge import along_line, nearest_at

Floats = NDArray[np.float64]
Better = Literal["higher", "lower", "target"]


def better(response: Response) -> Better:
    """Which way is better; without a goal a higher response is taken as better."""
    if response.goal == "target" and response.target is not None:
        return "target"
    return "lower" if response.goal == "minimise" else "higher"


def best_settings(quadratic: Quadratic, region: Region, response: Response) -> Floats:
    """The settings (k,) to choose, coded."""
    way = better(response)
    if way != "target":
        return best_of(quadratic, region, sign=1.0 if way == "higher" else -1.0)
    assert response.target is not None
    top, bottom = (best_of(quadratic, region, sign=sign) for sign in (1.0, -1.0))
    highest, lowest = float(quadratic.mean(top)[0]), float(quadratic.mean(bottom)[0])
    if response.target >= highest:
        return top
    if response.target <= lowest:
        return bottom
    near = nearest_at(quadratic, region, response.target)
    return along_line(quadratic, bottom, top, response.target) if near is None else near


def loss(means: Floats, response: Response) -> Floats:
    """How far means fall short of the goal: smaller is better."""
    way = better(response)
    if way == "target":
        return np.asarray(np.abs(means - float(response.target or 0.0)))
    return means if way == "lower" else -means


@dataclass(frozen=True, eq=False)
class AsGood:
    """``limits`` by amount, the ``share`` of the region, and ``within`` which difference (None: untold)."""

    limits: Mapping[str, Limits]
    share: float
    within: float | None


def as_good(quadratic: Quadratic, region: Region, best: Floats, response: Response, confidence: float) -> AsGood | None:
    """The settings as good as the best; None where neither a difference that matters nor an error is known."""
    points = region.grid()
    good = good_points(quadratic, points, best, response, confidence)
    if good is None:
        return None
    chosen = np.vstack([points[good], best[None, :]])
    low, high = (quadratic.coding.real(ends) for ends in (chosen.min(axis=0), chosen.max(axis=0)))
    limits = {
        name: Limits(low=float(a), high=float(b)) for name, a, b in zip(quadratic.coding.names, low, high, strict=True)
    }
    return AsGood(limits, float(good.mean()), response.matters)


def good_points(
    quadratic: Quadratic, points: Floats, best: Floats, response: Response, confidence: float
) -> NDArray[np.bool_] | None:
    """(m,) within the difference that matters of the best; without one, not told from it."""
    found = slack(quadratic, points, best, response, confidence)
    return None if found is None else np.asarray(found >= 0)


def slack(quadratic: Quadratic, points: Floats, best: Floats, response: Response, confidence: float) -> Floats | None:
    """(m,) how much worse each setting might be and still count as good as the best; below 0 it does not."""
    short = loss(quadratic.mean(points), response) - loss(quadratic.mean(best), response)[0]
    if response.matters:
        return np.asarray(response.matters * (1 + 1e-9) - short)
    se = quadratic.se(model_rows(points) - model_rows(best))
    if se is None or quadratic.df is None:
        return None
    return np.asarray(t_quantile(confidence, quadratic.df) * se + 1e-12 - short)
