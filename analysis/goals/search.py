"""Which treatment is the best compromise, and what is best where none meets every goal?

Cross-entropy search: from the best of many treatments spread over what was baked, clouds of
treatments close in on the better ones (Rubinstein & Kroese 2004, "The Cross-Entropy Method"). It
needs no slopes and follows the kink that a target puts into the overall desirability.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.errors import NotPossible
from analysis.goals.desirability import overall
from analysis.goals.space import Space
from analysis.goals.wishes import Wish
from analysis.predicting import Predictor, Settings

Floats = NDArray[np.float64]

NOT_EVERYWHERE = "a fitted mean runs out of numbers inside what was baked"

CLOUD, ELITE, ROUNDS = 100, 18, 40
STARTS = 6  # combinations of levels in which the search closes in
SHARP = 1e-6  # of the ranges: where the clouds have closed in


@dataclass(frozen=True, kw_only=True)
class Asker:
    """Everything asked of the responses together: wishes with their predictors, in the same order."""

    wishes: tuple[Wish, ...]
    predictors: tuple[Predictor, ...]

    def means(self, settings: Settings) -> Floats:
        """Fitted means (responses, treatments). Raises NotPossible where one of them is no number."""
        found = np.array([each.mean(settings) for each in self.predictors], dtype=np.float64)
        if not np.isfinite(found).all():
            raise NotPossible(NOT_EVERYWHERE, where="goals", try_this="Look at each response by itself.")
        return found

    def desirabilities(self, means: Floats) -> Floats:
        return np.array([wish.desirability(y) for wish, y in zip(self.wishes, means, strict=True)])

    def overall(self, means: Floats) -> Floats:
        return overall(self.desirabilities(means), [wish.response.importance for wish in self.wishes])

    def worst_miss(self, means: Floats) -> Floats:
        return np.asarray(np.max([wish.miss(y) for wish, y in zip(self.wishes, means, strict=True)], axis=0))

    def merit(self, means: Floats) -> Floats:
        """Desirability where every goal is met, else the worst miss below 0: one number to climb by."""
        found = self.overall(means)
        return np.asarray(np.where(found > 0, found, -self.worst_miss(means) - 1e-12))


def best_of(asker: Asker, space: Space, pool: Settings, means: Floats, *, seed: int) -> dict[str, float | str]:
    """The treatment of highest merit inside what was baked. ``means`` are those of ``pool``."""
    merit = asker.merit(means)
    at = int(np.argmax(merit))
    best, top = pool.row(at), float(merit[at])
    if not space.numbers:
        return best
    starts = _starts(space, pool, merit)
    found, value = _close_in(asker, space, starts, np.random.Generator(np.random.PCG64(seed)))
    return found if value > top else best


def _starts(space: Space, pool: Settings, merit: Floats) -> list[tuple[tuple[str, ...], Floats]]:
    """The best treatment of each of the most promising combinations of levels."""
    columns = [pool[name] for name in space.categories]
    best: dict[tuple[str, ...], int] = {}
    for at in np.argsort(-merit, kind="stable"):
        best.setdefault(tuple(str(column[at]) for column in columns), int(at))
        if len(best) == min(STARTS, len(space.combinations)):
            break
    numbers = space.numbers_of(pool)
    return [(levels, numbers[at]) for levels, at in best.items()]


def _close_in(
    asker: Asker, space: Space, starts: Sequence[tuple[tuple[str, ...], Floats]], chance: np.random.Generator
) -> tuple[dict[str, float | str], float]:
    """Clouds around the better ones, one for each start, narrowing until they are sharp.

    All clouds are asked about at once. Returns the best and its merit.
    """
    clouds = [_Cloud(middle=start, best=start, spread=np.diag((0.12 * space.width) ** 2)) for _, start in starts]
    levels = [each for each, _ in starts for _ in range(CLOUD + 1)]
    for _ in range(ROUNDS):
        drawn = [space.repaired(cloud.drawn(chance)) for cloud in clouds]
        merit = asker.merit(asker.means(space.settings(np.vstack(drawn), levels)))
        for cloud, rows, own in zip(clouds, drawn, np.split(merit, len(clouds)), strict=True):
            cloud.learn(rows, own, space.width)
        if all((np.sqrt(np.diag(cloud.spread)) < 10 * SHARP * space.width).all() for cloud in clouds):
            break
    at = int(np.argmax([cloud.top for cloud in clouds]))
    return space.settings(clouds[at].best[None, :], [starts[at][0]]).row(0), clouds[at].top


@dataclass(eq=False)
class _Cloud:
    """Where one search stands: the middle and spread of its better treatments, and the best so far."""

    middle: Floats
    best: Floats
    spread: Floats
    top: float = -np.inf

    def drawn(self, chance: np.random.Generator) -> Floats:
        """CLOUD treatments (CLOUD + 1, k), the best so far as the last."""
        cloud = chance.multivariate_normal(self.middle, self.spread, size=CLOUD, method="cholesky")
        return np.vstack([cloud, self.best[None, :]])

    def learn(self, rows: Floats, merit: Floats, width: Floats) -> None:
        order = np.argsort(-merit, kind="stable")[:ELITE]
        if merit[order[0]] > self.top:
            self.best, self.top = rows[order[0]], float(merit[order[0]])
        elite = rows[order]
        self.middle = elite.mean(axis=0)
        self.spread = np.cov(elite.T).reshape(len(width), -1) * 1.2 + np.diag((SHARP * width) ** 2)


def edges_of(space: Space, settings: Mapping[str, float | str]) -> tuple[str, ...]:
    """The numbers that lie at an end of what was baked."""
    found: Sequence[str] = [
        name
        for at, name in enumerate(space.numbers)
        if space.high[at] > space.low[at]
        and min(float(settings[name]) - space.low[at], space.high[at] - float(settings[name])) < 1e-3 * space.width[at]
    ]
    return tuple(found)
