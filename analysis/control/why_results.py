"""What goes into the search for causes in a daily log, and what comes out?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from analysis.control.results import BatchSeries

Behaviour = Literal["step", "drift", "offset"]
Told = Literal["yes", "no", "unknown"]


@dataclass(frozen=True, kw_only=True)
class MadeWith:
    """The batches of a product in order of baking, and what each was made with.

    ``lots`` maps an ingredient to the code of its lot in each batch, ``settings`` a column
    (oven, shift, line, weekday …) to its level in each batch; None where nothing was noted.
    ``beside`` maps what else was measured (pH, gas, oven temperature, bake loss) to the readings
    of each batch; an empty tuple is a gap. All have one entry for each batch of the series.
    ``roles`` says what chemistry may take a response for: "rise", "pH", "gas", "oven temperature",
    "bake loss"; those it does not name are not read by chemistry.
    """

    series: BatchSeries
    lots: Mapping[str, tuple[str | None, ...]] = field(default_factory=dict)
    settings: Mapping[str, tuple[str | None, ...]] = field(default_factory=dict)
    beside: Mapping[str, tuple[tuple[float, ...], ...]] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)  # of what was measured beside
    roles: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Suspect:
    """Something that a change may go with.

    ``column`` is an ingredient ("flour"), a setting ("oven") or "" for time alone (nothing in the
    log changed with it); ``of_lot`` tells the first from the second; ``level`` the lot or level ("" when
    the column has two levels that differ all along, or all lots of an ingredient age alike).
    """

    column: str
    level: str
    behaviour: Behaviour
    of_lot: bool = False

    @property
    def logged(self) -> bool:
        """Was it written in the log, or is it only time?"""
        return bool(self.column)


@dataclass(frozen=True, kw_only=True)
class Ranked:
    """A suspect and its share of the weight: shares of all suspects of one change sum to 1.

    ``alike`` says how far its pattern is that of the cause (1: the log cannot part them).
    """

    suspect: Suspect
    weight: float
    alike: float


@dataclass(frozen=True, kw_only=True)
class Change:
    """One change of the level and what it goes with best.

    ``from_batch`` to ``to_batch`` is the stretch it held for. ``size`` in the response's unit: the
    difference while it held; for a drift the total from its first to its last batch, with
    ``per_batch`` and, where the times of baking are known, ``per_day``. ``onset`` is the batch at
    which the readings alone put the beginning, with its interval (None where it was so from the
    first batch; ``onset_high`` then says how late it may have begun all the same). ``p_value``: how often
    chance alone would show as much, whatever the suspect.
    ``weight`` is that of ``cause``; ``rivals`` are the suspects that may not be told from it.
    """

    cause: Suspect
    weight: float
    rivals: tuple[Ranked, ...]
    from_batch: str
    to_batch: str
    batches: int
    size: float
    low: float
    high: float
    per_batch: float | None
    per_day: float | None
    onset: str | None
    onset_low: str | None
    onset_high: str | None
    p_value: float
    against: str = ""  # the level that an offset of two levels is measured against
    shape: tuple[float, ...] = ()  # one number for each batch: what the change adds for each unit of size


@dataclass(frozen=True, kw_only=True)
class BesideMoved:
    """What a measurement beside did along with a change, in its unit, over the same stretch.

    ``expected`` is the change that chemistry would want for the one seen (gas only), None where there is none.
    """

    name: str
    role: str  # "pH", "gas", "oven temperature", "bake loss"
    unit: str
    readings: int
    size: float
    low: float
    high: float
    share: float | None  # of its usual level (gas)
    share_low: float | None
    share_high: float | None
    moved: Told


@dataclass(frozen=True, kw_only=True)
class Chemistry:
    """What pH, gas and the oven say about one change.

    ``verdict``: "leavener weak", "amount wrong", "oven", "not the leavening", or "open".
    ``missing`` names what has to be measured before more can be said. ``gas_wanted`` is the range of
    loss of gas (share of the usual) that a change of this size would take, ``agrees`` whether the
    measured loss can lie in it.
    """

    verdict: str
    moved: tuple[BesideMoved, ...]
    missing: tuple[str, ...] = ()
    too_few: tuple[str, ...] = ()
    gas_wanted: tuple[float, float] | None = None
    agrees: Told = "unknown"


@dataclass(frozen=True, kw_only=True)
class Why:
    """The changes of one response over a log, largest evidence first found, in order of batches.

    ``p_value`` is that of the first look (no change at all); ``sd`` the spread of a batch mean
    after the changes are taken out, ``correlation`` from one batch to the next.
    ``left_out`` are columns that could not be asked, with a reason's key.
    """

    response: str
    unit: str
    batches: tuple[str, ...]
    mean: float
    sd: float
    correlation: float
    p_value: float
    changes: tuple[Change, ...]
    chemistry: tuple[Chemistry, ...]
    asked: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]
    gaps: int = 0  # batches without a reading of this response
