"""Which goals are paid for with which others, and which cannot be met together?"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from analysis.goals.intervals import interval
from analysis.goals.results import Contradiction, Front, FrontPoint
from analysis.goals.search import Asker
from analysis.goals.wishes import Wish
from analysis.predicting import Settings

Floats = NDArray[np.float64]

MOST_POINTS = 15
MOST_FRONTS = 3
WORTH = 0.02  # of the range of a goal over the pool: a shorter front is no trade-off


def fronts(asker: Asker, pool: Settings, means: Floats, confidence: float) -> tuple[Front, ...]:
    """The trade-offs between pairs of goals, the longest first; none where one treatment is best for both."""
    found = []
    for i, j in combinations(range(len(asker.wishes)), 2):
        chosen = _non_dominated(*(asker.wishes[at].oriented(means[at]) for at in (i, j)))
        length = min(_reach(asker.wishes[at], means[at], chosen) for at in (i, j))
        if len(chosen) > 1 and length > WORTH:
            found.append((length, i, j, chosen))
    found.sort(key=lambda each: -each[0])
    return tuple(_front(asker, pool, means, i, j, chosen, confidence) for _, i, j, chosen in found[:MOST_FRONTS])


def _non_dominated(first: Floats, second: Floats) -> NDArray[np.int64]:
    """Places of the treatments that none other beats in both, from the best in ``first`` on."""
    order = np.lexsort((-second, -first))
    best_before = np.append(-np.inf, np.maximum.accumulate(second[order])[:-1])
    return np.asarray(order[second[order] > best_before])


def _reach(wish: Wish, means: Floats, chosen: NDArray[np.int64]) -> float:
    oriented = wish.oriented(means)
    whole = float(np.ptp(oriented))
    return float(np.ptp(oriented[chosen])) / whole if whole > 0 else 0.0


def _front(
    asker: Asker, pool: Settings, means: Floats, i: int, j: int, chosen: NDArray[np.int64], confidence: float
) -> Front:
    """At most MOST_POINTS of the path, evenly along it."""
    path = np.array([means[at][chosen] / (np.ptp(means[at][chosen]) or 1.0) for at in (i, j)])
    along = np.append(0.0, np.hypot(*np.diff(path, axis=1)).cumsum())
    places = np.linspace(0.0, along[-1], min(MOST_POINTS, len(chosen)))
    kept = chosen[np.unique([int(np.argmin(np.abs(along - place))) for place in places])]
    rows = pool.rows(kept)
    first, second = (interval(asker.predictors[at], rows, means[at][kept], confidence) for at in (i, j))
    points = []
    for at, place in enumerate(kept):
        points.append(
            FrontPoint(
                settings=pool.row(int(place)),
                first=float(means[i][place]),
                second=float(means[j][place]),
                first_low=first[at][0],
                first_high=first[at][1],
                second_low=second[at][0],
                second_high=second[at][1],
            )
        )
    return Front(first=asker.wishes[i].name, second=asker.wishes[j].name, points=tuple(points))


def contradictions(wishes: Sequence[Wish], means: Floats) -> tuple[Contradiction, ...]:
    """The smallest sets of goals that no treatment of ``means`` (k, m) meets together."""
    met = np.array([wish.met(y) for wish, y in zip(wishes, means, strict=True)])
    found: list[tuple[int, ...]] = []
    for size in range(1, min(len(wishes), 4) + 1):
        for chosen in combinations(range(len(wishes)), size):
            if any(set(one) <= set(chosen) for one in found):
                continue
            if not met[list(chosen)].all(axis=0).any():
                found.append(chosen)
    if not found and not met.all(axis=0).any():
        found.append(tuple(range(len(wishes))))
    return tuple(Contradiction(goals=tuple(wishes[at].name for at in chosen)) for chosen in found)
