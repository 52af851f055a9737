"""Which blocks let every two treatments meet equally often?

Three constructions: every combination; base blocks and their shifts, when all differences within them
come up equally often (Bose 1939, Annals of Eugenics 9:353); lines of a square of treatments (the
square lattices of Yates 1936, Annals of Eugenics 7:121). All are from memory and checked by counting.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from math import comb

from analysis.designs.finite import FIELDS, times

Blocks = list[tuple[int, ...]]

MOST_TRIED = 20_000  # elements tried for base blocks; a quarter of a second


def every_combination(treatments: int, size: int, blocks: int) -> Blocks | None:
    """Every combination, as often as it fits; None where ``blocks`` is no multiple of them."""
    if blocks % comb(treatments, size):
        return None
    return list(combinations(range(treatments), size)) * (blocks // comb(treatments, size))


def shifted(treatments: int, size: int, blocks: int) -> Blocks | None:
    """Base blocks and all their shifts (modulo ``treatments``); None where no base blocks are found.

    Blocks of more than half are what small balanced blocks leave over, which are found sooner.
    """
    if 2 * size > treatments:
        small = shifted(treatments, treatments - size, blocks) if treatments - size > 1 else None
        return small and [tuple(at for at in range(treatments) if at not in block) for block in small]
    families, left = divmod(blocks, treatments)
    if left:
        return None
    for count in range(1, families + 1):
        if families % count or count * size * (size - 1) % (treatments - 1):
            continue
        bases = _Bases(treatments, size, count).found()
        if bases is not None:
            shifts = [
                tuple(sorted((at + step) % treatments for at in base)) for base in bases for step in range(treatments)
            ]
            return shifts * (families // count)
    return None


class _Bases:
    """Looks for ``count`` base blocks in which every difference comes up ``most`` times."""

    def __init__(self, treatments: int, size: int, count: int) -> None:
        self.treatments, self.size, self.count = treatments, size, count
        self.most = count * size * (size - 1) // (treatments - 1)
        self.met = [0] * treatments
        self.bases: list[list[int]] = [[0]]
        self.tried = 0

    def found(self) -> list[list[int]] | None:
        return self.bases if self._grown() else None

    def _grown(self) -> bool:
        """Fill the last base block and those after it, going back where a difference comes up too often."""
        base = self.bases[-1]
        if len(base) == self.size:
            if len(self.bases) == self.count:
                return True
            self.bases.append([0])
            if self._grown():
                return True
            self.bases.pop()
            return False
        for element in range(base[-1] + 1, self.treatments):
            self.tried += 1
            if self.tried > MOST_TRIED:
                return False
            differences = [way for at in base for way in (element - at, at - element + self.treatments)]
            self._count(differences, 1)
            if all(self.met[each] <= self.most for each in differences):
                base.append(element)
                if self._grown():
                    return True
                base.pop()
            self._count(differences, -1)
        return False

    def _count(self, differences: Sequence[int], step: int) -> None:
        for each in differences:
            self.met[each] += step


def lattice(treatments: int, size: int, replicates: int) -> Blocks | None:
    """Treatments in a square of ``size`` by ``size``; a replicate is its rows, its columns or its lines of one slope.

    All ``size`` + 1 replicates are balanced; fewer let every two treatments meet at most once, which
    is as even as it can be. None where the treatments are no square or its size has no field.
    """
    prime = all(size % divisor for divisor in range(2, size))
    if size * size != treatments or not (prime or size in FIELDS):
        return None
    blocks: Blocks = []
    for replicate in range(replicates):
        slope = replicate % (size + 1)
        for start in range(size):
            blocks.append(tuple(sorted(_line(slope, start, size))))
    return blocks


def _line(slope: int, start: int, size: int) -> list[int]:
    """Positions on a line of the square; slope 0 is a row, slope ``size`` a column."""
    if slope == size:
        return [down * size + start for down in range(size)]
    if size in FIELDS:
        return [(times(slope, across, size) ^ start) * size + across for across in range(size)]
    return [(slope * across + start) % size * size + across for across in range(size)]
