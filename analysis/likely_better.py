"""Where may a better treatment hide, and which few bakes would find out?

The worth of a bake is how much better the treatment chosen after it is expected to be than the
one that would be chosen now (the knowledge gradient: Frazier, Powell & Dayanik 2009, INFORMS J.
Computing 21:599). It weighs what looks good against what is little known, in the unit of the
response. Bakes are picked one after the other, each knowing where the earlier ones will be.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.predicting import KnowsMoments, Predictor, Settings, Span
from analysis.questions import Question, Response
from analysis.results import NextBakes, ResponseResult

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

MOST_CANDIDATES = 160
MOST_CORNERS = 1500  # where only the ends of each amount are looked at
GRID = (13, 9, 7, 5, 3, 2)  # settings of an amount, the finest that keeps the candidates few enough
DRAWS = 800
MOST_BAKES = 4
WORTH = 0.1  # of the difference that matters: a smaller gain is not worth a bake's flour
NODES, ROUGHLY = 24, 5
SHORTLIST = 24  # candidates that are weighed again to the last digit


@dataclass(frozen=True)
class Trial:
    """One proposed treatment and what baking it is expected to gain, in the response's unit."""

    treatment: Mapping[str, Any]
    gain: float


def likely_better(result: ResponseResult, question: Question) -> Iterator[NextBakes]:
    """The rule among ``next_bakes``: only with a goal, something that may matter, and a gain worth a bake."""
    predictor, response = result.family.predictor, result.response
    if predictor is None or response.goal is None or not any(f.matters != "no" for f in result.findings):
        return
    yardstick = response.matters or (predictor.sd or 0.0)
    trials = [trial for trial in worthwhile(predictor, response, seed=question.seed) if trial.gain > WORTH * yardstick]
    if not trials or yardstick <= 0:
        return
    facts = {"response": response.name, "gain": trials[0].gain, "unit": response.unit, "goal": response.goal}
    yield NextBakes(why="likely better", treatments=tuple(trial.treatment for trial in trials), facts=facts)


def worthwhile(predictor: Predictor, response: Response, *, seed: int, most: int = MOST_BAKES) -> list[Trial]:
    """Up to ``most`` treatments inside what was baked, most worthwhile first; [] where nothing is to be judged."""
    candidates = candidates_of(predictor.spans)
    if candidates is None or not predictor.sd or predictor.df is None:
        return []
    moments = _moments(predictor, candidates, response, seed)
    if moments is None:
        return []
    mean, covariance = moments
    found: list[Trial] = []
    for _ in range(most):
        best, gain = _most_gained(mean, covariance, predictor.sd**2)
        found.append(Trial(candidates.row(best), gain))
        column = covariance[:, best]
        covariance = covariance - np.outer(column, column) / (covariance[best, best] + predictor.sd**2)
    return [trial for at, trial in enumerate(found) if trial.treatment not in [one.treatment for one in found[:at]]]


def _moments(predictor: Predictor, candidates: Settings, response: Response, seed: int) -> tuple[Floats, Floats] | None:
    """Mean (m,) and covariance (m, m) of what each candidate is worth; None with nothing to judge it by."""
    if isinstance(predictor, KnowsMoments) and response.goal != "target":
        known = predictor.drawn_moments(candidates, count=DRAWS, seed=seed)
        if known is None or not all(np.isfinite(each).all() for each in known):
            return None
        return (-known[0] if response.goal == "minimise" else known[0]), known[1]
    draws = predictor.draws(candidates, count=DRAWS, seed=seed)
    if draws is None or not np.isfinite(draws).all():
        return None
    worth = _worth(draws, response)
    around = worth - worth.mean(axis=0)
    return worth.mean(axis=0), around.T @ around / (len(around) - 1)


def _worth(draws: Floats, response: Response) -> Floats:
    """The draws as something to maximise."""
    if response.goal == "target" and response.target is not None:
        return -np.abs(draws - response.target)
    return -draws if response.goal == "minimise" else draws


def _most_gained(mean: Floats, covariance: Floats, variance: float) -> tuple[int, float]:
    """The candidate whose bake gains most, and how much; the likeliest few of many are weighed to the last digit."""
    few = np.arange(len(mean))
    if len(mean) > SHORTLIST:
        few = np.sort(np.argsort(-_gains(mean, covariance, variance, nodes=ROUGHLY), kind="stable")[:SHORTLIST])
    gains = _gains(mean, covariance, variance, at=few)
    return int(few[np.argmax(gains)]), float(gains.max())


def _gains(
    mean: Floats, covariance: Floats, variance: float, *, at: NDArray[np.int64] | None = None, nodes: int = NODES
) -> Floats:
    """E[max of the means after one bake at each candidate, or at those of ``at``] - max of the means now."""
    columns, own = (covariance, np.diag(covariance)) if at is None else (covariance[:, at], covariance[at, at])
    steps = columns / np.sqrt(np.maximum(own, 0.0) + variance)  # column: what a bake there shifts
    places, weights = _nodes(nodes)
    # One node after the other: all at once would not fit for many candidates.
    best = [(mean[:, None] + place * steps).max(axis=0) for place in places]
    return np.asarray(weights @ np.array(best) - mean.max())


@cache
def _nodes(count: int) -> tuple[Floats, Floats]:
    """Where a normal shift is weighed, and the weights (sum 1)."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(count)
    return nodes, weights / weights.sum()


def candidates_of(spans: Mapping[str, Span]) -> Settings | None:
    """Settings within what was baked: a grid over amounts, every level of a category. None with shares."""
    return _candidates(tuple(spans.items()))


@lru_cache(maxsize=4)  # the responses of a trial have the same
def _candidates(spans: tuple[tuple[str, Span], ...]) -> Settings | None:
    if any(span.low is not None and not span.baked for _, span in spans):
        return None
    for grid in GRID:
        axes = {name: _axis(span, grid) for name, span in spans}
        if np.prod([len(axis) for axis in axes.values()]) <= (MOST_CANDIDATES if grid > min(GRID) else MOST_CORNERS):
            return Settings(dict(zip(axes, zip(*product(*axes.values()), strict=True), strict=True)))
    return None


def _axis(span: Span, grid: int) -> list[Any]:
    if span.levels:
        return list(span.levels)
    assert span.low is not None
    assert span.high is not None
    inner = np.linspace(span.low, span.high, grid)
    return sorted({float(f"{value:.3g}") for value in inner[1:-1]} | {span.low, span.high})
