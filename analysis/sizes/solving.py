"""How many bakes reach a chance, and what is the smallest difference that so many see?"""

from __future__ import annotations

from collections.abc import Callable
from math import ceil

from analysis.errors import NotPossible

MOST_BAKES = 10_000
MOST_COUNTED = 500  # where every outcome is counted
DIPS = 3  # further bakes over which an exact test is looked at for a dip
FINE = 1e-10


def bakes_for(power_of: Callable[[float], float], power: float, *, fewest: float = 2.0) -> float:
    """The number, perhaps a fraction, at which the rising ``power_of`` reaches ``power``.

    Raises NotPossible beyond 10,000.
    """
    from scipy.optimize import brentq

    if power_of(fewest) >= power:
        return fewest
    top = fewest
    while power_of(top) < power:
        if top >= MOST_BAKES:
            raise NotPossible(
                f"More than {MOST_BAKES:,} bakes of each would be needed.",
                where="size",
                try_this="a larger difference that matters, or a steadier process",
            )
        top = min(top * 2, MOST_BAKES)
    return float(brentq(lambda n: power_of(n) - power, max(fewest, top / 2), top, xtol=FINE))


def whole_bakes_for(power_of: Callable[[int], float], power: float, *, fewest: int = 2) -> int:
    """The whole number from which ``power`` is reached, where it can only be counted."""
    top = fewest
    while power_of(top) < power:
        if top >= MOST_COUNTED:
            raise NotPossible(
                f"More than {MOST_COUNTED} of each would be needed.",
                where="size",
                try_this="shares that lie further apart, or a smaller power",
            )
        top = min(top * 2, MOST_COUNTED)
    low = max(fewest, top // 2)
    while low < top:
        middle = (low + top) // 2
        low, top = (low, middle) if power_of(middle) >= power else (middle + 1, top)
    # An exact test may lose power by one bake more: the answer stands behind the last such dip.
    dips = [more for more in range(top + 1, top + DIPS + 1) if power_of(more) < power]
    return max(dips, default=top - 1) + 1


def up(bakes: float) -> int:
    """The next whole number of bakes; what is whole but for rounding stays."""
    return ceil(bakes - 1e-9)


def difference_for(power_of: Callable[[float], float], power: float, *, scale: float) -> float:
    """The difference at which the rising ``power_of`` reaches ``power``; ``scale``: its rough size."""
    from scipy.optimize import brentq

    top = scale
    while power_of(top) < power:
        top *= 2
        if top > 1e6 * scale:
            raise NotPossible(
                "No difference would be seen: there is no error to judge by.",
                where="size",
                try_this="at least two bakes of each",
            )
    return float(brentq(lambda d: power_of(d) - power, 0.0, top, xtol=FINE * scale))
