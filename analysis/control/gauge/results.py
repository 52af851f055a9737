"""What is asked of a gauge study, and what does its answer hold?

Several people read the same pieces several times. What one person finds on one piece again is
repeatability; what people add is reproducibility; both together are the gauge, the measuring.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from analysis.control.results import Specification
from analysis.results import Check, LeftOut

# What a component is of. "reproducibility" is person and person by piece, "gauge" adds
# repeatability, "total" adds the pieces.
SINGLE = ("repeatability", "person", "person by piece", "piece")
SUMS: Mapping[str, tuple[str, ...]] = {
    "reproducibility": ("person", "person by piece"),
    "gauge": ("repeatability", "person", "person by piece"),
    "total": SINGLE,
}

ModelName = Literal["with person by piece", "without person by piece", "nested", "one person"]
Verdict = Literal["mend", "will do", "good"]

# Beyond the first share the measuring comes before the recipe; below the second it can be
# forgotten. Common practice in measuring rooms, no source.
MEND, GOOD = 0.30, 0.10
SPREADS = 6.0  # standard deviations that count as the whole of a spread (99.7 % of normal readings)
STAYS = 0.25  # p of person by piece from which it is pooled; customary (Bancroft 1964, from memory)


@dataclass(frozen=True, kw_only=True)
class GaugeQuestion:
    """``person`` is None when one person read everything. ``nested`` None: seen from the data.

    ``tolerance`` is the width that a response may take; it follows from the limits when both are given.
    """

    response: str
    unit: str = ""
    person: str | None
    piece: str
    nested: bool | None = None
    specification: Specification | None = None
    tolerance: float | None = None
    confidence: float = 0.95


@dataclass(frozen=True, kw_only=True)
class Stratum:
    """One line of the table of mean squares. ``f`` is against ``against``, ``f_repeatability`` against repeats."""

    term: str
    df: int
    sum_sq: float
    mean_sq: float
    against: str | None = None
    f: float | None = None
    p: float | None = None
    f_repeatability: float | None = None
    p_repeatability: float | None = None


@dataclass(frozen=True, kw_only=True)
class Component:
    """One part of the spread. ``low`` and ``high`` bound ``variance``; ``high`` None: no upper end.

    ``boundary``: the estimate is 0 because a variance cannot be less. ``method`` of the interval:
    "chi-squared" or "modified large sample".
    """

    key: str
    variance: float
    low: float | None
    high: float | None
    method: str
    boundary: bool = False

    @property
    def sd(self) -> float:
        return math.sqrt(self.variance)

    @property
    def sd_low(self) -> float | None:
        return None if self.low is None else math.sqrt(self.low)

    @property
    def sd_high(self) -> float | None:
        return None if self.high is None else math.sqrt(self.high)


@dataclass(frozen=True, kw_only=True)
class Share:
    """A share, 0.3 for 30 %, with its interval; an end that is not known is None."""

    value: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, kw_only=True)
class Shares:
    """Of one component. Shares of the variance add up to 1; those of the spread (of the sd) do not.

    ``of_tolerance`` is six sd against the tolerance; None without one.
    """

    of_variance: Share
    of_spread: Share
    of_tolerance: Share | None = None


@dataclass(frozen=True, kw_only=True)
class Fit:
    """One way of taking the spread apart. ``method``: "strata" (even data) or "restricted likelihood".

    ``components`` has those that the study can tell, by key; ``missing`` says why the others are not
    there (key -> reason). ``classes`` is how many groups of pieces the gauge tells apart, not rounded.
    """

    model: ModelName
    method: str
    table: tuple[Stratum, ...]
    components: Mapping[str, Component]
    shares: Mapping[str, Shares]
    classes: float | None
    missing: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class InteractionTest:
    """Does somebody read some pieces higher than others do? Exact F of the cells beyond people and pieces."""

    f: float
    df: int
    df_error: int
    p: float


@dataclass(frozen=True, kw_only=True)
class PersonLine:
    """How one person reads: ``offset`` from the average of all people, and the repeatability ``sd``."""

    person: str
    readings: int
    mean: float
    offset: float | None = None
    low: float | None = None
    high: float | None = None
    sd: float | None = None
    sd_low: float | None = None
    sd_high: float | None = None


@dataclass(frozen=True, kw_only=True)
class PairLine:
    """The highest reader minus the lowest, with an interval that allows for having picked them."""

    higher: str
    lower: str
    difference: float
    low: float | None
    high: float | None


@dataclass(frozen=True, kw_only=True)
class OddReading:
    """A reading far from its fellows (``row`` as the file names it). ``expected`` is what they say.

    ``pair``: of two readings nobody knows which is odd. ``p`` allows for all readings looked at.
    """

    row: int | str
    person: str
    piece: str
    value: float
    expected: float
    p: float
    pair: bool = False


@dataclass(frozen=True, kw_only=True)
class WorthPoint:
    """``people`` take ``readings`` each of every bake. ``sd`` of a bake's mean; ``measuring`` its part from measuring.

    ``gain``: by which share ``sd`` is below that with one reading less (None for the first).
    """

    people: int
    readings: int
    sd: float
    measuring: float
    gain: float | None


@dataclass(frozen=True, kw_only=True)
class Worth:
    """How many readings of a bake are worth taking, when the same people read every bake.

    ``anyone_sd``: one reading by whoever is there; ``enough`` readings by one person, ``people`` with
    so many each; ``floor`` is the sd of a bake that is read without error.
    """

    points: tuple[WorthPoint, ...]
    enough: int
    people: int
    anyone_sd: float | None
    floor: float


@dataclass(frozen=True, kw_only=True)
class RangeAnswer:
    """The same by averages and ranges, as it is done by hand; all are sd except ``classes``."""

    repeatability: float
    reproducibility: float
    gauge: float
    piece: float
    total: float
    classes: float | None
    mean_range: float
    people_range: float
    pieces_range: float


@dataclass(frozen=True, kw_only=True)
class GaugeFinding:
    """One thing that the study shows, without a sentence. ``variables`` are names of people or components."""

    kind: str
    variables: tuple[str, ...] = ()
    size: float | None = None
    low: float | None = None
    high: float | None = None
    verdict: str = ""
    facts: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class PlottedReading:
    person: str
    piece: str
    value: float


@dataclass(frozen=True, kw_only=True)
class GaugeAnswer:
    """``used`` is the fit that the verdict rests on; ``fits`` holds the others too, in the order tried."""

    question: GaugeQuestion
    nested: bool
    even: bool
    people: tuple[str, ...]
    pieces: int
    readings: int
    repeats: tuple[int, int]
    used: Fit
    fits: tuple[Fit, ...]
    interaction: InteractionTest | None
    verdict: Verdict
    judged_by: Literal["tolerance", "spread"]
    judged: Share
    persons: tuple[PersonLine, ...]
    pair: PairLine | None
    odd: tuple[OddReading, ...]
    worth: Worth
    ranges: RangeAnswer | None
    checks: tuple[Check, ...]
    findings: tuple[GaugeFinding, ...]
    left_out: tuple[LeftOut, ...]
    plotted: tuple[PlottedReading, ...]
