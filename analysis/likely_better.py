"""Where may a better treatment hide, and which few bakes would find out?

The worth of a bake is how much better the treatment chosen after it is expected to be than the
one that would be chosen now (the knowledge gradient: Frazier, Powell & Dayanik 2009, INFORMS J.
Computing 21:599). It weighs what looks good against what is little known, in the unit of the
response. Bakes are picked one after the other, each knowing where the earlier ones will be.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from analysis.predicting import Predictor, Span
from analysis.questions import Question, Response
from analysis.results import NextBakes, ResponseResult

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

MOST_CANDIDATES = 1500
GRID = (13, 9, 7, 5, 3, 2)  # settings of an amount, the finest that keeps the candidates few enough
DRAWS = 800
MOST_BAKES = 4
FEW = 64  # candidates
WORTH = 0.1  # of the difference that matters: a smaller gain is not worth a bake's flour
NODES = 24


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
    draws = predictor.draws(candidates, count=DRAWS, seed=seed)
    if draws is None or not np.isfinite(draws).all():
        return []
    worth = _worth(draws, response)
    mean, around = worth.mean(axis=0), worth - worth.mean(axis=0)
    # Threads of the matrix library gain nothing on few candidates and wait for each other on a busy machine.
    squares = np.einsum("ij,ik->jk", around, around) if around.shape[1] <= FEW else around.T @ around
    covariance = squares / (len(draws) - 1)
    found: list[Trial] = []
    for _ in range(most):
        gains = _gains(mean, covariance, predictor.sd**2)
        best = int(np.argmax(gains))
        found.append(Trial(_tidy(candidates.iloc[best], predictor.spans), float(gains[best])))
        column = covariance[:, best]
        covariance = covariance - np.outer(column, column) / (covariance[best, best] + predictor.sd**2)
    return [trial for at, trial in enumerate(found) if trial.treatment not in [one.treatment for one in found[:at]]]


def _worth(draws: Floats, response: Response) -> Floats:
    """The draws as something to maximise."""
    if response.goal == "target" and response.target is not None:
        return -np.abs(draws - response.target)
    return -draws if response.goal == "minimise" else draws


def _gains(mean: Floats, covariance: Floats, variance: float) -> Floats:
    """E[max of the means after one bake at each candidate] - max of the means now (m,)."""
    nodes, weights = _nodes()
    steps = covariance / np.sqrt(np.maximum(np.diag(covariance), 0.0) + variance)  # column: what a bake there shifts
    after = sum(
        weight * (mean[:, None] + node * steps).max(axis=0) for node, weight in zip(nodes, weights, strict=True)
    )
    return np.asarray(after - mean.max())


@cache
def _nodes() -> tuple[Floats, Floats]:
    """Where a normal shift is weighed, and the weights (sum 1)."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(NODES)
    return nodes, weights / weights.sum()


def candidates_of(spans: Mapping[str, Span]) -> pd.DataFrame | None:
    """Settings within what was baked: a grid over amounts, every level of a category. None with shares."""
    if any(span.low is not None and not span.baked for span in spans.values()):
        return None
    for grid in GRID:
        axes = {name: _axis(span, grid) for name, span in spans.items()}
        if np.prod([len(axis) for axis in axes.values()]) <= MOST_CANDIDATES:
            return pd.DataFrame(list(product(*axes.values())), columns=list(axes))
    return None


def _axis(span: Span, grid: int) -> list[Any]:
    if span.levels:
        return list(span.levels)
    assert span.low is not None
    assert span.high is not None
    inner = np.linspace(span.low, span.high, grid)
    return sorted({float(f"{value:.3g}") for value in inner[1:-1]} | {span.low, span.high})


def _tidy(row: pd.Series, spans: Mapping[str, Span]) -> dict[str, Any]:
    return {name: str(row[name]) if span.levels else float(row[name]) for name, span in spans.items()}
