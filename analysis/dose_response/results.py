"""What does a dose curve answer beyond the curve itself? Frozen records of plain numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar

from analysis.parts import Part


@dataclass(frozen=True, kw_only=True)
class SpreadPart(Part):
    """How bakes scatter along the curve. ``kind``: "equal", "power" or "per dose".

    ``statistic``, ``df`` and ``p`` are the likelihood-ratio test of equal spread against ``of``, the
    model used or the best other one. ``sds`` map doses to the standard deviation of one bake there.
    """

    key: ClassVar[str] = "dose_spread"
    kind: str
    exponent: float | None
    sds: Mapping[str, float]
    of: str
    statistic: float | None
    df: int
    p: float | None
    weights: str | None = None


@dataclass(frozen=True, kw_only=True)
class TestOfPotency:
    """An F test against the scatter between bakes of one dose and level."""

    __test__ = False  # not a test class for pytest

    value: float
    df: int
    df_error: int
    p: float


@dataclass(frozen=True, kw_only=True)
class PotencyPart(Part):
    """How many doses of the reference one dose of a level is worth, and whether that has an answer.

    ``model`` is "parallel lines" on log10 of the dose, or "parallel curves" of ``shape`` (the dose
    stretched). ``verdict``: "parallel", "not refused" (too few bakes to tell) or "not parallel", when no
    ratio is given. ``slope`` belongs to the lines; ``g`` is how far the slope is from 0 (Finney), per level in the ``ratios``.
    """

    key: ClassVar[str] = "relative_potency"
    reference: str
    model: str
    shape: str
    verdict: str
    slope: float | None
    ratios: Mapping[str, Mapping[str, float | None]] = field(default_factory=dict)
    g: float | None = None
    sigma: float | None = None
    df: int | None = None
    parallelism: TestOfPotency | None = None
    linearity: TestOfPotency | None = None
    predicted: Mapping[str, float | None] = field(default_factory=dict)
