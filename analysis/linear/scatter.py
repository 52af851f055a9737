"""Where does the scatter lie: between days, between the batches of a day, between bakes?

The variances of a REML fit as standard deviations in the response's unit, coarse groups first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from analysis.linear.random_groups import RandomGroup, lies_in
from analysis.linear.stratum import BAKES
from analysis.parts import Part, Variance
from analysis.results import Check

if TYPE_CHECKING:
    from analysis.mixed.fit import MixedFit

RESIDUAL = "residual"
CONFIDENCE = 0.95  # of the intervals of variances, whatever is asked of the effects


@dataclass(frozen=True, kw_only=True)
class GroupScatter:
    """``sd`` between the groups of one kind (``low`` to ``high``), within one of ``within`` where they lie in
    coarser ones. ``slope_of``: it is the effect of this amount, per unit, that differs from group to group."""

    group: str
    sd: float
    low: float | None
    high: float | None
    groups: int | None
    within: str | None = None
    slope_of: str | None = None
    boundary: bool = False


@dataclass(frozen=True, kw_only=True)
class ScatterPart(Part):
    """``lines`` coarse groups first; the last one is what is left between ``smallest`` (bakes or readings).

    ``zeros`` are the (amount, setting) at which groups with a slope are compared.
    """

    key: ClassVar[str] = "scatter"
    lines: tuple[GroupScatter, ...]
    smallest: str
    confidence: float = CONFIDENCE
    zeros: tuple[tuple[str, float], ...] = ()


def scatter_part(fit: MixedFit, groups: Sequence[RandomGroup], bake: str | None) -> ScatterPart:
    """``bake`` is the name of the bakes where they are a group themselves: readings are then the smallest."""
    lines = [_line(variance, groups, bake) for variance in fit.variances]
    smallest = "readings" if bake and any(group.name == bake for group in groups) else BAKES
    zeros = tuple((group.slope_name, group.zero) for group in groups if group.slope is not None)
    return ScatterPart(lines=tuple(lines), smallest=smallest, zeros=zeros)


def _line(variance: Variance, groups: Sequence[RandomGroup], bake: str | None) -> GroupScatter:
    group = next((g for g in groups if g.name == variance.group), None)
    slope = next((g for g in groups if g.slope is not None and variance.group == f"{g.name}:{g.slope_name}"), None)
    if group is None and slope is None:
        name, of, count = RESIDUAL, _finest(groups), None
    else:
        owner = group or slope
        assert owner is not None
        name, of, count = owner.name, _around(owner, groups), owner.count
    return GroupScatter(
        group=name,
        sd=variance.sd,
        low=_root(variance.low),
        high=_root(variance.high),
        groups=count,
        within=of,
        slope_of=slope.slope_name if slope else None,
        boundary=variance.boundary,
    )


def _root(variance: float | None) -> float | None:
    return None if variance is None else float(np.sqrt(max(variance, 0.0)))


def _finest(groups: Sequence[RandomGroup]) -> str | None:
    """What the smallest units lie in, when that is one kind of group."""
    finest = groups[-1] if groups else None
    if finest is None or not all(lies_in(finest.codes, other.codes) for other in groups):
        return None
    return finest.name


def _around(group: RandomGroup, groups: Sequence[RandomGroup]) -> str | None:
    """The finest kind of group in which ``group`` lies."""
    coarser = [g for g in groups if g.count < group.count and lies_in(group.codes, g.codes)]
    return max(coarser, key=lambda g: g.count).name if coarser else None


def scatter_checks(fit: MixedFit, groups: Sequence[RandomGroup], *, exact: bool) -> list[Check]:
    """Zero variances, slopes on the edge, what could not be told apart, and a search that did not settle."""
    found = []
    zero = [v.group for v in fit.variances if v.boundary and v.group in {g.name for g in groups}]
    for name in zero:
        facts = {"group": name, "exact": exact}
        found.append(Check(check="no scatter between groups", verdict="look here", facts=facts))
    slopes = [name for name in fit.boundary if name not in zero]
    for name in slopes:
        found.append(Check(check="slope at the edge", verdict="look here", facts={"group": name}))
    for name, why in fit.dropped.items():
        found.append(Check(check="group left out", verdict="look here", facts={"group": name, "why": why}))
    if not fit.converged:
        found.append(Check(check="not settled", verdict="do not rely", facts={"starts": fit.starts}))
    return found
