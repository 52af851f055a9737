"""Which levels can be told from which, at a glance?

Two levels share a letter exactly when they are not different. Insert and absorb:
Piepho 2004, Journal of Computational and Graphical Statistics 13:456.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from string import ascii_lowercase


def letters(means: Sequence[float], different: Collection[tuple[int, int]]) -> list[str]:
    """Letters for each mean; the largest mean has "a". ``different`` holds pairs of positions."""
    order = sorted(range(len(means)), key=lambda i: -means[i])
    groups = [frozenset(order)]
    for pair in different:
        groups = _absorb([part for group in groups for part in _split(group, pair)])
    place = {level: rank for rank, level in enumerate(order)}
    groups.sort(key=lambda group: sorted(place[level] for level in group))
    return ["".join(_name(i) for i, group in enumerate(groups) if level in group) for level in range(len(means))]


def _split(group: frozenset[int], pair: tuple[int, int]) -> list[frozenset[int]]:
    one, other = pair
    return [group - {one}, group - {other}] if one in group and other in group else [group]


def _absorb(groups: list[frozenset[int]]) -> list[frozenset[int]]:
    """Drop groups that lie wholly inside another."""
    unique = list(dict.fromkeys(groups))
    return [group for group in unique if not any(group < other for other in unique)]


def _name(position: int) -> str:
    """a … z, then a1 … z1: no two groups look alike."""
    turn, place = divmod(position, 26)
    return ascii_lowercase[place] + (str(turn) if turn else "")
