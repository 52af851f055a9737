"""What did one call write?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from tracker.intake.numbers import number_text


@dataclass(frozen=True, kw_only=True)
class Written:
    """One reading as it was kept. ``was`` is the value it corrects; ``value`` None is a void."""

    response: str
    unit: str
    value: float | None
    piece: int | None
    repeat: int
    implausible: bool = False
    was: float | None = None

    def words(self) -> str:
        piece = f", piece {self.piece}" if self.piece else ""
        repeat = f", reading {self.repeat}" if self.repeat > 1 else ""
        shown = "void" if self.value is None else f"{number_text(self.value)} {self.unit}".strip()
        was = f" (was {number_text(self.was)})" if self.was is not None else ""
        return f"{self.response}{piece}{repeat}: {shown}{was}"

    def to_json(self) -> dict[str, Any]:
        return {
            "response": self.response,
            "unit": self.unit,
            "value": self.value,
            "piece": self.piece,
            "repeat": self.repeat,
            "implausible": self.implausible,
            "was": self.was,
        }


@dataclass(frozen=True, kw_only=True)
class Recorded:
    """What one call wrote."""

    trial: str
    run: str
    bake_order: int
    outcome: str | None
    readings: tuple[Written, ...] = ()
    weighed: tuple[tuple[str, float], ...] = ()
    note: str | None = None
    warnings: tuple[str, ...] = ()

    def summary(self) -> str:
        ended = f": {self.outcome}" if self.outcome else ""
        lines = [f"Run {self.run} (#{self.bake_order} in the order of baking){ended}."]
        lines += [f"  {reading.words()}" for reading in self.readings]
        lines += [f"  weighed {ingredient}: {number_text(grams)} g" for ingredient, grams in self.weighed]
        lines += [f"  note: {self.note}"] if self.note else []
        return "\n".join(lines)

    def to_json(self) -> dict[str, Any]:
        return {
            "trial": self.trial,
            "run": self.run,
            "bake_order": self.bake_order,
            "outcome": self.outcome,
            "readings": [reading.to_json() for reading in self.readings],
            "weighed": [{"ingredient": ingredient, "grams": grams} for ingredient, grams in self.weighed],
            "note": self.note,
            "warnings": list(self.warnings),
        }
