"""Where on a line do a foretold value and its interval stand?

Lengths are units of the drawing's own: the line is ``WIDE`` of them long.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.words.numbers import say_level
from tracker.workflow.what_if import Foretold

WIDE, EDGE = 600.0, 30.0
TICKS = 6  # at most


@dataclass(frozen=True, kw_only=True)
class Line:
    """Places along the line: ``mean``, the ends of the interval, of what was baked, and ticks with their numbers."""

    mean: float
    interval: tuple[float, float] | None
    baked: tuple[float, float] | None
    ticks: tuple[tuple[float, str], ...]


def line_of(found: Foretold) -> Line:
    """The line reaches a little beyond all that stands on it."""
    closed = None if found.low is None or found.high is None else (found.low, found.high)
    shown = [found.mean, *(closed or ()), *(found.baked or ())]
    low, high = min(shown), max(shown)
    wide = (high - low) or abs(high) or 1.0
    low, high = low - 0.05 * wide, high + 0.05 * wide

    def at(value: float) -> float:
        return round(EDGE + (WIDE - 2 * EDGE) * (value - low) / (high - low), 1)

    return Line(
        mean=at(found.mean),
        interval=None if closed is None else (at(closed[0]), at(closed[1])),
        baked=None if found.baked is None else (at(found.baked[0]), at(found.baked[1])),
        ticks=tuple((at(value), say_level(value)) for value in round_numbers(low, high)),
    )


def round_numbers(low: float, high: float) -> tuple[float, ...]:
    """Multiples of 1, 2 or 5 and a power of ten between two numbers, six at most."""
    rough = (high - low) / TICKS
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(times * power for times in (1, 2, 5, 10) if times * power >= rough)
    first, last = math.ceil(low / step), math.floor(high / step)
    return tuple(float(f"{place * step:.10g}") for place in range(first, last + 1))
