"""What would this file bring in, and what is wrong with it, row by row?

A preview is made before anything is written; one wrong row and nothing is.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from tracker.errors import Conflict, InputError
from tracker.intake.mapping import plain

SHOWN = 20  # rows named in a message; the JSON document holds them all


@dataclass(frozen=True, kw_only=True)
class RowError:
    """One cell or row that cannot be used. ``taken``: it is fine, but its place is taken."""

    row: int
    column: str
    what: str
    try_this: str
    taken: bool = False

    def words(self) -> str:
        column = f', column "{self.column}"' if self.column else ""
        return f"  row {self.row}{column}: {self.what} Try: {self.try_this}"

    def to_json(self) -> dict[str, Any]:
        return {"row": self.row, "column": self.column, "what": self.what, "try": self.try_this}


@dataclass(frozen=True, kw_only=True)
class ImportPreview:
    """What an import brings: ``columns`` maps field to column, ``missing`` counts empty cells by response."""

    trial: str
    file: str
    sheet: str | None
    sha256: str
    columns: Mapping[str, str]
    left_out: tuple[str, ...]
    rows: int
    runs: int
    readings: int
    missing: Mapping[str, int]
    errors: tuple[RowError, ...] = ()
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    stored: bool = False
    kinds: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        where = f'{self.file}, sheet "{self.sheet}"' if self.sheet else self.file
        verb = "were stored" if self.stored else "would be stored" if not self.errors else "were read"
        lines = [f"{where}: {self.rows} rows; {self.readings} readings of {self.runs} runs {verb}."]
        lines += [f'  column "{column}" is {name}' for name, column in self.columns.items()]
        lines += [f"  {name} is taken for {kind}" for name, kind in self.kinds.items()]
        lines += [f'  column "{column}" is left out' for column in self.left_out]
        lines += [f"  {name}: {count} cells are empty" for name, count in self.missing.items() if count]
        lines += [error.words() for error in self.errors[:SHOWN]]
        return "\n".join(lines)

    def to_json(self) -> dict[str, Any]:
        return {
            "trial": self.trial,
            "file": self.file,
            "sheet": self.sheet,
            "sha256": self.sha256,
            "columns": dict(self.columns),
            "kinds": dict(self.kinds),
            "left_out": list(self.left_out),
            "rows": self.rows,
            "runs": self.runs,
            "readings": self.readings,
            "missing": dict(self.missing),
            "errors": [error.to_json() for error in self.errors],
            "warnings": list(self.warnings),
            "notes": list(self.notes),
            "stored": self.stored,
        }

    def refuse_errors(self) -> None:
        """Raises InputError (or Conflict when all rows are fine but their places are taken)."""
        if not self.errors:
            return
        shown = "\n".join(error.words() for error in self.errors[:SHOWN])
        more = f"\n  … and {len(self.errors) - SHOWN} more" if len(self.errors) > SHOWN else ""
        count = "1 cell or row" if len(self.errors) == 1 else f"{len(self.errors)} cells or rows"
        kind = Conflict if all(error.taken for error in self.errors) else InputError
        raise kind(
            f"{count} of {self.file} cannot be used; nothing was stored.\n{shown}{more}",
            where=f'{self.file}, sheet "{self.sheet}"' if self.sheet else self.file,
            try_this=f"{self.errors[0].try_this} (row {self.errors[0].row})",
        )


def alike(values: Iterable[str]) -> list[tuple[str, ...]]:
    """Spellings that differ only in case or blanks, such as ("Strong", "strong "): one level or two?"""
    groups: dict[str, dict[str, None]] = {}
    for value in values:
        if value.strip():
            groups.setdefault(plain(value), {})[value] = None
    return [tuple(spellings) for spellings in groups.values() if len(spellings) > 1]


def refuse_alike(values: Iterable[str], *, column: str, where: str) -> None:
    """Raises InputError when a column of names spells one level in two ways."""
    for spellings in alike(values):
        shown = " and ".join(f'"{spelling}"' for spelling in spellings)
        raise InputError(
            f'Column "{column}" has {shown}: they differ only in capitals or blanks.',
            where=where,
            try_this="spell a level the same way in every row",
        )
