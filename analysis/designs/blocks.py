"""Which treatments go into which block (bake day, oven, bag of flour)?

Every block holds whole sets of treatments, so that no difference between blocks can pass
for a treatment's. Where blocks of one size do not come out even, the last holds fewer sets,
still whole ones. Two-level designs may also be divided: each block then holds a part of a
set, and chosen interactions of many factors cannot be told from the blocks.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from math import comb

from analysis.designs.fractions import effects_up_to, in_order
from analysis.designs.requests import DesignRequest
from analysis.designs.treatments import Treatments
from analysis.errors import PlanError

CENTRE = -1  # stands for the centre point among the treatments' places
MOST_TRIES = 60_000


@dataclass(frozen=True, kw_only=True)
class Blocks:
    """``members``: for each block the places of its treatments, in standard order.

    ``confounded``: masks of effects of up to three factors that cannot be told from the blocks.
    """

    name: str | None
    members: tuple[tuple[int, ...], ...]
    confounded: tuple[int, ...] = ()

    def labels(self) -> tuple[str | None, ...]:
        """ "1", "2" …, of equal length so that they sort as they count."""
        if self.name is None:
            return (None,)
        width = len(str(len(self.members)))
        return tuple(f"{number:0{width}d}" for number in range(1, len(self.members) + 1))


def share_out(made: Treatments, request: DesignRequest) -> Blocks:
    """Divide the runs into blocks. Raises PlanError with the block sizes that would fit."""
    one_set = list(range(len(made.treatments)))
    if request.block is None:
        if request.block_size is not None:
            raise PlanError(
                f"block_size = {request.block_size} is given, but not what a block is.",
                where="design, block_size",
                try_this='block = "bake day", or leave block_size out',
            )
        return Blocks(name=None, members=((*one_set * request.replicates, *[CENTRE] * made.centre_points),))
    return _blocked(made, request)


def _blocked(made: Treatments, request: DesignRequest) -> Blocks:
    total = _total(made, request)
    size = request.block_size
    if size is None:  # one set of treatments in each block
        size = total // request.replicates if made.centre_points % request.replicates == 0 else 0
    found = _blocks_of(size, made, request) if size > 0 and total % size == 0 else None
    found = found or _fewer_in_the_last(size, made, request)
    if found is None:
        raise _does_not_fit(made, request)
    return found


def _fewer_in_the_last(size: int, made: Treatments, request: DesignRequest) -> Blocks | None:
    """As many whole sets in each block as make ``size`` runs, and what is left in the last; None when none make it.

    Every block holds all treatments equally often, so that no difference between blocks touches a treatment's,
    whatever their sizes. Centre points go with the sets, as nearly in proportion as they can.
    """
    sets, centres = request.replicates, made.centre_points
    for a_block in range(min(size // len(made.treatments), sets - 1), 0, -1):
        ends = [*range(a_block, sets, a_block), sets]
        one_set = range(len(made.treatments))
        members = tuple(
            (*[*one_set] * (end - begin), *[CENTRE] * (centres * end // sets - centres * begin // sets))
            for begin, end in pairwise([0, *ends])
        )
        if max(map(len, members)) == size:
            return Blocks(name=request.block, members=members)
    return None


def _total(made: Treatments, request: DesignRequest) -> int:
    return len(made.treatments) * request.replicates + made.centre_points


def _blocks_of(size: int, made: Treatments, request: DesignRequest) -> Blocks | None:
    """Blocks of ``size`` runs, or None when they would hold parts of a set that cannot be divided."""
    treatments = len(made.treatments)
    count = _total(made, request) // size
    if made.centre_points % count:
        return None
    centres = [CENTRE] * (made.centre_points // count)
    factorial = size - len(centres)
    if factorial > 0 and factorial % treatments == 0:
        one_block = (*list(range(treatments)) * (factorial // treatments), *centres)
        return Blocks(name=request.block, members=(one_block,) * count)
    if factorial < 2 or request.kind == "complete blocks":
        return None
    return _divided(made, request, parts=treatments / factorial, centres=centres)


def _divided(made: Treatments, request: DesignRequest, *, parts: float, centres: list[int]) -> Blocks | None:
    power = int(parts).bit_length() - 1
    if made.signs is None or parts != 2**power:
        return None
    factors = len(made.signs[0])
    words = made.fraction.words if made.fraction else frozenset()
    chosen = _block_generators(factors, words, power, runs=len(made.signs))
    if chosen is None:
        return None
    groups: dict[tuple[int, ...], list[int]] = {}
    for place, row in enumerate(made.signs):
        key = tuple(_sign(row, mask) for mask in chosen)
        groups.setdefault(key, []).append(place)
    one_replicate = [(*places, *centres) for _, places in sorted(groups.items())]
    confounded = sorted((mask for mask in _span_with(chosen, words) if mask.bit_count() <= 3), key=in_order)
    return Blocks(name=request.block, members=tuple(one_replicate * request.replicates), confounded=tuple(confounded))


def _sign(row: Sequence[int], mask: int) -> int:
    product = 1
    for position, value in enumerate(row):
        if mask >> position & 1:
            product *= value
    return product


def _block_generators(factors: int, words: frozenset[int], power: int, *, runs: int) -> tuple[int, ...] | None:
    """The ``power`` effects to give up to the blocks: those that cost interactions of most factors.

    None when a main effect would be lost. Every choice is tried; effects that are aliases
    of each other count once.
    """
    strings = _one_of_each_chain(factors, words)
    if power < 1 or comb(len(strings), power) > MOST_TRIES or runs < 2 ** (power + 1):
        return None
    best: tuple[tuple[int, int, int], tuple[int, ...]] | None = None
    for chosen in combinations(strings, power):
        lost = _span_with(chosen, words)
        shortest = min(mask.bit_count() for mask in lost)
        if 0 in lost or shortest < 2:
            continue
        pairs = sum(mask.bit_count() == 2 for mask in lost)
        score = (-shortest, pairs, sum(mask.bit_count() == 3 for mask in lost))
        if best is None or score < best[0]:
            best = (score, chosen)
    return best[1] if best else None


def _one_of_each_chain(factors: int, words: frozenset[int]) -> list[int]:
    seen: set[int] = set(words)
    kept = []
    for mask in effects_up_to(factors, factors):
        if mask not in seen:
            kept.append(mask)
            seen.update({mask, *(mask ^ word for word in words)})
    return kept


def _span_with(chosen: Iterable[int], words: frozenset[int]) -> set[int]:
    """All products of the chosen effects (at least one of them), and all their aliases."""
    span = {0}
    products: list[int] = []
    for mask in chosen:
        new = [mask ^ other for other in span]
        products += new
        span.update(new)
    return {mask ^ word for mask in products for word in (0, *words)}


def _does_not_fit(made: Treatments, request: DesignRequest) -> PlanError:
    total = _total(made, request)
    sizes = [size for size in range(1, total + 1) if total % size == 0 and _blocks_of(size, made, request) is not None]
    asked = request.block_size or 0
    uneven = [size for size in range(asked, 0, -1) if _fewer_in_the_last(size, made, request) is not None]
    fits = ", ".join(str(size) for size in sorted({*sizes, *uneven[:1]}))
    centres = f" and {made.centre_points} centre points" if made.centre_points else ""
    return PlanError(
        f"Blocks of {request.block_size or 'one set each'} do not hold whole sets: "
        f"{len(made.treatments)} treatments, {request.replicates} replicate(s){centres} make {total} runs.",
        where="design, block_size",
        try_this=f"block_size = {' or '.join(fits.split(', '))}, or other replicates" if fits else "other replicates",
    )
