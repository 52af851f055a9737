"""What an analysis answers with: frozen records of plain numbers, no sentences.

The families (``linear``, ``dose_response``) fill these in; ``findings`` ranks the
evidence; ``words`` makes the sentences; ``reports`` draws the pictures. A number
that cannot be computed is ``None`` and its reason stands in ``reasons``; NaN and
infinity never appear.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from analysis.parts import ChosenContrast, Equivalence, Part, Threshold, Variance
from analysis.predicting import Predictor
from analysis.questions import Question, Response

Matters = Literal["yes", "no", "unsure"]
Verdict = Literal["fine", "look here", "do not rely"]
ChemistryVerdict = Literal["explains", "does not explain", "cannot tell"]


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
class Check:
    """Can this be trusted? One question at a time.

    ``check`` is a key of the catalogue in ``analysis.words.checks``; ``facts`` hold the
    numbers and names its sentence needs.
    """

    check: str
    verdict: Verdict
    facts: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One piece of evidence about named variables; the sentence is made in ``words``.

    ``kind`` is a key of the catalogue in ``analysis.words.findings``:
    "effect" (amount from low to high, or largest difference between two levels),
    "interaction", "best dose", "recommended dose", "curves differ", "cannot tell".
    ``size``, ``low``, ``high`` are in ``unit``. ``matters`` compares the interval with
    the difference that matters (or with zero when none was given).
    """

    kind: str
    response: str
    variables: tuple[str, ...]
    size: float | None
    low: float | None
    high: float | None
    unit: str
    direction: Literal["up", "down", "hump", "none", "mixed"]
    matters: Matters
    p: float | None = None
    facts: Mapping[str, Any] = field(default_factory=dict)
    rank: int = 0


@dataclass(frozen=True, kw_only=True)
class NextBakes:
    """Which treatments to bake next and why. ``why`` is a key of ``analysis.words.next_bakes``."""

    why: str
    treatments: tuple[Mapping[str, Any], ...]
    facts: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """A row (1-based, header not counted; or a bake's code) that was not used, and why."""

    row: int | str
    why: str
    response: str | None = None


@dataclass(frozen=True, kw_only=True)
class ModelNote:
    """How it was computed, for the methods part."""

    kind: str
    terms: tuple[str, ...]
    groups: tuple[str, ...] = ()
    estimation: str = "least squares"
    df_method: str = "residual"
    sums_of_squares: str | None = None
    transform: str | None = None
    coding: str | None = None


@dataclass(frozen=True, kw_only=True)
class Interval:
    """An estimate with its interval (None where it cannot be given)."""

    estimate: float
    se: float | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """One shape that was tried. ``parameters`` are named as in ``dose_response.shapes``."""

    shape: str
    aicc: float
    weight: float
    parameters: Mapping[str, Interval]
    rss: float
    df: int


@dataclass(frozen=True, kw_only=True)
class LackOfFit:
    """Scatter around the curve against scatter between replicate bakes (pure error)."""

    df: int
    df_error: int
    sum_sq: float
    value: float
    p: float


@dataclass(frozen=True, kw_only=True)
class Optimum:
    """Best dose inside what was baked. ``method`` names how the interval was made."""

    dose: float
    low: float | None
    high: float | None
    response: float
    response_low: float | None = None
    response_high: float | None = None
    se: float | None = None
    method: str = ""
    delta_low: float | None = None
    delta_high: float | None = None


@dataclass(frozen=True, kw_only=True)
class Recommended:
    """Smallest dose whose response is within the difference that matters of the best baked.

    ``as_good_to`` is the largest such dose. ``edge`` tells that the best lies at the end
    of the range ("low" or "high"), so that no optimum was seen.
    """

    dose: float
    low: float | None
    high: float | None
    response: float
    as_good_to: float
    within: float
    edge: Literal["low", "high"] | None = None


@dataclass(frozen=True, kw_only=True)
class EffectiveDose:
    """Dose that gives ``fraction`` of the way from the starting to the final response."""

    fraction: float
    dose: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, kw_only=True)
class Potency:
    """How many times the dose of ``relative_to`` gives what one dose of ``level`` gives."""

    level: str
    relative_to: str
    ratio: float
    low: float | None
    high: float | None
    predicted: float | None = None


@dataclass(frozen=True, kw_only=True)
class CurvePoint:
    """A point of the drawn curve with its confidence band (adjusted to the average block)."""

    dose: float
    mean: float
    low: float | None
    high: float | None


