"""What does pooling several trials answer with?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from analysis.results import Matters


@dataclass(frozen=True, kw_only=True)
class TrialEffect:
    """One trial's own estimate, and where it is drawn to by the others (``shrunken``).

    ``weight`` is its share of the shared effect.
    """

    trial: str
    estimate: float
    se: float
    df: float | None
    low: float
    high: float
    weight: float
    shrunken: float
    shrunken_low: float | None
    shrunken_high: float | None


@dataclass(frozen=True, kw_only=True)
class Step:
    """What was known after a trial (in order of time) with those before it."""

    trial: str
    trials: int
    estimate: float
    low: float
    high: float
    matters: Matters


@dataclass(frozen=True, kw_only=True)
class Apart:
    """A trial that lies further from the others than its error and their spread explain (``p`` after Holm)."""

    trial: str
    estimate: float
    expected: float
    p: float


@dataclass(frozen=True, kw_only=True)
class PooledEffect:
    """One effect over the trials that told it, in the unit of the response (a best dose: of the dose).

    ``kind`` "amount" (from ``first`` to ``second``), "slope" (for one more unit), "levels" (``first`` minus
    ``second``) or "best dose". ``spread`` is the standard deviation between trials beyond their own
    error; ``common`` is the effect if trials did not differ at all; ``next_low`` and ``next_high`` foretell
    the true effect of a further trial. ``opposed`` are pairs of trials that surely point in opposite
    directions.
    """

    factor: str
    response: str
    kind: str
    first: str
    second: str
    unit: str
    matters_size: float | None
    trials: tuple[TrialEffect, ...]
    estimate: float
    se: float
    df: float
    low: float
    high: float
    p: float | None
    matters: Matters
    spread: float
    spread_low: float | None
    spread_high: float | None
    common: float
    common_low: float
    common_high: float
    next_low: float | None
    next_high: float | None
    q: float
    q_p: float
    steps: tuple[Step, ...]
    apart: tuple[Apart, ...] = ()
    opposed: tuple[tuple[str, str], ...] = ()
    level: str | None = None
    factor_unit: str = ""
    reasons: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class NotPooled:
    factor: str
    response: str
    why: str


@dataclass(frozen=True, kw_only=True)
class Pooling:
    trials: tuple[str, ...]
    confidence: float
    effects: tuple[PooledEffect, ...]
    not_pooled: tuple[NotPooled, ...] = ()
    remarks: tuple[str, ...] = ()
