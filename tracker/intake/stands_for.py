"""What may chemistry take a response for, going by its name and unit?

A guess, which is always shown and can be overruled: pH tells of what is left over, gas and
rise of what was set free, oven temperature and bake loss of the oven.
"""

from __future__ import annotations

from tracker.intake.mapping import plain

# The first line that fits: every one of some words, and one of these units (any when none are named).
_SIGNS: tuple[tuple[str, tuple[tuple[str, ...], ...], tuple[str, ...]], ...] = (
    ("pH", (("ph",),), ()),
    ("oven temperature", (("oven", "temperature"), ("oven", "temp"), ("oven",)), ("°c", "c", "°f", "f", "celsius")),
    ("oven temperature", (("oven", "temperature"), ("baking", "temperature")), ()),
    ("bake loss", (("bake", "loss"), ("baking", "loss"), ("weight", "loss"), ("oven", "loss")), ()),
    ("gas", (("gas",), ("co2",), ("carbon", "dioxide")), ()),
    ("rise", (("rise",), ("height",), ("volume",)), ()),
)


def guess_stands_for(name: str, unit: str = "") -> str:
    """ "rise", "pH", "gas", "oven temperature", "bake loss" or "" (nothing that is known)."""
    words = set(plain(name).replace("-", " ").split())
    for stands_for, signs, units in _SIGNS:
        if any(words >= set(sign) for sign in signs) and (not units or plain(unit) in units):
            return stands_for
    return ""
