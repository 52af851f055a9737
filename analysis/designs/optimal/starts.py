"""How is the best design found among so many hills?

A quarter of the starts are random. Each further round takes the best designs so far, changes a
few of their runs at random and lets them settle again: near a good design there is often a
better one (iterated local search: Lourenço, Martin and Stützle 2003; the share and the rounds
are measured choices of ours). All starts of a round are exchanged at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.designs.optimal.updates import Floats, Integers

ROUNDS = 6  # of changed designs, after the random ones
SAME = 1e-7  # merits (logarithms) this close are those of equally good designs
SURE = 10  # starts, when half of them or more came to the same best at once


@dataclass(frozen=True, kw_only=True)
class Search:
    """``draw(generator, s)`` gives s random designs, ``change(generator, designs)`` changes a few runs of each,

    ``settle(designs)`` the designs they come to rest at and their merit (s,).
    """

    draw: Callable[[np.random.Generator, int], Integers]
    change: Callable[[np.random.Generator, Integers], Integers]
    settle: Callable[[Integers], tuple[Integers, Floats]]


@dataclass(frozen=True, kw_only=True)
class Best:
    """``reached``: how many of the ``used`` starts came to rest at a design as good as this one."""

    design: Integers
    merit: float
    used: int
    reached: int


def best_of(search: Search, *, starts: int, seed: int) -> Best:
    """The best design of ``starts`` local searches; the same seed gives the same design."""
    generator = np.random.Generator(np.random.PCG64(seed))
    first = min(starts, max(-(-starts // 4), SURE))
    designs, merit = search.settle(search.draw(generator, first))
    found = merit
    while len(found) < starts and not _sure(found):
        designs, merit = _elite(designs, merit, keep=max(first // 4, 1))
        count = min(max(-(-(starts - first) // ROUNDS), 1), starts - len(found))
        picked = designs[np.arange(count) % len(designs)]
        changed, gained = search.settle(search.change(generator, picked))
        designs, merit = np.concatenate([designs, changed]), np.concatenate([merit, gained])
        found = np.concatenate([found, gained])
    # Equally good designs differ by rounding only: the first one found is taken.
    at = int(np.flatnonzero(merit >= merit.max() - SAME)[0])
    return Best(
        design=designs[at], merit=float(merit[at]), used=len(found), reached=int(np.sum(found >= found.max() - SAME))
    )


def _elite(designs: Integers, merit: Floats, *, keep: int) -> tuple[Integers, Floats]:
    """The best designs, one for each merit, best first; equal merits in the order found."""
    _, first = np.unique(np.round(-merit / SAME), return_index=True)
    return designs[first[:keep]], merit[first[:keep]]


def _sure(found: Floats) -> bool:
    """Half of the random starts agree on the best: the problem has no hills to be caught on."""
    return len(found) >= SURE and np.isfinite(found.max()) and np.mean(found >= found.max() - SAME) >= 0.5
