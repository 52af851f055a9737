"""Between which values will a reading lie, before anybody has baked?

A proposal that may be changed or left out: wide enough for a failed bake, and narrow enough
that a slip of the decimal point, a 420 for a 42.0, falls out of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tracker.intake.numbers import number_text

PRACTICE = "common practice, no source"
# (words of a name, one of which it has; its units; least; most). The first that fits; no words: any name.
# Written down from memory of what bakes come to: common practice, no source.
USUAL: tuple[tuple[tuple[str, ...], tuple[str, ...], float, float], ...] = (
    (("height", "rise"), ("mm",), 5, 200),
    (("height", "rise"), ("cm",), 0.5, 20),
    (("spread", "width", "diameter"), ("mm",), 20, 400),
    (("spread", "width", "diameter"), ("cm",), 2, 40),
    (("loss",), ("%",), 0, 40),
    ((), ("mm",), 1, 400),
    ((), ("cm",), 0.1, 40),
    ((), ("%",), 0, 100),
    ((), ("g",), 5, 3000),
    ((), ("ml",), 10, 5000),
    ((), ("ml/g", "cm³/g"), 0.5, 10),
    ((), ("min",), 0.5, 300),
    ((), ("°c",), 0, 280),
)
PH = (4.0, 10.0)  # of crumbs and batters with far too much of either; common practice, no source
OF_FLOUR = (0.05, 5.0)  # a piece of a bake, and a bake with five times its flour; common practice, no source


@dataclass(frozen=True, kw_only=True)
class Usual:
    """``low`` and ``high`` in the unit of the readings; ``why`` says what they rest on."""

    low: float
    high: float
    why: str = PRACTICE

    @property
    def text(self) -> str:
        return f"{number_text(self.low)} to {number_text(self.high)}"


def usual_range(name: str, unit: str, *, flour_g: float | None, differences: Sequence[float | None]) -> Usual | None:
    """What to propose; None where nothing is known of such a reading.

    ``flour_g``: flour of one bake, which bounds a weight. ``differences`` were named in the same
    unit; one that does not fit in shows that the unit is read otherwise here.
    """
    found = _known(name.casefold().split(), unit.casefold(), flour_g)
    if found is None or any(each >= found.high - found.low for each in differences if each is not None):
        return None
    return found


def _known(words: Sequence[str], unit: str, flour_g: float | None) -> Usual | None:
    if "ph" in words:
        return Usual(low=PH[0], high=PH[1])
    if unit == "g" and flour_g is not None:
        low, high = (float(f"{flour_g * times:.2g}") for times in OF_FLOUR)
        why = f"from {number_text(flour_g)} g of flour in a bake; the multiples are {PRACTICE}"
        return Usual(low=low, high=high, why=why)
    for named, units, low, high in USUAL:
        if unit in units and (not named or any(word in words for word in named)):
            return Usual(low=low, high=high)
    return None
