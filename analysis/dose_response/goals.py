"""Which dose is good enough, and which is the best?

``worth`` turns any goal into "more is better": the response itself, its negative, or the
negative distance from the target. Without a goal more is taken to be better; the caller
says so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis.questions import Response

Array = npt.NDArray[np.float64]
SPAN_SHARE = 0.05  # of the curve's own span, when no difference that matters was given


@dataclass(frozen=True)
class Aim:
    """What counts as better, and how much of a loss does not matter (None: 5 % of the span)."""

    goal: Literal["maximise", "minimise", "target"]
    target: float | None
    matters: float | None
    assumed: bool

    def worth(self, y: Array) -> Array:
        if self.goal == "target" and self.target is not None:
            return -np.abs(y - self.target)
        return -y if self.goal == "minimise" else y

    def within(self, y: Array) -> Array:
        """Loss that does not matter for curves (..., doses): (...,)."""
        if self.matters is not None:
            return np.full(y.shape[:-1], self.matters)
        return SPAN_SHARE * (y.max(axis=-1) - y.min(axis=-1))

    def best(self, y: Array) -> Array:
        """Highest worth of curves (..., doses); 0 where the target lies between two points."""
        worth = self.worth(y)
        best = worth.max(axis=-1)
        if self.goal == "target" and self.target is not None:
            crossed = (y.min(axis=-1) <= self.target) & (y.max(axis=-1) >= self.target)
            best = np.where(crossed, 0.0, best)
        return np.asarray(best)


def aim_of(response: Response) -> Aim:
    goal = response.goal
    matters = response.matters if response.matters is not None and response.matters > 0 else None
    if goal is None or (goal == "target" and response.target is None):
        return Aim("maximise", None, matters, True)
    return Aim(goal, response.target, matters, False)


def smallest_good_enough(doses: Array, y: Array, aim: Aim) -> Array:
    """Smallest dose within the difference that matters of the best, for curves (m, doses): (m,).

    Between the points of ``doses`` the curve is taken as straight.
    """
    worth = aim.worth(y)
    need = aim.best(y) - aim.within(y)
    slack = 1e-12 * np.abs(y).max(axis=-1)
    good = worth >= (need - slack)[:, None]
    first = good.argmax(axis=1)
    before = np.maximum(first - 1, 0)
    rows = np.arange(y.shape[0])
    up, down = worth[rows, first], worth[rows, before]
    with np.errstate(all="ignore"):
        share = np.where(up > down, (need - down) / (up - down), 1.0)
    dose = doses[before] + np.clip(share, 0, 1) * (doses[first] - doses[before])
    return np.where(first == 0, doses[0], dose)


def good_enough(
    doses: Array, curve: Callable[[Array], Array], aim: Aim
) -> tuple[float, float, float, Literal["low", "high"] | None]:
    """(smallest good dose, largest good dose reached without a gap, loss allowed, edge) of one curve.

    ``edge`` says that the best lies at an end of ``doses`` and nowhere inside.
    """
    y = curve(doses)
    within = float(aim.within(y[None, :])[0])
    best = float(aim.best(y[None, :])[0])
    worth = aim.worth(y)
    need = best - within
    slack = 1e-12 * float(np.abs(y).max())
    good = worth >= need - slack
    first = int(good.argmax())
    gaps = np.flatnonzero(~good[first:])
    last = first + int(gaps[0]) - 1 if gaps.size else doses.size - 1
    smallest = float(doses[0]) if first == 0 else _bisect(curve, aim, need, doses[first - 1], doses[first])
    largest = float(doses[-1]) if last == doses.size - 1 else _bisect(curve, aim, need, doses[last + 1], doses[last])
    return smallest, largest, within, _edge(worth, best, aim)


def _edge(worth: Array, best: float, aim: Aim) -> Literal["low", "high"] | None:
    span = float(worth.max() - worth.min())
    if span <= 0 or (aim.goal == "target" and best > worth.max()):
        return None  # flat, or the target is met inside
    top = worth >= worth.max() - 1e-9 * span
    if top[-1]:
        return "high"
    return "low" if top[0] else None


def _bisect(curve: Callable[[Array], Array], aim: Aim, need: float, bad: float, good: float) -> float:
    """The dose between a bad and a good one where the curve becomes good enough."""
    for _ in range(60):
        middle = (bad + good) / 2
        if float(aim.worth(curve(np.array([middle])))[0]) >= need:
            good = middle
        else:
            bad = middle
    return float(good)
