"""What does a sum of factors come to, and is it linear in them?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Columns = Mapping[str, NDArray[Any]]
Evaluated = Callable[[Columns], Any]

CLOSE = 1e-9  # relative: 0.1 + 0.2 <= 0.3 holds


@dataclass(frozen=True)
class Sum:
    """How to compute a value, and its linear form: coefficients and a constant (None when it is not linear)."""

    value: Evaluated
    linear: tuple[Mapping[str, float], float] | None


def number(value: float) -> Sum:
    return Sum(lambda columns: value, ({}, value))


def add(one: Sum, other: Sum, sign: float) -> Sum:
    linear = None
    if one.linear is not None and other.linear is not None:
        names = {*one.linear[0], *other.linear[0]}
        coefficients = {name: one.linear[0].get(name, 0.0) + sign * other.linear[0].get(name, 0.0) for name in names}
        linear = (coefficients, one.linear[1] + sign * other.linear[1])
    return Sum(lambda columns: one.value(columns) + sign * other.value(columns), linear)


def multiply(one: Sum, other: Sum) -> Sum:
    linear = None
    for constant, rest in ((one.linear, other.linear), (other.linear, one.linear)):
        if constant is not None and rest is not None and not constant[0]:
            linear = ({name: constant[1] * value for name, value in rest[0].items()}, constant[1] * rest[1])
    return Sum(lambda columns: one.value(columns) * other.value(columns), linear)


def divide(one: Sum, other: Sum) -> Sum:
    linear = None
    if one.linear is not None and other.linear is not None and not other.linear[0] and other.linear[1] != 0:
        by = other.linear[1]
        linear = ({name: value / by for name, value in one.linear[0].items()}, one.linear[1] / by)
    return Sum(lambda columns: np.true_divide(one.value(columns), other.value(columns)), linear)


def bound_of(
    left: tuple[Mapping[str, float], float] | None, right: tuple[Mapping[str, float], float] | None, sign: str
) -> tuple[Mapping[str, float], float] | None:
    """``coefficients, bound`` of coefficients . x <= bound; None when the comparison is no such bound."""
    if left is None or right is None or sign in ("=", "!="):
        return None
    turn = 1.0 if sign in ("<", "<=") else -1.0
    names = {*left[0], *right[0]}
    coefficients = {name: turn * (left[0].get(name, 0.0) - right[0].get(name, 0.0)) for name in names}
    return coefficients, turn * (right[1] - left[1])


def compare(left: Any, right: Any, sign: str) -> Any:
    """What is no number (a division by nothing) holds nowhere."""
    return np.isfinite(left) & np.isfinite(right) & _finite(left, right, sign)


def _finite(left: Any, right: Any, sign: str) -> Any:
    room = CLOSE * (1.0 + np.abs(left) + np.abs(right))
    if sign == "<=":
        return left <= right + room
    if sign == ">=":
        return left >= right - room
    if sign == "<":
        return left < right - room
    if sign == ">":
        return left > right + room
    same = np.abs(np.subtract(left, right)) <= room
    return same if sign == "=" else ~np.asarray(same, dtype=np.bool_)
