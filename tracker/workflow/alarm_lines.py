"""What is read of an alarm, and of the causes behind many?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from analysis.words.batch_log import say_recorded_alarm
from analysis.words.numbers import say_count

OPEN, ACKNOWLEDGED, ANSWERED, WITHDRAWN = "open", "acknowledged", "answered", "withdrawn"


@dataclass(frozen=True, kw_only=True)
class AlarmLine:
    """One alarm and what became of it; ``phase`` None: found against limits that were not frozen."""

    number: int
    batch: str
    since: str
    response: str
    unit: str
    chart: str
    rule: str
    side: str
    value: float
    phase: int | None
    at: str
    state: str
    cause: str = ""
    action: str = ""
    reason: str = ""

    def words(self) -> str:
        return words_of([self])

    @property
    def like(self) -> tuple[str, ...]:
        """What it shares with the next one of a run that goes on."""
        return (self.response, self.chart, self.rule, self.side, self.state, self.cause, self.action, self.reason)

    def to_json(self) -> dict[str, Any]:
        return {
            "alarm": self.number,
            "batch": self.batch,
            "since": self.since,
            "response": self.response,
            "chart": self.chart,
            "rule": self.rule,
            "side": self.side,
            "value": self.value,
            "phase": self.phase,
            "at": self.at,
            "state": self.state,
            "cause": self.cause,
            "action": self.action,
            "reason": self.reason,
        }


def words_of(run: Sequence[AlarmLine]) -> str:
    """One alarm, or several of one rule that stand in a row."""
    first, last = run[0], run[-1]
    said = say_recorded_alarm(
        last.response,
        last.unit,
        last.chart,
        last.rule,
        last.side,
        [line.value for line in run],
        last.batch,
        first.since,
    )
    became = {
        OPEN: "open",
        ACKNOWLEDGED: "seen, cause not known yet",
        ANSWERED: f"cause: {last.cause}" + (f"; action: {last.action}" if last.action else "; no action yet"),
        WITHDRAWN: f"withdrawn: {last.reason}",
    }[last.state]
    # Written as the command takes them: 7, or 7-12.
    numbers = f"Alarm {first.number}" if len(run) == 1 else f"Alarms {first.number}-{last.number}"
    return f"{numbers}: {said} ({became})"


def alarms_text(lines: Sequence[AlarmLine]) -> str:
    """A line for each run of alarms of one rule, one number after the other."""
    runs = groupby(enumerate(lines), key=lambda pair: (pair[1].like, pair[1].number - pair[0]))
    return "\n".join(words_of([line for _, line in together]) for _, together in runs)


@dataclass(frozen=True, kw_only=True)
class CauseLine:
    """A cause with how many alarms and batches it explained, and when it was last one."""

    cause: str
    alarms: int
    batches: int
    last_batch: str
    actions: tuple[str, ...]

    def words(self) -> str:
        done = f"  done: {'; '.join(self.actions)}" if self.actions else "  nothing done yet"
        return (
            f"{self.cause}: {say_count(self.alarms, 'alarm')} at {say_count(self.batches, 'batch')}, "
            f"last {self.last_batch}{done}"
        )

    def to_json(self) -> dict[str, Any]:
        return {
            "cause": self.cause,
            "alarms": self.alarms,
            "batches": self.batches,
            "last_batch": self.last_batch,
            "actions": list(self.actions),
        }


@dataclass(frozen=True, kw_only=True)
class Causes:
    """Causes by frequency, the most frequent first, and how many alarms have none yet."""

    causes: tuple[CauseLine, ...]
    open: int

    def summary(self) -> str:
        """A line and a row of dots for each: how many alarms it explained."""
        lines = [f"{'●' * min(each.alarms, 60)} {each.words()}" for each in self.causes]
        if self.open:
            lines.append(f"{say_count(self.open, 'alarm')} without a cause yet.")
        return "\n".join(lines) or "No alarm stands."

    def to_json(self) -> dict[str, Any]:
        return {"causes": [each.to_json() for each in self.causes], "open": self.open}
