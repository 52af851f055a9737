"""What does an analysis of scores, shares or counts hold beside the tables every family fills?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from analysis.estimates import Coefficient
from analysis.parts import Part, Threshold, Variance


@dataclass(frozen=True, kw_only=True)
class LikelihoodRatio:
    """One question put to the likelihood: twice the gain in its logarithm against chi-square."""

    term: str
    df: int
    statistic: float
    p: float
    loglik: float


@dataclass(frozen=True, kw_only=True)
class OddsRatio:
    """How many times the odds of a higher score (or of yes) one step of a term makes them.

    For counts: how many times the count.
    """

    term: str
    ratio: float
    low: float | None
    high: float | None


@dataclass(frozen=True, kw_only=True)
class Shares:
    """``fitted`` share of each score at a treatment beside how often it was ``seen``; ``mean``: expected score."""

    settings: Mapping[str, str]
    fitted: Mapping[str, float]
    seen: Mapping[str, float]
    mean: float
    low: float | None
    high: float | None
    readings: float


@dataclass(frozen=True, kw_only=True)
class ScoreDifference:
    """Expected score at ``a`` minus at ``b``, with an interval adjusted as ``method`` says, and the odds ratio."""

    factor: str
    a: str
    b: str
    difference: float
    low: float | None
    high: float | None
    ratio: float
    ratio_low: float | None
    ratio_high: float | None
    p_adjusted: float | None
    method: str


@dataclass(frozen=True, kw_only=True)
class ScoreContrast:
    """A chosen contrast on the model's own scale (log odds, probits, logs of counts), and as a ratio.

    ``ratio`` is None with probits. The same contrast in scores, shares or counts stands in ``contrasts``.
    """

    name: str
    factor: str
    at: Mapping[str, str]
    estimate: float
    se: float | None
    low: float | None
    high: float | None
    ratio: float | None
    ratio_low: float | None
    ratio_high: float | None
    p: float | None


@dataclass(frozen=True, kw_only=True)
class Approximation:
    """The same model with the integral over groups done another way."""

    method: str
    loglik: float
    coefficients: tuple[Coefficient, ...]
    thresholds: tuple[Threshold, ...]
    variances: tuple[Variance, ...]


@dataclass(frozen=True, kw_only=True)
class DoseLimit:
    """Dose at which a share is reached: interval on the log of the dose (delta) and by Fieller's theorem."""

    fraction: float
    dose: float | None
    se: float | None
    se_log: float | None
    low: float | None
    high: float | None
    fieller_low: float | None
    fieller_high: float | None


@dataclass(frozen=True, kw_only=True)
class ScorePart(Part):
    """A response taken as what it is. ``scale`` is "score", "yes-no" or "count".

    ``dispersion`` is Pearson's X² over its df where rows are grouped (1 means no more scatter than
    counting); standard errors are widened by its root when ``widened``. ``separated`` names the terms
    whose effect has no upper limit in these data. ``labels`` name the scores.
    """

    key: ClassVar[str] = "scores"
    scale: str
    link: str
    method: str
    labels: tuple[str, ...]
    loglik: float
    aic: float
    n: float
    odds_ratios: tuple[OddsRatio, ...] = ()
    treatments: tuple[Shares, ...] = ()
    levels: tuple[Shares, ...] = ()
    pairs: tuple[ScoreDifference, ...] = ()
    contrasts: tuple[ScoreContrast, ...] = ()
    proportional_odds: tuple[LikelihoodRatio, ...] = ()
    equal_spread: tuple[LikelihoodRatio, ...] = ()
    group_tests: tuple[LikelihoodRatio, ...] = ()
    interactions: tuple[LikelihoodRatio, ...] = ()
    approximations: tuple[Approximation, ...] = ()
    separated: tuple[str, ...] = ()
    deviance: float | None = None
    pearson: float | None = None
    df: int | None = None
    dispersion: float | None = None
    widened: bool = False
    effective: tuple[DoseLimit, ...] = ()
