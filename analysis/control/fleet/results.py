"""What is known of each line of a fleet, and which need eyes?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analysis.control.capability import MEETS, SHORT, UNSURE, WANTED
from analysis.control.fleet.readings import KEY
from analysis.control.limits import FEW


@dataclass(frozen=True, kw_only=True)
class LineAnswer:
    """One product at one site on one line, in one response. Numbers are None where there is nothing to say.

    ``alarms`` counts the batches that completed each rule, ``alarming`` those that completed any, ``recent`` those
    among the newest; ``ago`` is how many batches back the newest alarm lies (0: the newest batch).
    """

    product: str
    site: str
    line: str
    response: str
    readings: int
    missing: int
    batches: int
    mean: float | None
    sd: float | None
    lower: float | None
    upper: float | None
    total: float | None
    alarms: Mapping[str, int]
    alarming: int
    recent: int
    ago: int | None
    lower_spec: float | None = None
    upper_spec: float | None = None
    below_spec: int | None = None
    above_spec: int | None = None
    index: float | None = None
    index_low: float | None = None
    index_high: float | None = None

    @property
    def key(self) -> tuple[str, str, str, str]:
        return self.product, self.site, self.line, self.response

    @property
    def state(self) -> str:
        """ "nothing read", "one batch", "constant", "provisional" (few batches) or "judged"."""
        if self.batches == 0:
            return "nothing read"
        if self.batches == 1:
            return "one batch"
        if self.sd == 0:
            return "constant"
        return "provisional" if self.batches < FEW else "judged"

    @property
    def outside(self) -> int | None:
        """Readings outside the specification; None without one."""
        seen = [count for count in (self.below_spec, self.above_spec) if count is not None]
        return sum(seen) if seen else None

    @property
    def kind(self) -> str:
        """What the index tells of: what a steady line can do, or what one with alarms did."""
        return "performance" if self.alarming else "capability"

    @property
    def verdict(self) -> str | None:
        """Does the index reach what is customary, as surely as its interval tells? None without an interval."""
        if self.index_low is None or self.index_high is None:
            return None
        return MEETS if self.index_low >= WANTED else SHORT if self.index_high < WANTED else UNSURE

    @property
    def needs_eyes(self) -> bool:
        """An alarm among the newest batches, or a specification that is not kept."""
        return self.recent > 0 or self.verdict == SHORT


@dataclass(frozen=True, kw_only=True)
class Fleet:
    """All lines, ordered by product, site, line and response; ``engine`` says what worked it out."""

    engine: str
    rules: tuple[str, ...]
    recent: int
    lines: tuple[LineAnswer, ...]

    @property
    def worst_first(self) -> tuple[LineAnswer, ...]:
        """Lines that need eyes: most alarms among the newest batches first, then the lowest index."""
        chosen = (line for line in self.lines if line.needs_eyes)
        return tuple(sorted(chosen, key=_badness))

    @property
    def with_alarms(self) -> int:
        return sum(line.alarming > 0 for line in self.lines)

    def of_state(self, state: str) -> int:
        return sum(line.state == state for line in self.lines)


def _badness(line: LineAnswer) -> tuple[float, float, float, tuple[str, str, str, str]]:
    index = math.inf if line.index is None else line.index
    return -line.recent, index, -line.alarming / max(line.batches, 1), line.key


def line_answers(columns: Mapping[str, Sequence[Any]], rules: Sequence[str]) -> tuple[LineAnswer, ...]:
    """The columns of ``line_table`` as records, in the fixed order; NaN and None alike become None."""
    whole = {"readings", "missing", "batches", "alarming", "recent", "ago", "below_spec", "above_spec"}
    counted = {rule: [int(n) for n in columns[rule.replace(" ", "_")]] for rule in rules}
    names = [name for name in LineAnswer.__dataclass_fields__ if name in columns and name not in KEY]
    plain = {name: _plain(columns[name], whole=name in whole) for name in names}
    found = [
        LineAnswer(
            **dict(zip(KEY, key, strict=True)),
            **{name: column[at] for name, column in plain.items()},
            alarms={rule: counts[at] for rule, counts in counted.items()},
        )
        for at, key in enumerate(zip(*(columns[name] for name in KEY), strict=True))
    ]
    return tuple(sorted(found, key=lambda line: line.key))


def _plain(column: Sequence[Any], *, whole: bool) -> list[Any]:
    make = int if whole else float
    return [None if value is None or value != value else make(value) for value in column]
