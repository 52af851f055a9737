"""Which letters stand in a cell, so that two Latin squares of one size show each pair of letters once?

Row + column, and for the second letter row + 2 column, in the ring (odd sizes) or field (4, 8) of the
size; both parts of a product (12 = 3 x 4); for 10 the pattern of Parker 1959 (Proc. Natl. Acad. Sci.
45:859, from memory). A test counts the pairs of every size.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import product

from analysis.designs.finite import FIELDS, times

# Three columns of differences modulo 7, each with one gap, found by a search of our own. Between any two of
# the four places of their rotations every difference but nothing comes up once.
GAP = None
STARTERS = ((GAP, 0, 1, 4), (GAP, 0, 2, 1), (GAP, 0, 4, 2))


def one_letter(size: int, row: int, column: int) -> int:
    """The letter of a Latin square; all from 0 to ``size`` - 1."""
    return row ^ column if size in FIELDS else (row + column) % size


def two_letters(size: int, row: int, column: int) -> tuple[int, int]:
    """The letters of a Graeco-Latin square of 3 to 5 or 7 to 12; there is none of 2 or 6."""
    if size in FIELDS:
        return row ^ column, row ^ times(2, column, size)
    if size == 10:
        return _ten()[row, column]
    if size == 12:
        high, other_high = two_letters(3, row // 4, column // 4)
        low, other_low = two_letters(4, row % 4, column % 4)
        return 4 * high + low, 4 * other_high + other_low
    assert size % 2, size
    return (row + column) % size, (row + 2 * column) % size


@lru_cache(maxsize=1)
def _ten() -> dict[tuple[int, int], tuple[int, int]]:
    """(row, column) -> letters of the square of ten: seven numbers that shift, and three that fill the gaps."""
    lines: list[tuple[int, ...]] = [(shift,) * 4 for shift in range(7)]
    for at, starter in enumerate(STARTERS):
        for turn, shift in product(range(4), range(7)):
            turned = starter[turn:] + starter[:turn]
            lines.append(tuple(7 + at if part is GAP else (part + shift) % 7 for part in turned))
    for row, column in product(range(3), repeat=2):
        lines.append((7 + row, 7 + column, *(7 + letter for letter in two_letters(3, row, column))))
    return {(row, column): (first, second) for row, column, first, second in lines}
