"""What is good enough for a response, and what is all one can wish?

Said by its acceptable range; where that was not given, taken from the difference that matters and
from what was baked. A goal counts as met exactly where its desirability is above 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.errors import TrialDataError
from analysis.goals.desirability import larger_is_better, smaller_is_better, target_is_best
from analysis.goals.results import GoalTaken
from analysis.questions import Response

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Wish:
    """``low`` and ``high`` bound what is good enough (infinite: open); ``full`` is all one can wish for.

    ``yardstick`` is the distance by which a miss is measured: the difference that matters, else the
    width of what is acceptable.
    """

    response: Response
    low: float
    high: float
    full: float
    given: bool
    yardstick: float

    @property
    def name(self) -> str:
        return self.response.name

    def desirability(self, y: Floats) -> Floats:
        if self.response.goal == "maximise":
            return larger_is_better(y, low=self.low, full=self.full)
        if self.response.goal == "minimise":
            return smaller_is_better(y, full=self.full, high=self.high)
        return target_is_best(y, low=self.low, target=self.full, high=self.high)

    def met(self, y: Floats) -> NDArray[np.bool_]:
        return np.asarray((y > self.low) & (y < self.high))

    def miss(self, y: Floats) -> Floats:
        """How far from good enough, in yardsticks; 0 where it is met."""
        return np.asarray(np.maximum(np.maximum(self.low - y, y - self.high), 0.0) / self.yardstick)

    def oriented(self, y: Floats) -> Floats:
        """The same so that more is better."""
        if self.response.goal == "target":
            return np.asarray(-np.abs(y - self.full))
        return np.asarray(y if self.response.goal == "maximise" else -y)

    def taken(self, **more: object) -> GoalTaken:
        response = self.response
        return GoalTaken(
            response=response.name,
            unit=response.unit,
            goal=str(response.goal),
            target=response.target if response.goal == "target" else None,
            low=_or_none(self.low),
            high=_or_none(self.high),
            full=self.full,
            importance=response.importance,
            given=self.given,
            **more,  # type: ignore[arg-type]  # model, dropped_p, certain
        )


def wish_of(response: Response, baked: Floats) -> Wish:
    """The wish behind a goal. ``baked`` (n,) are the fitted means of the treatments that were baked.

    Raises TrialDataError for an acceptable range that leaves no room or misses its own target.
    """
    if response.goal == "target":
        return _of_target(response, baked)
    worst, best = float(np.min(baked)), float(np.max(baked))
    if response.goal == "minimise":
        worst, best = best, worst
    low, high = response.accept or (None, None)
    said_enough, said_full = (low, high) if response.goal == "maximise" else (high, low)
    enough, full = _ends(response, worst, best, said_enough, said_full)
    given = said_enough is not None and said_full is not None
    yardstick = response.matters or abs(full - enough)
    if response.goal == "maximise":
        return Wish(response=response, low=enough, high=np.inf, full=full, given=given, yardstick=yardstick)
    return Wish(response=response, low=-np.inf, high=enough, full=full, given=given, yardstick=yardstick)


def _ends(
    response: Response, worst: float, best: float, said_enough: float | None, said_full: float | None
) -> tuple[float, float]:
    """(good enough, all one can wish), both on the side of the goal.

    Without a word the best that was baked is all one can wish; a third of the way to it from the
    worst is good enough, or one difference that matters below it where that is further. (Half way would
    let any two goals that pull in opposite directions contradict each other.)
    """
    up = 1.0 if response.goal == "maximise" else -1.0
    room = max(abs(best - worst) * 2 / 3, response.matters or 0.0) or max(abs(best), 1.0) * 0.01
    full = said_full
    if full is None:
        full = best if said_enough is None or up * (best - said_enough) > 0 else said_enough + up * room
    enough = said_enough
    if enough is None:
        enough = full - up * max(room, abs(full - best) + room if up * (full - best) > 0 else 0.0)
    _room(response, enough, full, up)
    return enough, full


def _room(response: Response, enough: float, full: float, up: float) -> None:
    if not up * (full - enough) > 0 or not np.isfinite([enough, full]).all():
        raise TrialDataError(
            f"What is acceptable for {response.name} leaves no room.",
            where="goals",
            try_this=f'--accept "{response.name}:LOW..HIGH" with the smaller number first',
        )


def _of_target(response: Response, baked: Floats) -> Wish:
    """Without a word, within the difference that matters of the target, else within half of what was baked."""
    assert response.target is not None  # the door has looked
    target = response.target
    low, high = response.accept or (None, None)
    room = response.matters or float(np.ptp(baked)) / 2 or max(abs(target), 1.0) * 0.01
    given = low is not None and high is not None
    low = low if low is not None else target - (high - target if high is not None else room)
    high = high if high is not None else target + (target - low)
    if not low < target < high:
        raise TrialDataError(
            f"The target {target:g} of {response.name} does not lie inside what is acceptable, {low:g} to {high:g}.",
            where="goals",
            try_this=f'--goal "{response.name}:target={(low + high) / 2:g}", or another --accept',
        )
    yardstick = response.matters or (high - low) / 2
    return Wish(response=response, low=low, high=high, full=target, given=given, yardstick=yardstick)


def _or_none(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
