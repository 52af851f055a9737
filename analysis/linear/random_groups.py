"""Which bakes share an error: those of one day, of one batch within it, those an assessor scored?

Each chain of group columns gives its groups and the groups they lie in; chains cut across each
other. What says nothing (one group, a group for each bake, groups that a fixed block already holds)
is left out, and two groups that no setting hangs on are taken as a block: two say nothing of scatter.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.errors import NotPossible, TrialDataError
from analysis.linear.coding import Variable, from_codes
from analysis.linear.grouping import joint_codes
from analysis.questions import Question
from analysis.results import Check

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

FEWEST = 3  # groups from which their scatter is spoken of


@dataclass(frozen=True, eq=False, kw_only=True)
class RandomGroup:
    """``codes`` (n,) number each row's group, 0 to ``count`` - 1, named ``labels``.

    ``slope`` (n,) is the amount whose effect varies between the groups, counted from ``zero``.
    """

    name: str
    codes: Integers
    labels: tuple[str, ...]
    slope: Floats | None = None
    slope_name: str = ""
    zero: float = 0.0

    @property
    def count(self) -> int:
        return len(self.labels)


@dataclass(frozen=True, eq=False, kw_only=True)
class Groups:
    """``groups`` coarse ones first; ``variables`` with the blocks that remain; ``notes`` on what was changed."""

    groups: tuple[RandomGroup, ...]
    variables: tuple[Variable, ...]
    notes: tuple[Check, ...] = ()


def find_groups(bakes: pd.DataFrame, question: Question, variables: Sequence[Variable]) -> Groups:
    """The random groups of a question.

    Raises TrialDataError for a slope over what is no amount, NotPossible for two slopes of one group.
    """
    blocks = [variable for variable in variables if variable.block]
    factors = [variable for variable in variables if not variable.block]
    finest = chain_name(question.group)
    found: list[RandomGroup] = []
    for group in _with_slopes(bakes, question, list(_asked(bakes, question))):
        known = any(same_partition(group.codes, other.codes) for other in found)
        if known or group.count < 2 or (group.count >= len(bakes) and group.slope is None):
            continue
        if group.name == finest:
            blocks = [b for b in blocks if b.covariate or not same_partition(group.codes, b.codes)]
        if not any(lies_in(block.codes, group.codes) for block in blocks if not block.covariate):
            found.append(group)
    kept, fixed, notes = _enough(found, factors)
    kept.sort(key=lambda group: group.count)
    return Groups(groups=tuple(kept), variables=(*blocks, *fixed, *factors), notes=tuple(notes))


def _asked(bakes: pd.DataFrame, question: Question) -> Iterator[RandomGroup]:
    factors = {factor.name for factor in question.factors}
    chains = [chain[:length] for chain in (question.group, *question.crossed) for length in range(1, len(chain) + 1)]
    for names in [*chains, *((name,) for name in question.strips)]:
        if not set(names) <= factors:
            yield _group(bakes, names)
    if "bake" in bakes and bakes["bake"].duplicated().any():
        codes, labels = joint_codes(bakes, ("bake",))
        yield RandomGroup(name=question.bake or "bake", codes=codes, labels=labels)


def _group(bakes: pd.DataFrame, names: Sequence[str]) -> RandomGroup:
    codes, labels = joint_codes(bakes, names)
    return RandomGroup(name=chain_name(names), codes=codes, labels=labels)


def chain_name(names: Sequence[str]) -> str:
    """ "day+batch"; a column that was joined from those before it stands for all of them."""
    held = len(names) > 1 and names[-1].startswith((f"{names[-2]}+", f"{'+'.join(names[:-1])}+"))
    return names[-1] if held else "+".join(names)


def _with_slopes(bakes: pd.DataFrame, question: Question, groups: list[RandomGroup]) -> list[RandomGroup]:
    amounts = {factor.name for factor in question.factors if factor.kind != "category"}
    for amount, name in question.slopes:
        if amount not in amounts:
            raise TrialDataError(
                f'"{amount}" is no amount, so that its effect has no slope.',
                where="--slope",
                try_this=f'--slope "{min(amounts)}:{name}"' if amounts else "name an amount that was varied",
            )
        at = next((place for place, group in enumerate(groups) if group.name == name), None)
        if at is None:
            groups.append(_group(bakes, (name,)))
            at = len(groups) - 1
        if groups[at].slope is not None:
            raise NotPossible(
                f"Only one slope for each kind of group can be told; {name} has two.",
                where="--slope",
                try_this=f'--slope "{groups[at].slope_name}:{name}" alone',
            )
        values = bakes[amount].to_numpy(dtype=np.float64)
        low, high = float(values.min()), float(values.max())
        zero = 0.0 if low <= 0 <= high else (low + high) / 2
        groups[at] = replace(groups[at], slope=values - zero, slope_name=amount, zero=zero)
    return groups


def _enough(
    groups: Sequence[RandomGroup], factors: Sequence[Variable]
) -> tuple[list[RandomGroup], list[Variable], list[Check]]:
    """(groups, blocks made of two groups, notes). A group keeps its place when a setting hangs on it."""
    kept: list[RandomGroup] = []
    fixed: list[Variable] = []
    notes: list[Check] = []
    for group in groups:
        if group.slope is not None and (group.count < FEWEST or not _varies_within(group)):
            because = "few" if group.count < FEWEST else "never within"
            facts = {"amount": group.slope_name, "group": group.name, "because": because, "groups": group.count}
            notes.append(Check(check="slope left out", verdict="look here", facts=facts))
            group = replace(group, slope=None, slope_name="")
        if group.count >= FEWEST or any(lies_in(group.codes, factor.codes) for factor in factors):
            kept.append(group)
            continue
        fixed.append(from_codes(group.name, group.codes, group.labels, block=True))
        facts = {"group": group.name, "groups": group.count}
        notes.append(Check(check="too few groups", verdict="look here", facts=facts))
    return kept, fixed, notes


def _varies_within(group: RandomGroup) -> bool:
    """Does the amount of the slope change within groups, in two of them or more?"""
    assert group.slope is not None
    low = np.full(group.count, np.inf)
    high = np.full(group.count, -np.inf)
    np.minimum.at(low, group.codes, group.slope)
    np.maximum.at(high, group.codes, group.slope)
    return int((high > low).sum()) > 1


def without_finest(groups: Sequence[RandomGroup]) -> tuple[tuple[RandomGroup, ...], str]:
    """The groups without a slope of the finest kind, or without that kind, and what is gone."""
    finest = groups[-1]
    if finest.slope is not None:
        return (*groups[:-1], replace(finest, slope=None, slope_name="")), f"{finest.name}:{finest.slope_name}"
    return tuple(groups[:-1]), finest.name


def lies_in(fine: Integers, coarse: Integers) -> bool:
    """Does each group of ``fine`` lie within one group of ``coarse``?"""
    pairs = fine * (int(coarse.max()) + 1) + coarse
    return len(np.unique(pairs)) == len(np.unique(fine))


def same_partition(one: Integers, other: Integers) -> bool:
    return lies_in(one, other) and lies_in(other, one)


def is_chain(groups: Sequence[RandomGroup]) -> bool:
    """Does each group lie in one of the next coarser kind? ``groups`` coarse ones first."""
    return all(lies_in(fine.codes, coarse.codes) for coarse, fine in pairwise(groups))
