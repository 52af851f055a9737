"""Which dose stands for -1, 0, 1 or a point further out, when a design chooses its doses itself?"""

from __future__ import annotations

import math

from analysis.designs.requests import DesignFactor, DesignRequest
from analysis.errors import PlanError

SAME = 1e-12


def low_and_high(factor: DesignFactor, *, kind: str) -> tuple[float, float]:
    """The doses between which a design named ``kind`` chooses its own.

    Raises PlanError without two of them, and for doses chosen by hand or spaced in equal ratios.
    """
    where = f"factor {factor.name}"
    if len(factor.values) > 2 or (factor.n_levels or 2) > 2:
        raise PlanError(
            f'A "{kind}" design chooses the doses itself; "{factor.name}" brings its own.',
            where=where,
            try_this='only low and high, or kind = "full factorial"',
        )
    if factor.spacing == "geometric":
        raise PlanError(
            f'A "{kind}" design needs a dose half way between low and high; "{factor.name}" goes in equal ratios.',
            where=where,
            try_this='spacing = "equal", or kind = "optimal" with values of your own',
        )
    low, high = sorted(factor.values) if len(factor.values) == 2 else (factor.low, factor.high)
    if low is None or high is None or not (math.isfinite(low) and math.isfinite(high)) or low >= high:
        raise PlanError(
            f'"{factor.name}" needs a low and a higher high.', where=where, try_this="low = 0.5 and high = 2.5"
        )
    return float(low), float(high)


def amounts_between(request: DesignRequest, *, why: str, instead: str) -> dict[str, tuple[float, float]]:
    """Amount -> (low, high). Raises PlanError for a category: ``why`` it does not fit and what does ``instead``."""
    for factor in request.factors:
        if factor.kind != "amount":
            raise PlanError(
                f'"{factor.name}" is a {factor.kind}: {why}.', where=f"factor {factor.name}", try_this=instead
            )
    return {factor.name: low_and_high(factor, kind=request.kind) for factor in request.factors}


def dose_at(coded: float, low: float, high: float) -> float:
    """The dose at a coded setting, where low is -1 and high is 1, without digits nobody weighs.

    The dose, coded again, is within 1e-6 of ``coded``; low, high and what is exact with few digits stay exact.
    """
    if abs(abs(coded) - 1.0) < SAME:
        return high if coded > 0 else low
    half = (high - low) / 2
    digits = 6 - math.floor(math.log10(half))
    return round(low + half * (1 + coded), max(digits, 0)) + 0.0  # never -0.0
