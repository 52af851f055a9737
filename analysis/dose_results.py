"""What does an answer about a dose hold?

Curves with their best and smallest good doses, the shapes that were tried, and how doses of
different sources compare. ``results.FamilyResult`` carries a ``DosePart`` when a dose was asked about.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from analysis.estimates import Interval, Residual


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """One shape that was tried. ``parameters`` are named as in ``dose_response.shapes``."""

    shape: str
    aicc: float
    weight: float
    parameters: Mapping[str, Interval]
    rss: float
    df: int


@dataclass(frozen=True, kw_only=True)
class LackOfFit:
    """Scatter around the curve against scatter between replicate bakes (pure error)."""

    df: int
    df_error: int
    sum_sq: float
    value: float
    p: float


@dataclass(frozen=True, kw_only=True)
class Optimum:
    """Best dose inside what was baked. ``method`` names how the interval was made."""

    dose: float
    low: float | None
    high: float | None
    response: float
    response_low: float | None = None
    response_high: float | None = None
    se: float | None = None
    method: str = ""
    delta_low: float | None = None
    delta_high: float | None = None


@dataclass(frozen=True, kw_only=True)
class Recommended:
    """Smallest dose whose response is within the difference that matters of the best baked.

    ``as_good_to`` is the largest such dose. ``edge`` tells that the best lies at the end
    of the range ("low" or "high"), so that no optimum was seen.
    """

    dose: float
    low: float | None
    high: float | None
    response: float
    as_good_to: float
    within: float
    edge: Literal["low", "high"] | None = None


@dataclass(frozen=True, kw_only=True)
class EffectiveDose:
    """Dose that gives ``fraction`` of the way from the starting to the final response."""

    fraction: float
    dose: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, kw_only=True)
class Potency:
    """How many times the dose of ``relative_to`` gives what one dose of ``level`` gives."""

    level: str
    relative_to: str
    ratio: float
    low: float | None
    high: float | None
    predicted: float | None = None


@dataclass(frozen=True, kw_only=True)
class CurvePoint:
    """A point of the drawn curve with its confidence band (adjusted to the average block)."""

    dose: float
    mean: float
    low: float | None
    high: float | None


@dataclass(frozen=True, kw_only=True)
class Curve:
    """The fitted curve of one level of ``by`` (level None when there is one curve)."""

    level: str | None
    parameters: Mapping[str, Interval]
    optimum: Optimum | None
    recommended: Recommended | None
    effective: tuple[EffectiveDose, ...]
    points: tuple[CurvePoint, ...]


@dataclass(frozen=True, kw_only=True)
class AveragedDose:
    """Smallest dose good enough (``dose``) and best dose (``best``), averaged over the plausible shapes.

    ``shapes`` are their weights (sum 1); intervals hold the doubt about the shape.
    """

    level: str | None
    dose: float
    low: float | None
    high: float | None
    best: float
    best_low: float | None
    best_high: float | None
    shapes: Mapping[str, float]


@dataclass(frozen=True, kw_only=True)
class DosePart:
    """The dose-response side of an answer. With one curve its parts equal ``curves[0]``.

    ``pure_error`` is the scatter between bakes of one dose, against which the tests of the
    doses as levels and the lack of fit were judged; None when no dose was baked twice.
    """

    dose: str
    by: str | None
    shape: str
    curves: tuple[Curve, ...]
    candidates: tuple[Candidate, ...]
    lack_of_fit: LackOfFit | None
    pure_error: Residual | None = None
    potency: tuple[Potency, ...] = ()
    averaged: tuple[AveragedDose, ...] = ()
    edge: Literal["low", "high"] | None = None
