"""Which treatments stand together when a block cannot hold all of them?

Balanced incomplete blocks, in which every two treatments meet in equally many blocks, where they
are found; else blocks as nearly balanced as an exchange search makes them (efficiency as in
John & Williams 1995, Cyclic and Computer Generated Designs). Existence asks that r (k - 1) / (t - 1)
is whole (Yates 1936, Annals of Eugenics 7:121).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations
from math import gcd

import numpy as np
from numpy.typing import NDArray

from analysis.designs.arrangement import Arrangement, nested
from analysis.designs.balanced import every_combination, lattice, shifted
from analysis.designs.factorials import all_combinations
from analysis.designs.requests import DesignRequest, ModelName
from analysis.designs.shuffle import Stream
from analysis.designs.treatments import Treatments, refuse_too_many
from analysis.errors import PlanError

Integers = NDArray[np.int64]

STARTS = 30
MOST_TRIED = 40_000  # pairs of blocks looked at in all, about a second


@dataclass(frozen=True, kw_only=True)
class Incidence:
    """``members``: for each block the treatments in it. ``fewest`` and ``most``: how often two of them meet."""

    members: tuple[tuple[int, ...], ...]
    fewest: int
    most: int
    efficiency: float

    @property
    def balanced(self) -> bool:
        return self.fewest == self.most

    @property
    def rank(self) -> tuple[bool, float, int]:
        """Connected first, then as efficient as can be told from rounding, then as even as can be."""
        return (self.efficiency > 0, round(self.efficiency, 9), self.fewest - self.most)


def incomplete_blocks(request: DesignRequest) -> Treatments:
    """All combinations of the factors' levels, with the blocks they will stand in among the properties."""
    if request.block is None or request.block_size is None:
        raise PlanError(
            "Incomplete blocks need a name and a size.",
            where="design",
            try_this='block = "bake day" and block_size = 3',
        )
    made = replace(all_combinations(replace(request, replicates=1), default=2), signs=None)
    found = _incidence(made, request)
    properties = {
        "balanced": found.balanced,
        "blocks": len(found.members),
        "fewest_meetings": found.fewest,
        "most_meetings": found.most,
        "efficiency": round(found.efficiency, 6),
    }
    model: ModelName = "main effects" if len(request.factors) == 1 else "interactions"
    return replace(made, model=model, properties=properties)


def in_incomplete_blocks(made: Treatments, request: DesignRequest) -> Arrangement:
    """Treatments are dealt to the letters of the incidence at random, blocks and runs within them shuffled."""
    dealt = Stream(request.seed, "letters").shuffled(range(len(made.treatments)))
    contents = [[[dealt[letter] for letter in block]] for block in _incidence(made, request).members]
    return nested(contents, request, block=request.block, plot=None)


def _incidence(made: Treatments, request: DesignRequest) -> Incidence:
    treatments, size, replicates = len(made.treatments), int(request.block_size or 0), request.replicates
    if not 2 <= size < treatments:
        raise PlanError(
            f"A block of {size} is not a part of {treatments} treatments.",
            where="design, block_size",
            try_this=(f"block_size = 2 to {treatments - 1}, or " if treatments > 3 else "")
            + ('kind = "complete blocks"' if treatments != 3 else 'block_size = 2, or kind = "complete blocks"'),
        )
    if treatments * replicates % size:
        step = size // gcd(treatments, size)
        fits = ", ".join(str(step * times) for times in range(1, 5))
        raise PlanError(
            f"{treatments} treatments baked {replicates} time(s) do not fill blocks of {size}.",
            where="design, replicates",
            try_this=f"replicates = {fits} …, or another block_size",
        )
    refuse_too_many(treatments * replicates, try_this="fewer levels or replicates")
    return incidence(treatments, size, replicates, seed=request.seed)


