"""How is it to be analysed? The same for a trial and a spreadsheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from analysis.questions import Factor
from tracker.errors import InputError
from tracker.intake.spreadsheet import nearest

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, kw_only=True)
class Options:
    """What was said beyond the columns. ``references`` are "LEVEL" or "FACTOR:LEVEL"; ``follow`` names
    chemistry of the runs that takes the place of the factors (a trial with a formula only)."""

    kind: Literal["auto", "factors", "dose", "surface", "mixture"] = "auto"
    model: Any = None
    dose: str | None = None
    by: str | None = None
    shape: str | None = None
    references: tuple[str, ...] = ()
    group: str | None = None
    order: int = 2
    squares: int = 2
    confidence: float = 0.95
    seed: int = 1
    follow: tuple[str, ...] = ()


def set_references(factors: Sequence[Factor], references: Sequence[str]) -> tuple[Factor, ...]:
    """Give categories the level others are compared with. Raises InputError with the nearest level."""
    chosen: dict[str, str] = {}
    levels = {factor.name: factor.levels for factor in factors if factor.levels}
    for text in references:
        name, colon, level = text.rpartition(":")
        owners = [name.strip()] if colon and name.strip() in levels else [n for n, its in levels.items() if text in its]
        wanted = level.strip() if colon and name.strip() in levels else text
        known = [each for owner in owners or levels for each in levels[owner]]
        if len(owners) != 1 or wanted not in known:
            near = nearest(wanted, known) or (known[0] if known else "LEVEL")
            what = (
                f'"{text}" is a level of {" and of ".join(owners)}.'
                if len(owners) > 1
                else f'There is no level "{wanted}"; the levels are {", ".join(known) or "none"}.'
            )
            owner = owners[0] + ":" if len(owners) > 1 else ""
            raise InputError(what, where="--reference", try_this=f'--reference "{owner}{near}"')
        chosen[owners[0]] = wanted
    return tuple(replace(factor, reference=chosen.get(factor.name, factor.reference)) for factor in factors)


def lay_groups(
    tables: Mapping[str, pd.DataFrame], group: Sequence[str], *, factors: Sequence[str], blocks: Sequence[str]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Group and block columns as the engine takes them, joining columns where they serve twice.

    A whole plot is often named by what it was given: recipe within replicate. A column that
    is a factor or block as well cannot be a group of its own, so the parts are joined into one
    column of the tables ("replicate+recipe"); its other parts stay in as blocks.
    """
    if not set(group) & {*factors, *blocks}:
        return tuple(group), tuple(blocks)
    joined = "+".join(group)
    for table in {id(table): table for table in tables.values()}.values():
        parts = zip(*(table[name] for name in group), strict=True)
        table[joined] = ["+".join(str(part) for part in row) if all(map(_filled, row)) else None for row in parts]
    outer = [name for name in group if name not in factors and name not in blocks]
    return (joined,), (*blocks, *outer)


def _filled(cell: object) -> bool:
    return cell is not None and cell == cell  # NaN is unlike itself
