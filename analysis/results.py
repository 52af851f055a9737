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

from analysis.dose_results import DosePart
from analysis.estimates import Coefficient, Comparison, Effect, Mean, Residual, Test
from analysis.parts import ChosenContrast, Equivalence, Part, Threshold, Variance
from analysis.predicting import Predictor
from analysis.questions import Question, Response

Matters = Literal["yes", "no", "unsure"]
Verdict = Literal["fine", "look here", "do not rely"]
ChemistryVerdict = Literal["explains", "does not explain", "cannot tell"]


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
