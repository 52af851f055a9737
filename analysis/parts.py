"""What else can an answer hold, beside the tables every family fills?

A part is a frozen record of one family or of several responses together. It travels whole:
``serialise`` writes its fields under ``key``, ``words.parts`` says it, ``reports.sections.parts``
shows it. NaN and infinity never appear; what cannot be computed is None with its reason in ``reasons``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar


@dataclass(frozen=True, kw_only=True)
class Part:
    """``key`` names the part in JSON, in the catalogue of words and among the sections of a report."""

    key: ClassVar[str] = ""
    reasons: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Variance:
    """How much of the scatter lies between the groups of one kind; "residual" comes last.

    ``low`` and ``high`` bound ``variance``. ``covariance`` belongs to a slope: with its group's own
    level. ``boundary`` tells that the estimate is 0 because it cannot be less.
    """

    group: str
    variance: float
    sd: float
    low: float | None = None
    high: float | None = None
    covariance: float | None = None
    boundary: bool = False


@dataclass(frozen=True, kw_only=True)
class Threshold:
    """Where one score passes into the next on the hidden scale of a model of scores; ``between`` is "2|3"."""

    between: str
    estimate: float
    se: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, kw_only=True)
class ChosenContrast:
    """A comparison that was asked for in so many words, or a trend over the levels of an amount."""

    name: str
    factor: str
    estimate: float
    se: float | None
    low: float | None
    high: float | None
    df: float | None
    t: float | None
    p: float | None
    at: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Equivalence:
    """Is ``a`` as good as ``b``, within the margin? Two one-sided tests (Schuirmann 1987).

    ``low`` and ``high`` bound the difference a - b (or the ratio a / b) at confidence 1 - 2 alpha.
    ``equivalent`` is "yes" when they lie within the margin, "no" when wholly outside it.
    """

    factor: str
    a: str
    b: str
    estimate: float
    low: float | None
    high: float | None
    margin_low: float
    margin_high: float
    ratio: bool
    p_low: float | None
    p_high: float | None
    p: float | None
    df: float | None
    equivalent: str
    at: Mapping[str, str] = field(default_factory=dict)
