"""Which treatments stand together when a block cannot hold all of them?

Balanced incomplete blocks, in which every two treatments meet in equally many blocks, where they
are found; else blocks as nearly balanced as an exchange search makes them (efficiency as in
John & Williams 1995, Cyclic and Computer Generated Designs). Existence asks that r (k - 1) / (t - 1)
is whole (Yates 1936, Annals of Eugenics 7:121).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from math import gcd

import numpy as np
from numpy.typing import NDArray

from analysis.designs.arrangement import Arrangement, nested
from analysis.designs.factorials import all_combinations
from analysis.designs.requests import DesignRequest, ModelName
from analysis.designs.shuffle import Stream
from analysis.designs.treatments import Treatments
from analysis.errors import PlanError

Integers = NDArray[np.int64]

STARTS = 30
MOST_SWEEPS = 60


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
            try_this=f"from 2 to {treatments - 1}" + (', or kind = "complete blocks"' if size >= treatments else ""),
        )
    if treatments * replicates % size:
        step = size // gcd(treatments, size)
        fits = ", ".join(str(step * times) for times in range(1, 5))
        raise PlanError(
            f"{treatments} treatments baked {replicates} time(s) do not fill blocks of {size}.",
            where="design, replicates",
            try_this=f"replicates = {fits} …, or another block_size",
        )
    return incidence(treatments, size, replicates, seed=request.seed)


def incidence(treatments: int, size: int, replicates: int, *, seed: int) -> Incidence:
    """The best blocks found: balanced by a cycle or by all combinations where they fit, else by exchange.

    Raises PlanError when the treatments would fall apart into groups that never meet.
    """
    blocks = treatments * replicates // size
    ideal = replicates * (size - 1) / (treatments - 1)
    candidates = []
    if ideal == int(ideal):
        candidates = [
            found for found in (_all_of(treatments, size, blocks), _cyclic(treatments, size, blocks)) if found
        ]
    for members in candidates:
        judged = _judged(members, treatments, size, replicates)
        if judged.balanced:
            return judged
    best = _best_exchanged(treatments, size, replicates, seed)
    if best.efficiency <= 0:
        raise PlanError(
            "These blocks would leave treatments that can never be compared.",
            where="design",
            try_this="more replicates, or a larger block_size",
        )
    return best


def _best_exchanged(treatments: int, size: int, replicates: int, seed: int) -> Incidence:
    best: Incidence | None = None
    for start in range(STARTS):
        found = _judged(_exchanged(treatments, size, replicates, seed, start), treatments, size, replicates)
        if best is None or found.rank > best.rank:
            best = found
        if best.balanced:
            break
    assert best is not None
    return best


def _all_of(treatments: int, size: int, blocks: int) -> list[tuple[int, ...]] | None:
    """Every combination, as often as it fits."""
    every = list(combinations(range(treatments), size)) if treatments <= 16 else []
    return every * (blocks // len(every)) if every and blocks % len(every) == 0 else None


def _cyclic(treatments: int, size: int, blocks: int) -> list[tuple[int, ...]] | None:
    """A block and its shifts whose differences are all alike (a difference set), as often as it fits."""
    if blocks % treatments or treatments > 31:
        return None
    for rest in combinations(range(1, treatments), size - 1):
        base = (0, *rest)
        counts = [0] * treatments
        for one in base:
            for other in base:
                counts[(one - other) % treatments] += 1
        if len(set(counts[1:])) == 1:
            shifts = [tuple(sorted((at + step) % treatments for at in base)) for step in range(treatments)]
            return shifts * (blocks // treatments)
    return None


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


def _exchanged(treatments: int, size: int, replicates: int, seed: int, start: int) -> list[tuple[int, ...]]:
    """Random blocks, then swaps between blocks while the squares of meetings shrink."""
    stream = Stream(seed, f"incomplete blocks {start}")
    dealt = _dealt(treatments, size, replicates, stream)
    together = _meetings([tuple(block) for block in dealt], treatments)
    for _ in range(MOST_SWEEPS):
        if not _sweep(dealt, together):
            break
    return [tuple(sorted(block)) for block in dealt]


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


def _sweep(blocks: list[list[int]], together: Integers) -> bool:
    """One pass over all pairs of blocks; says whether anything was swapped."""
    swapped = False
    for one, other in combinations(range(len(blocks)), 2):
        for i in range(len(blocks[one])):
            for j in range(len(blocks[other])):
                a, b = blocks[one][i], blocks[other][j]
                if a == b or a in blocks[other] or b in blocks[one]:
                    continue
                rest_one = [at for at in blocks[one] if at != a and at not in blocks[other]]
                rest_other = [at for at in blocks[other] if at != b and at not in blocks[one]]
                gain = (
                    together[a, rest_one].sum()
                    + together[b, rest_other].sum()
                    - together[b, rest_one].sum()
                    - together[a, rest_other].sum()
                )
                # Swapping changes each of these meetings by one: the sum of squares falls when gain > their number.
                if gain > len(rest_one) + len(rest_other):
                    for group, goes, comes in ((rest_one, a, b), (rest_other, b, a)):
                        together[goes, group] -= 1
                        together[group, goes] -= 1
                        together[comes, group] += 1
                        together[group, comes] += 1
                    blocks[one][i], blocks[other][j] = b, a
                    swapped = True
    return swapped
