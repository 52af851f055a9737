"""Which doses or levels does each factor take?"""

from __future__ import annotations

import itertools
import math

from analysis.designs.requests import DesignFactor, DesignRequest
from analysis.errors import PlanError

Setting = float | str
MOST_LEVELS = 60


def factor_settings(factor: DesignFactor, request: DesignRequest, *, default: int | None = None) -> tuple[Setting, ...]:
    """The settings of a factor in stored order: doses from low to high, or level names.

    ``default`` is the number of levels of an amount when neither the factor nor the design says one.
    """
    if factor.kind == "category":
        return _category_levels(factor)
    if factor.kind == "share":
        raise PlanError(
            f'"{factor.name}" is a share of a whole, which has no levels of its own.',
            where=f"factor {factor.name}",
            try_this='kind = "amount", or a design for blends such as kind = "mixture lattice"',
        )
    if factor.values:
        return _distinct(tuple(sorted(float(value) for value in factor.values)), factor)
    count = factor.n_levels or request.levels or default
    if count is None:
        raise PlanError(
            f'How many doses of "{factor.name}"? Neither values nor levels are given.',
            where=f"factor {factor.name}",
            try_this="levels = 5 under [design], or values = [0, 1, 2, 3] for this factor",
        )
    return _spaced(factor, count)


def _category_levels(factor: DesignFactor) -> tuple[str, ...]:
    if len(set(factor.levels)) < 2 or len(set(factor.levels)) != len(factor.levels):
        raise PlanError(
            f'"{factor.name}" needs at least two levels, each named once.',
            where=f"factor {factor.name}",
            try_this='levels = ["yogurt", "lemon juice"]',
        )
    return factor.levels


def _spaced(factor: DesignFactor, count: int) -> tuple[float, ...]:
    low, high = _range(factor)
    if not 2 <= count <= MOST_LEVELS:
        raise PlanError(
            f'{count} levels of "{factor.name}" cannot be planned.',
            where=f"factor {factor.name}",
            try_this=f"from 2 to {MOST_LEVELS} levels",
        )
    if factor.spacing == "geometric":
        if low <= 0:
            raise PlanError(
                f'Doses of "{factor.name}" in equal ratios cannot start at {low:g}.',
                where=f"factor {factor.name}",
                try_this="a low above 0, or values = [0, …] that name the zero dose as well",
            )
        ratio = (high / low) ** (1 / (count - 1))
        inner = [low * ratio**step for step in range(1, count - 1)]
    else:
        inner = [low + (high - low) * step / (count - 1) for step in range(1, count - 1)]
    return _distinct((low, *(_tidy(value) for value in inner), high), factor)


def _range(factor: DesignFactor) -> tuple[float, float]:
    low, high = factor.low, factor.high
    if low is None or high is None or not (math.isfinite(low) and math.isfinite(high)) or low >= high:
        raise PlanError(
            f'"{factor.name}" needs a low and a higher high.',
            where=f"factor {factor.name}",
            try_this="low = 0.5 and high = 2.5, or values = [0.5, 1, 2]",
        )
    return float(low), float(high)


def _tidy(value: float) -> float:
    """Six significant digits: finer than any kitchen scale, and free of 1.1666666666666667."""
    return float(f"{value:.6g}")


def _distinct(doses: tuple[float, ...], factor: DesignFactor) -> tuple[float, ...]:
    if len(doses) < 2 or any(b <= a for a, b in itertools.pairwise(doses)):
        raise PlanError(
            f'The doses of "{factor.name}" are not at least two different ones.',
            where=f"factor {factor.name}",
            try_this="doses that differ by more than the sixth digit",
        )
    return doses


def coded(value: float, doses: tuple[float, ...]) -> float:
    """Where a dose lies between the lowest (-1) and the highest (1) dose, on the dose's own scale."""
    low, high = doses[0], doses[-1]
    return 2 * (value - low) / (high - low) - 1
