"""Which terms can be told where groups are uneven, or cut across each other?

Terms enter together, whatever the groups; then each kind of group has to be left with something to
judge its own scatter by, as every stratum of a balanced trial has.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.linear.coding import Term
from analysis.linear.ground import Ground
from analysis.linear.random_groups import RandomGroup, lies_in
from analysis.linear.selection import Selection
from analysis.linear.stratum import BAKES

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

STILL = 1e-9  # what a column may move within a group and yet count as set for the whole of it


@dataclass(frozen=True, eq=False)
class JointGround(Ground):
    """One stratum; ``plots`` only say that there are groups."""

    @property
    def rows(self) -> tuple[int, ...]:
        return (len(self.y),)

    @property
    def absorbed(self) -> tuple[int, ...]:
        return (0,)

    def readings(self) -> tuple[Floats, ...]:
        return (self.y,)

    def constant(self) -> Floats:
        return np.ones((len(self.y), 1))

    def parts(self, columns: Floats) -> tuple[Floats, ...]:
        return (columns,)

    def fitted(self, parts: tuple[Floats, ...]) -> Floats:
        return parts[0]

    def even(self, columns: Floats) -> bool:
        """Groups need not be alike here."""
        return True


def joint_ground(y: Floats, groups: Sequence[RandomGroup], weights: Floats | None = None) -> JointGround:
    return JointGround((BAKES,), y, plots=groups[-1].codes, weights=weights)


@dataclass(frozen=True)
class Spare:
    """Degrees of freedom left for the scatter of each kind of group, and of bakes (or readings)."""

    groups: tuple[int, ...]
    residual: int


def spare(x: Floats, groups: Sequence[RandomGroup]) -> Spare:
    """``x`` (n, p) independent columns, the constant among them."""
    found = []
    for group in groups:
        beside = [o.codes for o in groups if o is not group and not lies_in(o.codes, group.codes)]
        found.append(joint_rank(x, [*beside, group.codes]) - joint_rank(x, beside))
    slopes = [_slope_columns(group) for group in groups if group.slope is not None]
    return Spare(tuple(found), len(x) - joint_rank(np.hstack([x, *slopes]), [group.codes for group in groups]))


def joint_rank(x: Floats, groups: Sequence[Integers]) -> int:
    """Rank of ``x`` beside a column for each group: the largest kind is taken out as deviations."""
    if not groups:
        return _rank(x, x)
    largest = max(groups, key=lambda codes: int(codes.max()))
    others = [codes for codes in groups if codes is not largest and not lies_in(largest, codes)]
    whole = np.hstack([x, *(_dummies(codes) for codes in others)])
    return int(largest.max()) + 1 + _rank(within(whole, largest), whole)


def within(columns: Floats, codes: Integers) -> Floats:
    """Deviations of columns (n, d) from their group means."""
    totals = np.zeros((int(codes.max()) + 1, columns.shape[1]))
    np.add.at(totals, codes, columns)
    return np.asarray(columns - (totals / np.bincount(codes)[:, None])[codes])


def _rank(left: Floats, before: Floats) -> int:
    """Rank of what is left of the columns ``before``; rounding does not count."""
    sizes = np.linalg.norm(before, axis=0)
    scaled = left[:, sizes > 0] / sizes[sizes > 0]
    if len(scaled) > 4 * scaled.shape[1]:
        return int((np.linalg.eigvalsh(scaled.T @ scaled) > 1e-12).sum())
    return int((np.linalg.svd(scaled, compute_uv=False) > 1e-6).sum())


def _dummies(codes: Integers) -> Floats:
    return (codes[:, None] == np.arange(int(codes.max()) + 1)).astype(np.float64)


def _slope_columns(group: RandomGroup) -> Floats:
    assert group.slope is not None
    return _dummies(group.codes) * group.slope[:, None]


def set_for(columns: Floats, group: RandomGroup) -> bool:
    """Do the columns (n, d) of a term change only from group to group?"""
    return bool(np.abs(within(columns, group.codes)).max(initial=0.0) < STILL)


def leave_error(selection: Selection, groups: Sequence[RandomGroup], rows: int) -> Spare:
    """Give up the highest interactions wherever a kind of group, or the bakes, have no df left."""
    while True:
        left = spare(model_columns(selection, rows), groups)
        dropped = _too_many(selection, groups, left)
        if not dropped:
            return left
        for term in dropped:
            del selection.columns[term]
        selection.for_error += tuple(dropped)


def model_columns(selection: Selection, rows: int) -> Floats:
    return np.hstack([np.ones((rows, 1)), *(columns for _, columns in selection.columns.values())])


def _too_many(selection: Selection, groups: Sequence[RandomGroup], left: Spare) -> list[Term]:
    """The interactions of the highest order among those that use up an error."""
    for group, df in zip(groups, left.groups, strict=True):
        own = [term for term, (_, columns) in selection.columns.items() if set_for(columns, group)]
        if df <= 0 and (highest := _highest(own)):
            return highest
    return _highest(list(selection.columns)) if left.residual <= 0 else []


def _highest(terms: Sequence[Term]) -> list[Term]:
    order = max((term.order for term in terms if not term.block), default=1)
    return [term for term in terms if term.order == order and not term.block] if order > 1 else []


def error_of(columns: Floats, groups: Sequence[RandomGroup]) -> str:
    """Against which scatter is a term judged? The finest kind of group for the whole of which it was set."""
    return next((group.name for group in reversed(groups) if set_for(columns, group)), BAKES)
