"""What did the person mean who answered a question?

Readers of single answers: each returns a plain value or raises InputError with the reason, so
that the question can be asked again. Decimals take a comma or a point.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from itertools import pairwise

from tracker.errors import InputError
from tracker.intake.numbers import NUMBER_ALONE, number_text, plain_number, read_number
from tracker.intake.plan_checks import TAKEN, TAKEN_GROUPS
from tracker.intake.plan_tables import clean_name

NONE = ("none", "no", "-", "nothing")
UNKNOWN = ("not known", "unknown", "?", *NONE)
DAY = "bake day"
MOST_LEVELS = 20
RANGE = r"\s+(?:to|and|until|–|-)\s+|\s*\.\.\s*|\s*;\s*|,\s+|(?<=\d)[–-](?=\d)"  # between two values
MOST_STEPS = 20  # of a score, as in a plan file


def choice(keys: Sequence[str], words: Sequence[str]) -> Callable[[str], str]:
    """One of several by its number, its key or its words."""

    def read(text: str) -> str:
        low = text.casefold()
        for place, (key, said) in enumerate(zip(keys, words, strict=True), start=1):
            if low in (str(place), key.casefold(), said.casefold()):
                return key
        raise InputError(f'"{text}" is none of these.', try_this=f"a number from 1 to {len(keys)}")

    return read


def name(taken: Sequence[str], what: str) -> Callable[[str], str]:
    """A name that nothing else has."""

    def read(text: str) -> str:
        try:
            said = str(clean_name(text))
        except ValueError as wrong:
            raise InputError(f"The name {wrong}.", try_this="a shorter, plain name") from wrong
        if said.casefold() in {*TAKEN, *TAKEN_GROUPS, DAY}:
            raise InputError(f'Every table has a column "{said}" already.', try_this=f'"{said} used"')
        if said.casefold() in {each.casefold() for each in taken}:
            raise InputError(f'"{said}" was named already.', try_this=f"another name for this {what}")
        return said

    return read


def optional(read: Callable[[str], object], words: Sequence[str] = NONE) -> Callable[[str], object]:
    """The same, or None for "none"."""
    return lambda text: None if text.casefold() in words else read(text)


def label(text: str) -> str:
    """A unit or title: short text, perhaps empty ("none")."""
    if text.casefold() in NONE:
        return ""
    try:
        return str(clean_name(text))
    except ValueError as wrong:
        raise InputError(f"It {wrong}.", try_this="a short, plain text") from wrong


def unit_or_steps(text: str) -> str | list[str]:
    """A unit, or the steps of a score when there are several things between semicolons."""
    steps = [part.strip() for part in text.split(";") if part.strip()]
    if len(steps) < 2:
        return label(text)
    if len(steps) > MOST_STEPS or len({step.casefold() for step in steps}) < len(steps):
        raise InputError(
            f"A score has 2 to {MOST_STEPS} steps, each with a word of its own.", try_this="gummy; fair; fine"
        )
    return [label(step) for step in steps]


def number_in(text: str, unit: str = "") -> float:
    """The number, also with the unit behind it that was asked for; no other unit is taken."""
    typed = text.strip()
    told = unit.strip().casefold()
    if told and typed.casefold().endswith(told):
        typed = typed[: -len(told)].strip() or typed
    found = plain_number(typed)
    if isinstance(found, float):
        return found
    or_with = f", or with {unit} behind it" if unit and found[1] == NUMBER_ALONE else ""
    raise InputError(found[0], try_this=f"{found[1]}{or_with}")


def above_zero(text: str) -> float:
    return above_zero_in("")(text)


def above_zero_in(unit: str) -> Callable[[str], float]:
    """A number above 0, perhaps with ``unit`` behind it."""

    def read(text: str) -> float:
        value = number_in(text, unit)
        if value <= 0:
            raise InputError(f"{text} is not above 0.", try_this="a number above 0")
        return value

    return read


def zero_or_more(text: str) -> float:
    value = number_in(text)
    if value < 0:
        raise InputError(f"{text} is below 0.", try_this="0 or more")
    return value


def whole(least: int, most: int) -> Callable[[str], int]:
    """A whole number in a range."""

    def read(text: str) -> int:
        value = number_in(text)
        if value != int(value) or not least <= value <= most:
            raise InputError(f"{text} is no whole number from {least} to {most}.", try_this=str(max(least, 8)))
        return int(value)

    return read


Doses = tuple[float, float] | list[float]


def doses(*, weighed: bool, unit: str = "") -> Callable[[str], Doses]:
    """ "0.5 to 2.5" as (low, high), or "0.5; 1; 2" as a list of doses; ``unit`` may stand behind a number."""

    def read(text: str) -> Doses:
        if unit:
            text = re.sub(rf"(?<=\d)\s*{re.escape(unit)}(?!\w)", "", text, flags=re.IGNORECASE)
        parts = re.split(r"\s+(?:to|until|\.\.|–|-)\s+|\s*\.\.\s*", text.strip())
        listed = [part for part in re.split(r"\s*;\s*|,\s+|\s+", text.strip()) if part]
        found = [number_in(part) for part in (parts if len(parts) == 2 else listed)]
        if len(found) < 2:
            raise InputError("One dose alone shows no change.", try_this="0.5 to 2.5, or several: 0.5; 1; 2")
        if any(b <= a for a, b in pairwise(found)):
            raise InputError("The doses do not rise.", try_this="the least first: 0.5 to 2.5, or 0.5; 1; 2")
        if len(found) > MOST_LEVELS:
            raise InputError(f"More than {MOST_LEVELS} doses.", try_this="only its least and its most: 0.5 to 2.5")
        if weighed and found[0] < 0:
            raise InputError("Nothing on a scale is below 0.", try_this="0 as the least")
        return (found[0], found[1]) if len(parts) == 2 else found

    return read


def between(unit: str, inside: Sequence[float] | None = None) -> Callable[[str], tuple[float, float]]:
    """ "10 to 120" or "10 mm to 120 mm" as (least, most); ``inside``: what can be at all."""

    def read(text: str) -> tuple[float, float]:
        # Only at the end of a part, so that a unit of one letter takes nothing out of a word.
        plain = re.sub(rf"(?<=[\d\s]){re.escape(unit)}(?=\s|;|$)", "", text, flags=re.IGNORECASE) if unit else text
        parts = [part.strip() for part in re.split(RANGE, plain.strip(), flags=re.IGNORECASE)]
        parts = parts[0].split() if len(parts) == 1 else parts
        if len(parts) != 2:
            raise InputError("A range has a least and a most value.", try_this="10 to 120, or none")
        low, high = map(read_number, parts)
        if low >= high:
            raise InputError(f"{parts[0]} is not below {parts[1]}.", try_this="the least first: 10 to 120")
        if inside is not None and not inside[0] <= low < high <= inside[1]:
            ends = f"{number_text(inside[0])} to {number_text(inside[1])}"
            raise InputError(f"What lies outside {ends} cannot be at all.", try_this=f"a range inside {ends}")
        return low, high

    return read


def part_of(total: float) -> Callable[[str], tuple[float, float]]:
    """The least and most share of a whole."""

    def read(text: str) -> tuple[float, float]:
        found = doses(weighed=True, unit="%")(text)
        if not isinstance(found, tuple):
            if len(found) != 2:
                raise InputError("A share has a least and a most only.", try_this=f"0 to {total:g}")
            found = (found[0], found[1])
        if found[1] > total:
            raise InputError(f"A share cannot be more than the whole, {total:g}.", try_this=f"0 to {total:g}")
        return found

    return read


def kinds(text: str) -> list[str]:
    """ "butter, oil" as level names. A decimal comma stays inside its number."""
    separator = r"\s*;\s*" if ";" in text else r"\s*,\s*(?!\d)|,\s+"
    try:
        found = [str(clean_name(part)) for part in re.split(separator, text) if part.strip()]
    except ValueError as wrong:
        raise InputError(f"A name {wrong}.", try_this="short, plain names: butter, oil") from wrong
    if len(found) < 2:
        raise InputError("One kind alone shows no change.", try_this="at least two, as in: butter, oil")
    if len({each.casefold() for each in found}) < len(found):
        raise InputError("One of the kinds stands twice.", try_this="each once")
    if len(found) > MOST_LEVELS:
        raise InputError(f"More than {MOST_LEVELS} kinds.", try_this="those that differ most")
    return found


def some_of(known: Sequence[str]) -> Callable[[str], tuple[str, ...]]:
    """Some of the names, by name or number; "none" for none of them."""

    def read(text: str) -> tuple[str, ...]:
        if text.casefold() in NONE:
            return ()
        return tuple(dict.fromkeys(one_of(known)(part) for part in re.split(r"\s*[;,]\s*", text) if part.strip()))

    return read


def one_of(known: Sequence[str]) -> Callable[[str], str]:
    """One of the names, whatever its case, or its number from 1."""

    def read(text: str) -> str:
        if text.isdigit() and 1 <= int(text) <= len(known):
            return known[int(text) - 1]
        for each in known:
            if each.casefold() == text.casefold():
                return each
        from tracker.intake.spreadsheet import nearest

        near = nearest(text, list(known))
        raise InputError(f'There is no "{text}" here.', try_this=near or f"one of {', '.join(known)}")

    return read


def spread_of(difference: float) -> float:
    """Standard deviation between bakes from how much two of them usually differ, to three digits.

    The mean absolute difference of two normal values is 2 sd / sqrt(pi), or 1.13 sd.
    """
    return float(f"{difference * math.sqrt(math.pi) / 2:.3g}")


def listed(names: Sequence[str]) -> str:
    """ "a, b and c"."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
