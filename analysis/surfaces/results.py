"""What does a surface hold? Frozen parts of an answer; settings in the baker's units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar, Literal

from analysis.parts import Part

Shape = Literal[
    "maximum", "minimum", "saddle", "rising ridge", "stationary ridge", "rising valley", "stationary valley", "flat"
]
Setting = float | str


@dataclass(frozen=True, kw_only=True)
class Limits:
    """From ``low`` to ``high``; None where that side is open."""

    low: float | None
    high: float | None


@dataclass(frozen=True, kw_only=True)
class Code:
    """A coded setting is (setting - middle) / half: -1 and +1 at the corners that were baked."""

    middle: float
    half: float


@dataclass(frozen=True, kw_only=True)
class SurfaceCoefficient:
    """One term of the second-order model, for coded settings and for settings in the baker's units."""

    term: str
    coded: float
    coded_se: float | None
    real: float
    real_se: float | None


@dataclass(frozen=True, kw_only=True)
class JointTest:
    """Several terms judged together: "first order", "pairs", "bends", or the "lack of fit"."""

    term: str
    df: int
    df_error: float
    value: float
    p: float


@dataclass(frozen=True, kw_only=True)
class Axis:
    """A canonical axis: the response changes by ``eigenvalue`` times the squared distance along it (coded).

    ``direction`` is its unit vector (coded), ``change`` one step of it in the baker's units. ``slope`` with
    ``slope_low`` and ``slope_high`` is the change for one step at the middle of what was baked.
    ``bend``: "down", "up" or, where the interval holds 0, "flat".
    """

    eigenvalue: float
    low: float | None
    high: float | None
    bend: Literal["down", "up", "flat"]
    direction: Mapping[str, float]
    change: Mapping[str, float]
    slope: float
    slope_low: float | None
    slope_high: float | None


@dataclass(frozen=True, kw_only=True)
class RidgePoint:
    """The best response at one distance from the middle (coded); ``inside`` what was baked."""

    distance: float
    settings: Mapping[str, float]
    response: float
    low: float | None
    high: float | None
    inside: bool


@dataclass(frozen=True, kw_only=True)
class LevelSurface:
    """The surface at one combination of what does not bend (categories, amounts at two settings)."""

    at: Mapping[str, Setting]
    stationary: Mapping[str, float] | None
    stationary_response: float | None
    stationary_inside: bool | None
    best: Mapping[str, Setting]
    best_response: float
    low: float | None
    high: float | None


@dataclass(frozen=True, kw_only=True)
class SurfacePart(Part):
    """A second-order surface over ``amounts``. With several ``levels`` the rest is that of the best of them, ``at``.

    ``eigenvalues`` belong to coded settings, largest first. ``shape`` weighs their intervals, ``signs``
    takes them as they are. ``region`` bounds the stationary point amount by amount (ends of the joint
    region; None where it stays open) and ``region_closed`` says whether it closes at all. ``best`` lies
    within what was baked, at its ``edge`` or not; ``low`` to ``high`` bound the mean there, ``new_low``
    to ``new_high`` one further bake. ``as_good`` are the settings within ``as_good_within`` of the best
    (None: that cannot be told from it), a share ``as_good_share`` of what was baked. ``onward`` are
    treatments beyond the edge, the way it gets better there, to be baked before they are believed. ``tests``
    judge all terms of a kind together, each beside all other terms, at ``at``.
    """

    key: ClassVar[str] = "surface"
    amounts: tuple[str, ...]
    coding: Mapping[str, Code]
    better: Literal["higher", "lower", "target"]
    goal_given: bool
    at: Mapping[str, Setting]
    coefficients: tuple[SurfaceCoefficient, ...]
    stationary: Mapping[str, float] | None
    stationary_response: float | None
    stationary_low: float | None
    stationary_high: float | None
    stationary_inside: bool | None
    region: Mapping[str, Limits]
    region_closed: bool | None
    eigenvalues: tuple[float, ...]
    axes: tuple[Axis, ...]
    shape: Shape | None
    signs: Literal["maximum", "minimum", "saddle"]
    best: Mapping[str, Setting]
    best_response: float
    low: float | None
    high: float | None
    new_low: float | None
    new_high: float | None
    edge: bool
    as_good: Mapping[str, Limits]
    as_good_share: float | None
    as_good_within: float | None
    ridge: tuple[RidgePoint, ...] = ()
    levels: tuple[LevelSurface, ...] = ()
    onward: tuple[Mapping[str, Setting], ...] = ()
    tests: tuple[JointTest, ...] = ()


@dataclass(frozen=True, kw_only=True)
class ClimbStep:
    """One treatment along the path; ``inside`` what was baked."""

    settings: Mapping[str, Setting]
    response: float
    low: float | None
    high: float | None
    inside: bool


@dataclass(frozen=True, kw_only=True)
class ClimbPart(Part):
    """The path along which a first-order model gets better fastest, from the middle of what was baked.

    ``slopes``: change of the response for half the range of each amount. ``step`` is one step of ``steps``
    in the baker's units. ``bends``: "no" (centre points show none), "untested".
    """

    key: ClassVar[str] = "climb"
    better: Literal["higher", "lower", "target"]
    goal_given: bool
    slopes: Mapping[str, float]
    step: Mapping[str, float]
    steps: tuple[ClimbStep, ...]
    onward: tuple[Mapping[str, Setting], ...] = field(default_factory=tuple)
    bends: Literal["no", "untested"] = "untested"
