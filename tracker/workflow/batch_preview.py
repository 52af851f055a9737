"""What would a season's spreadsheet bring into the log, what is wrong with it, and what did undoing it take back?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from analysis.words.numbers import say_count
from tracker.errors import Conflict, InputError
from tracker.intake.preview import SHOWN, RowError


@dataclass(frozen=True, kw_only=True)
class BatchPreview:
    """What an import brings: ``columns`` maps a part of the log to its column."""

    product: str
    file: str
    sheet: str | None
    sha256: str
    columns: dict[str, str]
    left_out: tuple[str, ...]
    unknown: tuple[str, ...]
    rows: int
    batches: int
    readings: int
    errors: tuple[RowError, ...] = ()
    notices: tuple[str, ...] = ()
    stored: bool = False
    alarms: int = 0

    @property
    def where(self) -> str:
        return f'{self.file}, sheet "{self.sheet}"' if self.sheet else self.file

    def summary(self) -> str:
        verb = "were stored" if self.stored else "would be stored" if not self.errors else "were read"
        lines = [
            f"{self.where}: {say_count(self.rows, 'row')}; {say_count(self.batches, 'batch')} with "
            f"{say_count(self.readings, 'reading')} {verb}."
        ]
        lines += [f'  column "{column}" is {name}' for name, column in self.columns.items()]
        lines += [f'  column "{column}" is left out' for column in self.left_out]
        lines += [f'  column "{column}" is left out: nothing this product knows' for column in self.unknown]
        lines += [error.words() for error in self.errors[:SHOWN]]
        if self.stored:
            lines.append(f"  {say_count(self.alarms, 'alarm')} entered with them.")
        return "\n".join(lines)

    def to_json(self) -> dict[str, Any]:
        return {
            "product": self.product,
            "file": self.file,
            "sheet": self.sheet,
            "sha256": self.sha256,
            "columns": dict(self.columns),
            "left_out": list(self.left_out),
            "unknown": list(self.unknown),
            "rows": self.rows,
            "batches": self.batches,
            "readings": self.readings,
            "errors": [error.to_json() for error in self.errors],
            "notices": list(self.notices),
            "stored": self.stored,
            "alarms": self.alarms,
        }

    def refuse_errors(self) -> None:
        """Raises InputError (or Conflict when all rows are fine but their numbers are taken)."""
        if not self.errors:
            return
        shown = "\n".join(error.words() for error in self.errors[:SHOWN])
        more = f"\n  … and {len(self.errors) - SHOWN} more" if len(self.errors) > SHOWN else ""
        kind = Conflict if all(error.taken for error in self.errors) else InputError
        raise kind(
            f"{say_count(len(self.errors), 'cell or row', 'cells or rows')} of {self.file} cannot be used; "
            f"nothing was stored.\n{shown}{more}",
            where=self.where,
            try_this=f"{self.errors[0].try_this} (row {self.errors[0].row})",
        )


@dataclass(frozen=True, kw_only=True)
class Undone:
    """An import that was taken back: how many batches, and how many alarms went with them."""

    product: str
    file: str
    batches: tuple[str, ...]
    withdrawn: int

    def summary(self) -> str:
        return (
            f"{self.file}: {say_count(len(self.batches), 'batch')} taken back, "
            f"{say_count(self.withdrawn, 'alarm')} withdrawn. The file and its readings stay readable."
        )

    def to_json(self) -> dict[str, Any]:
        return {
            "product": self.product,
            "file": self.file,
            "batches_taken_back": list(self.batches),
            "alarms_withdrawn": self.withdrawn,
        }
