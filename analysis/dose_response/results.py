"""What does a dose curve answer beyond the curve itself? Frozen records of plain numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar

from analysis.dose_results import AveragedDose, EffectiveDose
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
    ratio is given. ``slope`` belongs to the lines; ``g`` below 1 tells that it is clear of 0 (Finney).
    ``ratios`` hold, for each level, the ratio and its interval, also as log10.
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


@dataclass(frozen=True, kw_only=True)
class AveragedPart(Part):
    """The doses averaged over plausible shapes (``dose.averaged``), to be said. ``chosen`` is the shape used."""

    key: ClassVar[str] = "averaged_dose"
    dose: str
    unit: str
    chosen: str
    good_enough: tuple[float | None, ...]
    doses: tuple[AveragedDose, ...]


@dataclass(frozen=True, kw_only=True)
class Shares:
    """Effective doses of one curve."""

    level: str | None
    effective: tuple[EffectiveDose, ...]


@dataclass(frozen=True, kw_only=True)
class EffectivePart(Part):
    """The effective doses that were asked for by their share of the way."""

    key: ClassVar[str] = "effective_doses"
    dose: str
    unit: str
    shape: str
    curves: tuple[Shares, ...]
