"""What is written on a cake so that nobody can tell which treatment it is?

Three-digit codes, each used once in a trial, drawn from the seed. Left out are numbers
that people notice, remember or like: a leading zero, three equal digits (111, 666), runs
(123, 321), round hundreds and emergency numbers. ISO 4120:2021 5.5 asks for random
three-digit numbers; the list of what to avoid is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Collection

from analysis.designs.shuffle import Stream
from analysis.errors import PlanError

EMERGENCY = frozenset({112, 911, 999})


def _is_noticed(code: int) -> bool:
    first, second, third = (int(digit) for digit in f"{code:03d}")
    steps = {second - first, third - second}
    return code < 100 or code % 100 == 0 or steps in ({0}, {1}, {-1}) or code in EMERGENCY


USABLE = tuple(f"{code:03d}" for code in range(1000) if not _is_noticed(code))


def blind_codes(count: int, *, seed: int, taken: Collection[str] = ()) -> tuple[str, ...]:
    """``count`` codes in bake order, none of them ``taken``. Raises PlanError above the number of usable codes.

    Three codes or more never stand in rising or falling order: that would show the order of baking.
    """
    usable = [code for code in USABLE if code not in taken]
    if count > len(usable):
        raise PlanError(
            f"A trial of {count + len(taken)} runs needs more blind codes than there are ({len(USABLE)}).",
            where="design",
            try_this="fewer levels or replicates, or several trials",
        )
    stream = Stream(seed, "codes")
    while True:
        codes = stream.shuffled(usable)[:count]
        if count < 3 or codes not in (sorted(codes), sorted(codes, reverse=True)):
            return tuple(codes)
