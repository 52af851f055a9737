"""Is every number of an answer a number?

NaN and infinity never leave this room. Families that follow the rules never meet
this guard; it stands so that a slip becomes a sentence instead of a "nan".
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any, TypeVar

from analysis.errors import NotPossible

Result = TypeVar("Result")


def numbers(value: Any, path: str = "") -> Iterator[tuple[str, float]]:
    """Every float inside a result, with the way to it."""
    if isinstance(value, float):
        yield path, value
    elif is_dataclass(value) and not isinstance(value, type):
        for part in fields(value):
            yield from numbers(getattr(value, part.name), f"{path}.{part.name}")
    elif isinstance(value, Mapping):
        for key, part in value.items():
            yield from numbers(part, f"{path}[{key}]")
    elif isinstance(value, (tuple, list)):
        for place, part in enumerate(value):
            yield from numbers(part, f"{path}[{place}]")


def finite(result: Result, *, where: str) -> Result:
    """The result itself, or NotPossible when one of its numbers is not finite."""
    for path, number in numbers(result):
        if not math.isfinite(number):
            raise NotPossible(
                f"The arithmetic ran out of range (at {path.lstrip('.')}).",
                where=where,
                try_this="look for readings or settings of an impossible size, or give them in a larger unit.",
            )
    return result
