"""What does a blend hold beside its tables? A frozen part of an answer; shares in the baker's units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Literal

from analysis.parts import Part
from analysis.surfaces.results import JointTest

Setting = float | str


@dataclass(frozen=True, kw_only=True)
class ShareLimits:
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class TracePoint:
    share: float
    mean: float
    low: float | None
    high: float | None


@dataclass(frozen=True, kw_only=True)
class Trace:
    """The response along one share's line, the others in the proportions of the reference blend."""

    share: str
    points: tuple[TracePoint, ...]


@dataclass(frozen=True, kw_only=True)
class LevelBlend:
    """The best blend at one combination of what is beside the blend."""

    at: Mapping[str, Setting]
    best: Mapping[str, Setting]
    best_response: float
    low: float | None
    high: float | None


@dataclass(frozen=True, kw_only=True)
class BlendPart(Part):
    """The best blend inside what was baked, and how the response runs along each share's line.

    ``limits`` are the shares that were baked. ``edge``: the best lies where the bakes end although a blend could
    go on. ``as_good`` are the shares of blends within ``as_good_within`` of the best (None: that cannot be told
    from it), ``as_good_share`` their part of what was baked. ``traces`` run through ``reference``, at ``at``.
    ``tests`` hold the lack of fit.
    """

    key: ClassVar[str] = "blend"
    shares: tuple[str, ...]
    total: float
    better: Literal["higher", "lower", "target"]
    goal_given: bool
    limits: Mapping[str, ShareLimits]
    at: Mapping[str, Setting]
    best: Mapping[str, Setting]
    best_response: float
    low: float | None
    high: float | None
    new_low: float | None
    new_high: float | None
    edge: bool
    as_good: Mapping[str, ShareLimits]
    as_good_share: float | None
    as_good_within: float | None
    reference: Mapping[str, float]
    traces: tuple[Trace, ...]
    levels: tuple[LevelBlend, ...] = ()
    tests: tuple[JointTest, ...] = ()
