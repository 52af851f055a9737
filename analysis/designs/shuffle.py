"""In which order, when chance decides, and how can the same order be drawn again in ten years?

Our own specified shuffle, the same on every platform and in every version: a stream of
SHA-256 digests of a counter, rejection sampling for whole numbers without bias, and the
Fisher-Yates exchange. Random number libraries promise no such thing across versions.

Digest number i is SHA-256 of the UTF-8 text "ALGORITHM|seed|purpose|i", i = 0, 1, 2 …;
it gives four words of eight bytes, big end first.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from hashlib import sha256
from typing import TypeVar

from analysis.errors import PlanError

ALGORITHM = "sha256-counter fisher-yates 1"
LARGEST_SEED = 2**31 - 1  # fits a 32-bit column of any database
WORD = 2**64

T = TypeVar("T")


class Stream:
    """Chance as an argument: the same seed and purpose give the same draws, in order.

    ``purpose`` keeps draws for one thing (the run order) from moving those for another (codes).
    """

    def __init__(self, seed: int, purpose: str) -> None:
        if isinstance(seed, bool) or not 0 <= seed <= LARGEST_SEED:
            raise PlanError(
                f"The seed {seed} cannot be used.",
                where="seed",
                try_this=f"a whole number from 0 to {LARGEST_SEED}, or leave it out",
            )
        self._words = _words(seed, purpose)

    def below(self, n: int) -> int:
        """A whole number from 0 to n - 1, each equally likely (n >= 1)."""
        limit = WORD - WORD % n  # words at or above it would favour small numbers
        while (word := next(self._words)) >= limit:
            pass
        return word % n

    def shuffled(self, items: Sequence[T]) -> list[T]:
        """All items in a random order (Fisher-Yates, from the last place down)."""
        order = list(items)
        for last in range(len(order) - 1, 0, -1):
            other = self.below(last + 1)
            order[last], order[other] = order[other], order[last]
        return order


def _words(seed: int, purpose: str) -> Iterator[int]:
    counter = 0
    while True:
        digest = sha256(f"{ALGORITHM}|{seed}|{purpose}|{counter}".encode()).digest()
        for start in range(0, 32, 8):
            yield int.from_bytes(digest[start : start + 8], "big")
        counter += 1