@dataclass(frozen=True, kw_only=True)
class Curve:
    """The fitted curve of one level of ``by`` (level None when there is one curve)."""

    level: str | None
    parameters: Mapping[str, Interval]
    optimum: Optimum | None
    recommended: Recommended | None
    effective: tuple[EffectiveDose, ...]
    points: tuple[CurvePoint, ...]


@dataclass(frozen=True, kw_only=True)
class AveragedDose:
    """Smallest dose good enough (``dose``) and best dose (``best``), averaged over the plausible shapes.

    ``shapes`` are their weights (sum 1); intervals hold the doubt about the shape.
    """

    level: str | None
    dose: float
    low: float | None
    high: float | None
    best: float
    best_low: float | None
    best_high: float | None
    shapes: Mapping[str, float]


@dataclass(frozen=True, kw_only=True)
class DosePart:
    """The dose-response side of an answer. With one curve its parts equal ``curves[0]``.

    ``pure_error`` is the scatter between bakes of one dose, against which the tests of the
    doses as levels and the lack of fit were judged; None when no dose was baked twice.
    """

    dose: str
    by: str | None
    shape: str
    curves: tuple[Curve, ...]
    candidates: tuple[Candidate, ...]
    lack_of_fit: LackOfFit | None
    pure_error: Residual | None = None
    potency: tuple[Potency, ...] = ()
    averaged: tuple[AveragedDose, ...] = ()
    edge: Literal["low", "high"] | None = None


@dataclass(frozen=True, kw_only=True)
class BakePoint:
    """One bake as it entered the model: for pictures, checks and the data table."""

    bake: str
    order: int
    settings: Mapping[str, float | str]
    block: str | None
    observed: float
    fitted: float | None
    residual: float | None
    readings: int


@dataclass(frozen=True, kw_only=True)
class FamilyResult:
    """What a result family hands to the engine for one response."""

    model: ModelNote
    tests: tuple[Test, ...] = ()
    residual: Residual | None = None
    coefficients: tuple[Coefficient, ...] = ()
    means: tuple[Mean, ...] = ()
    comparisons: tuple[Comparison, ...] = ()
    effects: tuple[Effect, ...] = ()
    aliases: tuple[tuple[str, ...], ...] = ()
    dose: DosePart | None = None
    checks: tuple[Check, ...] = ()
    evidence: tuple[Finding, ...] = ()
    points: tuple[BakePoint, ...] = ()
    reasons: Mapping[str, str] = field(default_factory=dict)
    variances: tuple[Variance, ...] = ()
    thresholds: tuple[Threshold, ...] = ()
    contrasts: tuple[ChosenContrast, ...] = ()
    equivalence: tuple[Equivalence, ...] = ()
    parts: tuple[Part, ...] = ()
    predictor: Predictor | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True, kw_only=True)
class ChemistryPart:
    """What chemistry says about one response and one category.

    ``share``: of the sum of squares between treatments, how much the chemistry alone
    accounts for (0 to 1). ``size`` with ``low``/``high``: the largest difference a - b between
    two levels at equal chemistry. ``f``, ``df``, ``df_error``, ``p``: the category beyond chemistry.
    ``columns``: which columns of ``leavening.runs`` were used. ``reason``: why it cannot tell.
    """

    category: str
    columns: tuple[str, ...]
    verdict: ChemistryVerdict
    share: float | None = None
    a: str | None = None
    b: str | None = None
    size: float | None = None
    low: float | None = None
    high: float | None = None
    f: float | None = None
    df: int | None = None
    df_error: int | None = None
    p: float | None = None
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class ResponseResult:
    """The whole answer for one response."""

    response: Response
    n_bakes: int
    n_readings: int
    family: FamilyResult
    findings: tuple[Finding, ...]
    next_bakes: tuple[NextBakes, ...]
    checks: tuple[Check, ...]
    chemistry: tuple[ChemistryPart, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Analysis:
    """The answer to a question: one result for each response, ranked findings across them.

    ``parts`` concern several responses together.
    """

    question: Question
    source: str
    rows_read: int
    rows_used: int
    left_out: tuple[LeftOut, ...]
    responses: tuple[ResponseResult, ...]
    findings: tuple[Finding, ...]
    parts: tuple[Part, ...] = ()
