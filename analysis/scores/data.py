"""What is one row of a model of scores, of yes or no, or of counts?

A share of yes becomes a yes and a no, each as often as it was seen, so that yes-no is a score with
two levels. Rows that are alike are put together.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.scores.links import Link
from analysis.scores.ordered import first_guess, ordered_problem
from analysis.scores.problem import Counted, Problem
from analysis.scores.shared import Kin

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True, eq=False, kw_only=True)
class Data:
    """Rows (n,) of one response. ``y``: the place of the score (0 ... k - 1), or a count.

    ``values`` (k,) are the scores themselves; empty for counts. ``w`` how often a row was seen;
    ``exposure`` pieces behind a count. ``x`` (n, p) without a constant.
    """

    y: Floats
    x: Floats
    w: Floats
    values: tuple[float, ...]
    link: Link = "logit"
    kin: tuple[Kin, ...] = ()
    exposure: Floats | None = None

    @property
    def counted(self) -> bool:
        return not self.values

    @property
    def lead(self) -> int:
        """Parameters before the effects: edges, or the constant of a count."""
        return 1 if self.counted else len(self.values) - 1

    def problem(self, *, nominal: tuple[int, ...] = (), scale: tuple[int, ...] = ()) -> Problem:
        if self.counted:
            offset = np.zeros(len(self.y)) if self.exposure is None else np.log(self.exposure)
            a = np.hstack([np.ones((len(self.y), 1)), self.x])
            zero = np.zeros_like(a)
            return Problem(kind=Counted(self.y), a=a, b=zero, a_offset=offset, b_offset=np.zeros(len(self.y)))
        return ordered_problem(
            self.y.astype(np.int64),
            self.x,
            self.w,
            scores=len(self.values),
            link=self.link,
            nominal=nominal,
            scale=scale,
        )

    def start(self, width: int) -> Floats:
        if self.counted:
            seen = self.exposure.sum() if self.exposure is not None else float(len(self.y))
            found = np.zeros(width)
            found[0] = np.log(max(float(self.y.sum()), 0.5) / seen)
            return found
        return first_guess(self.y.astype(np.int64), self.w, scores=len(self.values), link=self.link, width=width)

    def only(self, columns: list[int]) -> Data:
        """With some columns of x."""
        return replace(self, x=self.x[:, columns])

    def without(self, name: str) -> Data:
        """Without one kind of group."""
        return replace(self, kin=tuple(kin for kin in self.kin if kin.name != name))


def gathered(data: Data) -> Data:
    """Equal rows as one, seen as often as all of them; counts stay as they are."""
    if data.counted or not len(data.y):
        return data
    keys = np.column_stack([data.y, data.x, *[kin.codes.astype(np.float64) for kin in data.kin]])
    unique, inverse = np.unique(keys, axis=0, return_inverse=True)
    if len(unique) == len(keys):
        return data
    w = np.asarray(np.bincount(inverse.ravel(), weights=data.w), dtype=np.float64)
    at = 1 + data.x.shape[1]
    kin = tuple(Kin(one.name, unique[:, at + i].astype(np.int64), one.count) for i, one in enumerate(data.kin))
    return replace(data, y=unique[:, 0], x=unique[:, 1:at], w=w, kin=kin)
