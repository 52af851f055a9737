"""Which number did the person mean?

A comma or a point may be the decimal mark. What could be read in two ways is refused, and
so is anything beside a number (a unit, a sign such as "<"): a value is kept as it was
meant or not at all.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal

from tracker.errors import InputError

NUMBER_ALONE = "write the number alone"

_NUMBER = re.compile(r"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,4})?")
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}(?:[eE].*)?")
_GROUPED = re.compile(r"[+-]?[0-9]{1,3}(?:[.,\s'’_][0-9]{3})+(?:[.,][0-9]*)?")
_NOT_FINITE = {"nan", "inf", "infinity", "∞"}
_MISSING_WORDS = {"na", "n/a", "n.a.", "n.d.", "nd", "-", "–", "—", "?", ".", "null", "none", "missing", "#n/a", "x"}


def read_number(text: str, *, what: str = "", where: str = "") -> float:
    """The one number ``text`` can mean.

    ``what`` names the value ("rise height") and ``where`` the place, for the message.
    Raises InputError when the text holds no number, two possible numbers, a unit, or a
    number no double can keep.
    """
    found = plain_number(text)
    if isinstance(found, float):
        return found
    name = f"{what}: " if what else ""
    raise InputError(f"{name}{found[0]}", where=where, try_this=found[1])


def plain_number(text: str) -> float | tuple[str, str]:
    """The number, or why it is none and what to write instead."""
    typed = text.strip().replace("−", "-")
    shown = f'"{text.strip()}"'
    if _THOUSANDS.fullmatch(typed):
        whole, part = typed.replace(",", "", 1), typed.replace(",", ".", 1)
        return f"{shown} can be read as {whole} or as {part}.", f"write {whole} or {part}"
    if not _NUMBER.fullmatch(typed):
        return _why_not(typed, shown)
    return _kept(typed.replace(",", ".", 1), shown)


def _kept(plain: str, shown: str) -> float | tuple[str, str]:
    exact, value = Decimal(plain), float(plain)
    if math.isinf(value) or (value == 0 and exact != 0):
        return f"{shown} is too {'large' if value else 'small'} to keep.", "check the number and its unit"
    if plain.lstrip("+-").isdigit() and Decimal(value) != exact:
        return f"{shown} has more digits than can be kept.", "if it is a code, name its column a category"
    return value


def _why_not(typed: str, shown: str) -> tuple[str, str]:
    low = typed.casefold()
    if not typed:
        return "the value is missing.", "write a number"
    if low.lstrip("+-") in _NOT_FINITE:
        return f"{shown} is not a number that was measured.", "leave the cell empty when there is no value"
    if low in _MISSING_WORDS:
        return f"{shown} is text in a number.", "leave the cell empty when there is no value"
    if _GROUPED.fullmatch(typed):
        return f"{shown} has marks between its thousands.", "write the number without them, such as 1234.5"
    if typed[0] in "<>≤≥~≈":
        return f"{shown} is a bound, not a number.", "write the value that was read, and the bound in a note"
    start = _NUMBER.match(typed)
    if start and _is_unit(typed[start.end() :]):
        rest = typed[start.end() :].strip()
        return f'{shown} has "{rest}" behind its number.', NUMBER_ALONE
    return f"{shown} is text in a number.", "write one number, such as 42.5"


def _is_unit(rest: str) -> bool:
    return bool(re.fullmatch(r"\s*[^\W\d_][^\d,;]*|\s*[%°‰'\"].*", rest))


def number_text(value: float) -> str:
    """The shortest text that reads back as the same number: 12, 0.1, 1e-07."""
    if float(value).is_integer() and abs(value) < 1e15:
        return str(int(value))
    return repr(float(value))


def said_dose(dose: float) -> float:
    """A dose worked out from what was measured, without digits that no scale gave: 3 decimals, 3 digits below 1."""
    return round(dose, 3) if abs(dose) >= 1 else float(f"{dose:.3g}")
