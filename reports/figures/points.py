"""Where does a single bake stand in a picture?

Offsets that keep marks apart follow from the bake's place in the list, never from
chance, so that the same result gives the same picture.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.dose_results import Curve
from analysis.results import BakePoint, ResponseResult

MOST_POINTS = 500  # more hide each other at the width of a page, and weigh on it


def offsets(count: int, reach: float) -> list[float]:
    """``count`` places within ±``reach``: the golden-ratio sequence, even at any length."""
    return [((i * 0.6180339887498949 + 0.5) % 1.0 - 0.5) * 2 * reach for i in range(count)]


def thinned(points: Sequence[BakePoint], most: int = MOST_POINTS) -> Sequence[BakePoint]:
    """Every so-manieth bake when there are too many to draw; every number rests on them all."""
    return points[:: one_in(len(points), most)]


def one_in(count: int, most: int = MOST_POINTS) -> int:
    """Of how many bakes one is drawn."""
    return -(-count // max(most, 1)) or 1


def same_level(setting: float | str | None, level: str) -> bool:
    """Does a bake's setting name this level? Amounts compare as numbers."""
    if setting is None:
        return False
    if isinstance(setting, str):
        return setting == level
    number = as_number(level)
    return number is not None and abs(setting - number) <= 1e-9 * max(abs(setting), abs(number), 1e-9)


def as_number(level: float | str) -> float | None:
    """The level as a number, or None when it is a word."""
    try:
        return float(level)
    except ValueError:
        return None


def adjusted(curve: Curve, point: BakePoint, dose: str) -> float | None:
    """The bake's value as if baked in the average block: the curve at its dose plus its residual."""
    setting = point.settings.get(dose)
    if point.residual is None or not isinstance(setting, (int, float)):
        return None
    at = curve_at(curve, float(setting))
    return None if at is None else at + point.residual


def curve_at(curve: Curve, dose: float) -> float | None:
    """The curve between its drawn points; None outside."""
    for left, right in zip(curve.points, curve.points[1:], strict=False):
        if left.dose <= dose <= right.dose:
            width = right.dose - left.dose
            share = (dose - left.dose) / width if width else 0.0
            return left.mean + share * (right.mean - left.mean)
    return None


def blocked(result: ResponseResult) -> bool:
    """Were the bakes laid out in more than one block?"""
    return len({point.block for point in result.family.points if point.block is not None}) > 1
