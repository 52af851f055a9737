"""What does an answer about several goals hold?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar

from analysis.parts import Part

Settings = Mapping[str, float | str]


@dataclass(frozen=True, kw_only=True)
class GoalTaken:
    """What was taken as good enough for one response (``low`` to ``high``, None: open), and as all one can wish.

    ``given``: both ends were said; otherwise they come from the difference that matters and from what
    was baked. ``model``: the terms its mean was foretold with; ``dropped_p`` of what was left out of it.
    ``certain``: it is computed, not measured, so that it has no interval.
    """

    response: str
    unit: str
    goal: str
    target: float | None
    low: float | None
    high: float | None
    full: float
    importance: float
    given: bool
    model: str | None = None
    dropped_p: float | None = None
    certain: bool = False


@dataclass(frozen=True, kw_only=True)
class Forecast:
    """One response at a treatment: its mean with interval, one bake with interval, and how surely it meets its goal.

    ``chance`` is that of the true mean, ``chance_bake`` that of one new bake.
    """

    response: str
    mean: float
    low: float | None
    high: float | None
    bake_low: float | None
    bake_high: float | None
    desirability: float
    met: bool
    chance: float | None
    chance_bake: float | None


@dataclass(frozen=True, kw_only=True)
class Treatment:
    """A treatment with what every goal gets from it. ``inside``: bakes lie all round it; ``baked``: it was baked."""

    settings: Settings
    desirability: float
    forecasts: tuple[Forecast, ...]
    chance: float | None
    chance_bake: float | None
    inside: bool
    baked: bool
    edge: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Axis:
    """One side of the region: values of an amount or share, or levels of a category."""

    name: str
    values: tuple[float | str, ...]


@dataclass(frozen=True, kw_only=True)
class Sureness:
    """Where all goals are met at least this surely: its part of the region and its reach along each axis."""

    chance: float
    share: float
    reach: tuple[tuple[float | str, ...], ...] = ()


@dataclass(frozen=True, kw_only=True)
class GoalRegion:
    """How surely all goals are met over one or two axes, all else as at the best compromise (``others``).

    ``chance[j][i]`` belongs to value i of the first axis and value j of the second (one row without a
    second); None where that is no blend. ``surest`` is the treatment on the grid with the highest chance.
    """

    axes: tuple[Axis, ...]
    others: Settings
    chance: tuple[tuple[float | None, ...], ...]
    chance_bake: tuple[tuple[float | None, ...], ...]
    sureness: tuple[Sureness, ...]
    surest: Settings | None
    surest_chance: float | None


@dataclass(frozen=True, kw_only=True)
class FrontPoint:
    settings: Settings
    first: float
    second: float
    first_low: float | None = None
    first_high: float | None = None
    second_low: float | None = None
    second_high: float | None = None


@dataclass(frozen=True, kw_only=True)
class Front:
    """Treatments of which none is better in both goals; a gain in one costs the other."""

    first: str
    second: str
    points: tuple[FrontPoint, ...]


@dataclass(frozen=True, kw_only=True)
class Contradiction:
    """Goals that no treatment inside what was baked meets together (one name: it cannot be met at all)."""

    goals: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class GoalsPart(Part):
    """``best`` is the compromise of highest desirability; without one, ``nearest`` misses the goals by least."""

    key: ClassVar[str] = "goals"
    goals: tuple[GoalTaken, ...] = ()
    best: Treatment | None = None
    nearest: Treatment | None = None
    best_baked: Treatment | None = None
    bottleneck: str | None = None
    region: GoalRegion | None = None
    fronts: tuple[Front, ...] = ()
    contradictions: tuple[Contradiction, ...] = ()
    left_out: Mapping[str, str] = field(default_factory=dict)
