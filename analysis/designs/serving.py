"""In which order does each assessor taste, and under which codes?

Orders are the rows of a Williams square (Williams 1949, Australian Journal of Scientific Research A2, 149; advised for
tastings by MacFie et al. 1989, Journal of Sensory Studies 4, 129; both from memory): over a full set of assessors each
sample stands equally often in each place and directly after each other sample. An even number of samples needs as
many assessors for a full set, an odd number twice as many. Any beginning of a set stays even to one in the places.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import pairwise

from analysis.designs.codes import USABLE, blind_codes
from analysis.designs.shuffle import LARGEST_SEED, Stream
from analysis.errors import PlanError

FEWEST, MOST = 2, 20  # samples at one sitting; fewer is kinder to the tongue
A_SITTING = 8  # common practice, no source: beyond it tongues tire


@dataclass(frozen=True, kw_only=True)
class Evenness:
    """How even the orders are: the fewest and most times a sample stood in a place, and directly after another."""

    places: tuple[int, int]
    after: tuple[int, int]


def serving_orders(samples: int, assessors: int, *, seed: int, first: int = 0) -> tuple[tuple[int, ...], ...]:
    """For each assessor the samples 0 … ``samples`` - 1 in their order of tasting.

    ``first`` assessors have their orders already: the same seed goes on where it stopped. Raises PlanError
    outside 2 to 20 samples.
    """
    if not FEWEST <= samples <= MOST:
        raise PlanError(
            f"{samples} sample{'s' if samples != 1 else ''} cannot be served at one tasting.",
            where="tasting",
            try_this=f"{FEWEST} to {MOST} of them",
        )
    stream = Stream(seed, "serving")
    letters = stream.shuffled(range(samples))
    orders: list[tuple[int, ...]] = []
    while len(orders) < first + assessors:
        for square in _squares(samples):
            # Dealt by lot within a square, so that nobody's order follows from when they were written down.
            orders += [tuple(letters[at] for at in row) for row in stream.shuffled(square)]
    return tuple(orders[first : first + assessors])


def serving_codes(samples: int, *, seed: int, assessor: int, taken: Collection[str] = ()) -> tuple[str, ...]:
    """Codes for the samples of assessor number ``assessor`` (0, 1 …) in their order of tasting, new for each.

    None is ``taken`` (codes of runs, and of the assessors before, so that no cup can be given to the wrong hand)
    as long as there are enough; then codes of others come up again, never twice for one.
    """
    left = sum(1 for code in USABLE if code not in taken)
    own_seed = Stream(seed, f"codes of assessor {assessor}").below(LARGEST_SEED + 1)
    return blind_codes(samples, seed=own_seed, taken=taken if left >= samples else ())


def evenness(orders: Sequence[Sequence[int]]) -> Evenness:
    """What the orders that were really served came to, drop-outs left out. At least one order of two samples."""
    samples = range(len(orders[0]))
    places = Counter((place, sample) for order in orders for place, sample in enumerate(order))
    after = Counter(pair for order in orders for pair in pairwise(order))
    at = [places[place, sample] for place in samples for sample in samples]
    behind = [after[one, other] for one in samples for other in samples if one != other]
    return Evenness(places=(min(at), max(at)), after=(min(behind), max(behind)))


def _squares(samples: int) -> list[list[tuple[int, ...]]]:
    """0, n - 1, 1, n - 2 … and its shifts; an odd n needs the mirrored square too."""
    zigzag = [at // 2 if at % 2 == 0 else samples - 1 - at // 2 for at in range(samples)]
    square = [tuple((at + shift) % samples for at in zigzag) for shift in range(samples)]
    return [square] if samples % 2 == 0 else [square, [row[::-1] for row in square]]