@lru_cache(maxsize=8)
def incidence(treatments: int, size: int, replicates: int, *, seed: int) -> Incidence:
    """The best blocks found: balanced by a construction where one fits, else by exchange.

    Raises PlanError when the treatments would fall apart into groups that never meet.
    """
    blocks = treatments * replicates // size
    lines = lattice(treatments, size, replicates)
    if lines and replicates > 1:  # no other blocks are more efficient (Cheng & Bailey 1991, from memory)
        return _judged(lines, treatments, size, replicates)
    candidates = []
    if replicates * (size - 1) % (treatments - 1) == 0:
        candidates += [every_combination(treatments, size, blocks), shifted(treatments, size, blocks)]
    built = [_judged(members, treatments, size, replicates) for members in candidates if members]
    for judged in built:
        if judged.balanced:
            return judged
    if replicates % size == 0:  # neighbours in a ring: poor, but always connected
        ring = [tuple(sorted((at + step) % treatments for at in range(size))) for step in range(treatments)]
        built.append(_judged(ring * (blocks // treatments), treatments, size, replicates))
    best = _best_exchanged(treatments, size, replicates, seed, built)
    if best.efficiency <= 0:
        raise PlanError(
            "These blocks would leave treatments that can never be compared.",
            where="design",
            try_this="more replicates, or a larger block_size",
        )
    return best


def _best_exchanged(treatments: int, size: int, replicates: int, seed: int, built: Sequence[Incidence]) -> Incidence:
    """The best of what was built and of random starts, as many as patience allows (the first always)."""
    patience = MOST_TRIED // (1 + size * size // 1000)  # large blocks take longer to look at
    found = list(built)
    for start in range(STARTS):
        members, tried = _exchanged(treatments, size, replicates, Stream(seed, f"incomplete blocks {start}"), patience)
        found.append(_judged(members, treatments, size, replicates))
        patience -= tried
        if found[-1].balanced or patience <= 0:
            break
    return max(found, key=lambda each: each.rank)


def _judged(members: list[tuple[int, ...]], treatments: int, size: int, replicates: int) -> Incidence:
    together = _meetings(members, treatments)
    off = together[~np.eye(treatments, dtype=bool)]
    # Information on treatments within blocks: r I - N N' / k; its non-zero roots over r are the efficiencies.
    information = replicates * np.eye(treatments) - _with_self(together, replicates) / size
    roots = np.sort(np.linalg.eigvalsh(information))[1:] / replicates
    efficiency = float(len(roots) / np.sum(1 / roots)) if roots.min() > 1e-9 else 0.0
    return Incidence(members=tuple(members), fewest=int(off.min()), most=int(off.max()), efficiency=efficiency)


def _meetings(members: list[tuple[int, ...]], treatments: int) -> Integers:
    together = np.zeros((treatments, treatments), dtype=np.int64)
    for block in members:
        for one, other in combinations(block, 2):
            together[one, other] += 1
            together[other, one] += 1
    return together


def _with_self(together: Integers, replicates: int) -> NDArray[np.float64]:
    """N N': meetings off the diagonal, replicates on it."""
    return together.astype(np.float64) + replicates * np.eye(len(together))


def _exchanged(
    treatments: int, size: int, replicates: int, stream: Stream, patience: int
) -> tuple[list[tuple[int, ...]], int]:
    """Random blocks, then swaps between blocks while the squares of meetings shrink; with the pairs it looked at."""
    holds = np.zeros((treatments * replicates // size, treatments), dtype=np.int64)
    for row, block in zip(holds, _dealt(treatments, size, replicates, stream), strict=True):
        row[block] = 1
    together = holds.T @ holds
    np.fill_diagonal(together, 0)
    tried, swaps = 0, 1
    while swaps and tried < patience:
        swaps = _sweep(holds, together)
        tried += len(holds) * (len(holds) - 1) // 2 + swaps
    return [tuple(int(at) for at in np.flatnonzero(row)) for row in holds], tried


def _dealt(treatments: int, size: int, replicates: int, stream: Stream) -> list[list[int]]:
    """Blocks of distinct treatments, each ``replicates`` times, filled by what is left most often."""
    left = dict.fromkeys(range(treatments), replicates)
    blocks = []
    for _ in range(treatments * replicates // size):
        order = sorted(stream.shuffled(range(treatments)), key=lambda at: -left[at])
        block = order[:size]
        for at in block:
            left[at] -= 1
        blocks.append(block)
    return blocks


def _sweep(holds: Integers, together: Integers) -> int:
    """One pass over all pairs of rows of ``holds`` (blocks, treatments); the number of swaps made."""
    swaps = 0
    for one, other in combinations(range(len(holds)), 2):
        while _swap(holds, together, one, other):
            swaps += 1
    return swaps


def _swap(holds: Integers, together: Integers, one: int, other: int) -> bool:
    """Swap the two treatments whose swap evens the meetings most, if any does."""
    here, there = np.flatnonzero(holds[one] > holds[other]), np.flatnonzero(holds[one] < holds[other])
    if not len(here):
        return False
    across = together[np.ix_(here, there)]
    leaves = together[np.ix_(here, here)].sum(axis=1) - across.sum(axis=1)
    joins = together[np.ix_(there, there)].sum(axis=1) - across.sum(axis=0)
    # How many more meetings the swapped ones have with those they leave than with those they join.
    gain = leaves[:, None] + joins[None, :] + 2 * across
    i, j = divmod(int(gain.argmax()), len(there))
    # Each of these meetings changes by one: the sum of squares falls when the gain exceeds their number.
    if gain[i, j] <= 2 * (len(here) - 1):
        return False
    goes, comes = int(here[i]), int(there[j])
    for block, out, into in ((one, goes, comes), (other, comes, goes)):
        holds[block, out] = 0
        rest = np.flatnonzero(holds[block])
        together[out, rest] -= 1
        together[rest, out] -= 1
        together[into, rest] += 1
        together[rest, into] += 1
        holds[block, into] = 1
    return True
