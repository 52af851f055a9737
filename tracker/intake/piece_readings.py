"""Which readings of which pieces were typed in one go?

"43.1, 42.8", "43.1 42.8" and "43,1; 42,8" are two readings; "43,1" is one. A row of numbers
whose commas could be decimal marks or could part them ("43,1,42,8") is refused. A count is
typed with what it was taken out of: "3/40" or "3 of 40".
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from tracker.errors import InputError
from tracker.intake.numbers import number_text, read_number

LARGEST = 1e100  # squares and sums of it are still numbers

_OF = re.compile(r"(\S+?)\s*(?:/|\bof\b)\s*(\S+)", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True)
class PieceReading:
    """One reading; ``size`` is what a count was taken out of."""

    value: float
    size: float | None = None


def read_pieces(text: str, *, scale: str, what: str, unit: str = "", where: str = "") -> tuple[PieceReading, ...]:
    """The readings in ``text``, piece by piece; ``scale`` is "measured", "share" or "rate". Raises InputError."""
    typed = text.strip()
    if unit and typed.endswith(unit) and typed[: -len(unit)].strip():
        typed = typed[: -len(unit)].strip()
    if scale != "measured":
        return (_count(typed, scale=scale, what=what, where=where),)
    parts = _parts(typed, what=what, where=where)
    return tuple(PieceReading(value=read_measured(part, what=what, where=where)) for part in parts)


def read_measured(text: str, *, what: str, where: str = "") -> float:
    """One measured reading, of a size that spreads can be computed from. Raises InputError."""
    value = read_number(text, what=what, where=where)
    if abs(value) > LARGEST:
        raise InputError(f'{what}: "{text.strip()}" was never measured.', where=where, try_this="check the number")
    return value


def _parts(typed: str, *, what: str, where: str) -> list[str]:
    parts: list[str] = []
    for part in re.split(r"[;\s]+", re.sub(r",\s+", ";", typed)):
        if "," in part and "." in part and not re.search(r"\.\d+\.", part):
            parts += part.split(",")
        elif part.count(",") > 1:
            raise InputError(
                f'{what}: "{part}" can be read in several ways: its commas may be decimal marks or part the readings.',
                where=where,
                try_this=f'part them with blanks: "{what}={part.replace(",", " ")}"',
            )
        else:
            parts.append(part)
    return [part for part in parts if part] or [""]


def _count(typed: str, *, scale: str, what: str, where: str) -> PieceReading:
    found = _OF.fullmatch(typed)
    if found is None:
        raise InputError(
            f'{what}: "{typed}" does not say out of how {"many" if scale == "share" else "much"}.',
            where=where,
            try_this=f'"{what}=3/40"',
        )
    count, size = (read_number(part, what=what, where=where) for part in found.groups())
    wrong = (
        f"{number_text(count)} is no count"
        if count < 0 or not count.is_integer()
        else f"{number_text(size)} is no number of pieces"
        if size <= 0 or (scale == "share" and not size.is_integer())
        else f"{number_text(count)} is more than all {number_text(size)}"
        if scale == "share" and count > size
        else ""
    )
    if wrong:
        raise InputError(f"{what}: {wrong}.", where=where, try_this=f'whole numbers, such as "{what}=3/40"')
    return PieceReading(value=count, size=size)
