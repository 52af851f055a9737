"""What is being asked of the data: factors, responses, and how to look at them.

These records travel from the shells to the engine. They hold plain values and
are checked once, by ``analysis.engine``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

FactorKind = Literal["amount", "category", "share"]
Scale = Literal["measured", "score", "count", "yes-no"]
Goal = Literal["maximise", "minimise", "target"]
AnalysisKind = Literal["auto", "factors", "dose", "surface", "mixture", "score"]
SmallSample = Literal["kenward-roger", "satterthwaite"]
Transform = Literal["none", "auto", "log", "square root", "reciprocal", "reciprocal square root", "logit"]
Adjust = Literal["auto", "holm", "bonferroni", "scheffe", "none"]
Intervals = Literal["standard", "profile", "bootstrap"]
LinkName = Literal["logit", "probit"]
ModelName = Literal[
    "main effects", "interactions", "quadratic", "mixture linear", "mixture quadratic", "mixture special cubic"
]


@dataclass(frozen=True, kw_only=True)
class Factor:
    """One thing that was changed on purpose.

    ``levels`` are the level names in their stored order for a category, and may
    be empty for an amount. ``reference`` is the level others are compared with.
    """

    name: str
    kind: FactorKind
    unit: str = ""
    levels: tuple[str, ...] = ()
    reference: str | None = None


@dataclass(frozen=True, kw_only=True)
class Margin:
    """Within which two treatments count as equally good: a difference, or a ratio of means (both above 0)."""

    low: float
    high: float
    ratio: bool = False


@dataclass(frozen=True, kw_only=True)
class Response:
    """One thing that was measured, and how much of a change is worth acting on.

    ``matters`` is the difference that matters, in ``unit``. ``plausible`` bounds
    draw a warning, ``possible`` bounds a refusal (the record checks both).
    ``margin`` is asked of a substitute. ``accept`` bounds what is good enough (None: open on
    that side) and ``importance`` weighs the response among several goals. ``model`` names its own terms
    where they are not the question's.
    """

    name: str
    unit: str = ""
    scale: Scale = "measured"
    goal: Goal | None = None
    target: float | None = None
    matters: float | None = None
    plausible: tuple[float, float] | None = None
    anchors: tuple[str, ...] = ()
    margin: Margin | None = None
    accept: tuple[float | None, float | None] | None = None
    importance: float = 1.0
    model: ModelName | None = None


@dataclass(frozen=True, kw_only=True)
class Settings:
    """How to look at a table, whatever its columns are called.

    ``model`` names the terms instead of ``order``, the highest interaction (None: as ``order`` says).
    ``confidence`` lies in (0, 1). ``seed`` feeds every resampling step. ``small_sample`` says how the
    df of mixed models are found. ``contrasts`` are texts such as "acid: yogurt = 1, lemon juice = -1".
    ``interactions`` names the only joint effects to fit, as "oven:soda" (none named: all up to ``order``).
    ``adjust`` says how comparisons of levels allow for their number ("auto": Tukey-Kramer for all
    pairs, Dunnett against a named reference). ``shape``, ``intervals`` and ``effective`` (shares of the
    way, in (0, 1)) concern curves over a dose. ``link`` is the distribution behind scores and yes-no.
    """

    kind: AnalysisKind = "auto"
    model: ModelName | None = None
    shape: str | None = None
    order: int = 2
    squares: Literal[1, 2, 3] = 2
    confidence: float = 0.95
    seed: int = 1
    small_sample: SmallSample = "kenward-roger"
    transform: Transform | None = None
    robust: bool = False
    unequal_spread: bool = False
    contrasts: tuple[str, ...] = ()
    interactions: tuple[str, ...] = ()
    adjust: Adjust = "auto"
    intervals: Intervals = "standard"
    link: LinkName = "logit"
    effective: tuple[float, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Question(Settings):
    """How to analyse one table: its columns beside the settings.

    ``blocks`` name columns whose levels are fixed blocks (bake day). ``group``
    names columns that together identify a whole plot (rows that share an error);
    ``bake`` names the column that identifies the experimental unit, so that
    readings of one bake are averaged. ``strips`` names
    two group columns that cut across each other within blocks (a strip-plot).
    ``guessed`` names the factors whose kind was guessed from their column, so that the answer says so.

    ``crossed`` are further chains of group columns whose bakes share an error, each like ``group``
    and crossed with it. ``slopes`` are (amount, group column): its effect varies from group to group.
    ``covariates`` are measured columns that were not set on purpose (numbers, or texts as levels).
    ``weights`` names a column of counts or precisions.
    """

    factors: tuple[Factor, ...]
    responses: tuple[Response, ...]
    dose: str | None = None
    by: str | None = None
    blocks: tuple[str, ...] = ()
    group: tuple[str, ...] = ()
    strips: tuple[str, ...] = ()
    bake: str | None = None
    guessed: tuple[str, ...] = ()
    crossed: tuple[tuple[str, ...], ...] = ()
    slopes: tuple[tuple[str, str], ...] = ()
    covariates: tuple[str, ...] = ()
    weights: str | None = None
