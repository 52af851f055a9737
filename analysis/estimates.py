"""What was estimated, how surely, and against what was it tested?

The records that every family fills, in plain numbers; what cannot be computed is ``None``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, kw_only=True)
class Test:
    """One line of an analysis of variance. ``df_error`` and ``p`` are None without error df.

    ``stratum`` names the error it was tested against ("bakes" or a group).
    """

    __test__ = False  # not a test class for pytest

    term: str
    df: int
    sum_sq: float
    mean_sq: float
    df_error: float | None
    statistic: str = "F"
    value: float | None = None
    p: float | None = None
    stratum: str = "bakes"


@dataclass(frozen=True, kw_only=True)
class Residual:
    """What the model leaves over. The tests were judged against it, unless a dose part has a ``pure_error``.

    ``press`` is the sum of squared misses with each bake foretold from the others, and
    ``r_squared_foretold`` what that leaves of R²; None where a bake cannot be foretold, with whole
    plots, and for curves.
    """

    df: int
    sum_sq: float
    mean_sq: float | None
    sd: float | None
    r_squared: float | None
    press: float | None = None
    r_squared_foretold: float | None = None


@dataclass(frozen=True, kw_only=True)
class Coefficient:
    term: str
    estimate: float
    se: float | None = None
    low: float | None = None
    high: float | None = None
    df: float | None = None
    t: float | None = None
    p: float | None = None


@dataclass(frozen=True, kw_only=True)
class Mean:
    """Estimated (not raw) mean of a level, averaged evenly over the rest of the design.

    ``at`` names the slice (other factor -> level) when the mean belongs to one.
    """

    factor: str
    level: str
    mean: float
    se: float | None
    low: float | None
    high: float | None
    df: float | None = None
    letters: str | None = None
    at: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Difference a - b of two estimated means with an adjusted interval."""

    factor: str
    a: str
    b: str
    difference: float
    se: float | None
    low: float | None
    high: float | None
    p_adjusted: float | None
    method: str
    at: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Effect:
    """Effect of a two-level term: mean at high minus mean at low, in the response's unit.

    ``pse`` is Lenth's pseudo standard error when there was no error df; ``low`` and
    ``high`` then use its margin of error. ``margin`` and ``simultaneous_margin`` are
    Lenth's ME and SME (None when judged against replicates).
    """

    term: str
    effect: float
    low: float | None
    high: float | None
    pse: float | None = None
    margin: float | None = None
    simultaneous_margin: float | None = None


@dataclass(frozen=True, kw_only=True)
class Interval:
    """An estimate with its interval (None where it cannot be given)."""

    estimate: float
    se: float | None = None
    low: float | None = None
    high: float | None = None
