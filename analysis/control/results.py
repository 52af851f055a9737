"""What does a control chart take, and what does it hold?

Series of batches in order of baking go in; charts with a point for each batch come out.
Limits of a chart say what the process does by itself; a specification says what the
customer will take. They are never the same thing, and live in different records.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, kw_only=True)
class BatchSeries:
    """Readings of one response, batch by batch in order of baking.

    ``values[i]`` are the readings of the pieces of ``batches[i]``, at least one, all finite;
    ``at`` the times of baking (RFC 3339) or empty.
    """

    response: str
    unit: str = ""
    batches: tuple[str, ...]
    values: tuple[tuple[float, ...], ...]
    at: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class CountSeries:
    """Counts in order of baking: ``counts[i]`` out of ``sizes[i]`` pieces, or on ``sizes[i]`` units of area.

    ``of`` is "pieces" (each is or is not; a share) or "places" (a piece may have several; a rate).
    """

    response: str
    of: str = "pieces"
    batches: tuple[str, ...]
    counts: tuple[float, ...]
    sizes: tuple[float, ...]
    at: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Specification:
    """What one response of a product has to meet; either limit, and the target, may be None."""

    response: str
    unit: str = ""
    lower: float | None = None
    upper: float | None = None
    target: float | None = None


@dataclass(frozen=True, kw_only=True)
class Limits:
    """Limits of one chart and where they come from; frozen ones never move by themselves.

    ``lower`` and ``upper`` are None where there is none; ``sd`` is the standard deviation of a
    plotted point. ``numbers`` holds what the kind of chart needs to judge a further batch
    (means, within and between spreads, sizes, running values). ``provisional`` below 20 batches.
    """

    lower: float | None
    centre: float
    upper: float | None
    sd: float
    method: str
    batches: int
    first_batch: str
    last_batch: str
    provisional: bool
    frozen: bool = False
    author: str = ""
    frozen_at: str = ""
    reason: str = ""
    numbers: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Alarm:
    """A rule that a batch completed: ``since`` is the first batch of its pattern (the same for one point)."""

    batch: str
    rule: str
    since: str
    value: float
    side: str = ""  # "above" | "below" | "" where a rule has no side


@dataclass(frozen=True, kw_only=True)
class Point:
    """One batch on a chart, with the limits that held for it."""

    batch: str
    value: float
    lower: float | None
    centre: float
    upper: float | None
    phase: int
    alarms: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Chart:
    """One chart of one response.

    ``kind`` is a key of ``charts.KINDS``' makers' output: "individuals", "moving range", "batch mean",
    "range", "standard deviation", "weighted mean", "cumulative sum", "share", "count", "rate",
    "several responses". ``limits`` are those of the last phase; ``cautions`` are keys that
    ``analysis.words.control`` puts into sentences (few batches, dependent, skewed, constant).
    """

    kind: str
    response: str
    unit: str = ""
    phase: int = 1
    limits: Limits
    points: tuple[Point, ...]
    alarms: tuple[Alarm, ...] = ()
    cautions: tuple[str, ...] = ()
    more: Mapping[str, object] = field(default_factory=dict)  # what a kind adds: contributions, run lengths


@dataclass(frozen=True, kw_only=True)
class Phase:
    """From ``from_batch`` on, these limits hold: an entry with a reason, numbered from 1."""

    number: int
    from_batch: str
    limits: Limits


@dataclass(frozen=True, kw_only=True)
class Capability:
    """One index of capability (stable) or performance (not): ``verdict`` is a key for words."""

    index: str
    value: float
    low: float | None
    high: float | None
    verdict: str
