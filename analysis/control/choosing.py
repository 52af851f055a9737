"""Which changes does a log show together, and which suspect does each go with best?

One change at a time, the surest first; after each, those found before are asked again with the
others taken out, because the first of two that lie over each other is often a bad mixture of both. In
the end every change has to stand beside the others, or it goes.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.control.made_with import BatchMeans
from analysis.control.scan import Patterns, Scan, scan
from analysis.control.suspects import ONSETS, WINDOW_ENDS, Ground, Member, pattern
from analysis.control.why_results import Suspect

Array = NDArray[np.float64]

MOST_CHANGES = 6
ROUNDS = 3
SPLITS = 12  # so many firsts are tried when one change is taken apart into two
WORTH_TWO = 3.0  # about ln 20: a second change has to earn its place
RIVAL = 0.05  # a suspect of less weight is not named

Key = tuple[str, str, bool]


@dataclass(frozen=True, kw_only=True)
class Found:
    """A change as it stands beside the others: its member, and the weight of every suspect's key."""

    member: Member
    weights: dict[Key, float]
    members: dict[Key, Member]
    p_value: float


@dataclass(frozen=True, kw_only=True)
class Chosen:
    found: tuple[Found, ...]
    first_p: float


def key_of(suspect: Suspect) -> Key:
    """Lots are told apart one by one, settings column by column (of two ovens, either may be called the odd one)."""
    return suspect.column, suspect.level if suspect.of_lot else "", suspect.of_lot


def choose(means: BatchMeans, ground: Ground, *, alpha: float, seed: int) -> Chosen:
    """All changes that chance would show in fewer than ``alpha`` of logs; none when there is none.

    Each further look is a further chance of error, so the second change has to stand at half of alpha,
    the third at a third.
    """
    asking = _Asking(means, ground, seed)
    taken: list[Member] = []
    first_p = 1.0
    while len(taken) < MOST_CHANGES:
        answer = asking.scan(taken, counted=True)
        p = answer.p_value or 0.0
        if not taken:
            first_p = p
        if p > alpha / (1 + len(taken)):
            break
        taken.append(asking.best(answer, taken)[0])
        taken = asking.settle(asking.split(asking.settle(taken)))
    found = asking.told(taken)
    while any(each.p_value > alpha / len(found) for each in found):
        weakest = max(range(len(found)), key=lambda at: found[at].p_value)
        taken = asking.settle([member for at, member in enumerate(taken) if at != weakest])
        found = asking.told(taken)
    return Chosen(found=tuple(found), first_p=first_p)


class _Asking:
    """The log, its patterns laid out once."""

    def __init__(self, means: BatchMeans, ground: Ground, seed: int) -> None:
        self.means, self.ground, self.seed = means, ground, seed
        self.patterns = Patterns(
            np.column_stack([pattern(member, ground) for member in ground.members]),
            np.array([member.prior for member in ground.members]),
            root_weights=means.root_weights,
        )
        self.keys = [key_of(member.suspect) for member in ground.members]
        self.place = {member: at for at, member in enumerate(ground.members)}

    def base(self, taken: Sequence[Member]) -> Array:
        return base_of(taken, self.ground)

    def scan(self, taken: Sequence[Member], *, counted: bool) -> Scan:
        return scan(
            self.means.means,
            self.base(taken),
            self.patterns,
            seed=self.seed + len(taken) if counted else None,
        )

    def best(self, answer: Scan, others: Sequence[Member]) -> tuple[Member, dict[Key, float], dict[Key, Member]]:
        """The member to take, the weight of each key, and the best member of each."""
        members = self.ground.members
        of_key: dict[Key, float] = defaultdict(float)
        of_way: dict[Key, dict[str, float]] = defaultdict(lambda: defaultdict(float))
        of_both: dict[tuple[Key, str], int] = {}
        for at, (key, weight) in enumerate(zip(self.keys, answer.weights.tolist(), strict=True)):
            way = members[at].suspect.behaviour
            of_key[key] += weight
            of_way[key][way] += weight
            if weight > answer.weights[of_both.setdefault((key, way), at)]:
                of_both[key, way] = at
        best = {key: members[of_both[key, max(ways, key=lambda way: ways[way])]] for key, ways in of_way.items()}
        top = max(of_key, key=lambda key: of_key[key])
        best[top] = self.refined(best[top], others)
        return best[top], dict(of_key), best

    def refined(self, member: Member, others: Sequence[Member]) -> Member:
        """Beginnings and ends were tried on a grid; the best is moved to the very batch."""
        if is_fixed(member):
            return member
        n = self.ground.n
        near, wide = -(-n // ONSETS), -(-n // WINDOW_ENDS)
        starts = range(max(1, member.start - wide), min(n - 1, member.start + wide) + 1)
        if member.end < n:
            ends: Sequence[int] = range(max(member.start + near, member.end - wide), min(n, member.end + wide) + 1)
        else:
            ends = (n,)
        tried = [replace(member, start=a, end=b) for a in starts for b in ends if b - a >= 3]
        columns = [pattern(each, self.ground) for each in tried]
        kept = [at for at, column in enumerate(columns) if np.count_nonzero(column) >= 3]
        if not kept:
            return member
        answer = scan(
            self.means.means,
            self.base(others),
            Patterns(
                np.column_stack([columns[at] for at in kept]), np.ones(len(kept)), root_weights=self.means.root_weights
            ),
        )
        return tried[kept[int(np.argmax(answer.gains))]]

    def settle(self, taken: list[Member]) -> list[Member]:
        """Each change asked again beside the others, until none moves."""
        if len(taken) < 2:
            return taken
        for _ in range(ROUNDS):
            before = list(taken)
            for at in range(len(taken)):
                others = [member for place, member in enumerate(taken) if place != at]
                taken[at] = self.best(self.scan(others, counted=False), others)[0]
            if taken == before:
                break
        return taken

    def split(self, taken: list[Member]) -> list[Member]:
        """Two changes in the place of one, where they say much more: one stretch may hide a drift and a step."""
        for at in range(len(taken)):
            others = [member for place, member in enumerate(taken) if place != at]
            one = self.scan(others, counted=False)
            best = self.best(one, others)[2].values()
            gains = {member: self._score(member, one) for member in best if member in self.place}
            tried = sorted(gains, key=lambda member: -gains[member])[:SPLITS]
            seconds = [self.scan([*others, member], counted=False) for member in tried]
            scores = [gains[member] + second.statistic for member, second in zip(tried, seconds, strict=True)]
            if scores and max(scores) > one.statistic + WORTH_TWO:
                winner = int(np.argmax(scores))
                first = [*others, tried[winner]]
                return [*first, self.best(seconds[winner], first)[0]]
        return taken

    def _score(self, member: Member, answer: Scan) -> float:
        return float(answer.gains[self.place[member]] / 2 + np.log(member.prior))

    def told(self, taken: Sequence[Member]) -> list[Found]:
        found = []
        for at in range(len(taken)):
            others = [member for place, member in enumerate(taken) if place != at]
            answer = self.scan(others, counted=True)
            member, weights, members = self.best(answer, others)
            found.append(Found(member=member, weights=weights, members=members, p_value=answer.p_value or 0.0))
        return found


def is_fixed(member: Member) -> bool:
    """Does the log itself say when it begins: a lot's first batch, an oven all along?"""
    return member.suspect.of_lot or (bool(member.suspect.column) and member.start == 0)


def base_of(taken: Sequence[Member], ground: Ground) -> Array:
    """The mean and the changes taken, as columns (n, 1 + taken)."""
    return np.column_stack([np.ones(ground.n), *(pattern(member, ground) for member in taken)])
