"""Which column is meant, what kind of column is it, and what does it hold?

Kinds are what the asker says; where nothing was said, numbers make an amount and texts a
category, and the guess is reported.
"""

from __future__ import annotations

from collections.abc import Sequence

from tracker.errors import InputError, UsageError
from tracker.intake.mapping import plain, same_name, split_unit
from tracker.intake.numbers import NUMBER_ALONE, plain_number
from tracker.intake.preview import SHOWN, RowError, refuse_alike
from tracker.intake.spreadsheet import Sheet, nearest

KINDS = ("amount", "category", "share")
SCALES = ("measured", "score", "count", "yes-no")
_YES_NO = {"yes": 1.0, "true": 1.0, "1": 1.0, "no": 0.0, "false": 0.0, "0": 0.0}


def find_column(header: Sequence[str], name: str, *, option: str) -> str:
    """The column called ``name``, with or without its unit. Raises InputError with the nearest."""
    if name in header:
        return name
    for column in header:
        if plain(column) == plain(name) or same_name(column, name) or plain(split_unit(column)[0]) == plain(name):
            return column
    near = nearest(name, list(header))
    raise InputError(
        f'There is no column "{name}"; the columns are {", ".join(header)}.',
        where=option,
        try_this=f'{option} "{near or header[0]}"',
    )


def split_kind(text: str, kinds: Sequence[str], *, option: str, header: Sequence[str] = ()) -> tuple[str, str | None]:
    """ "soda:amount" as ("soda", "amount"); ("soda", None) when no kind is given.

    A colon may belong to the column's own name. Raises UsageError for an unknown kind.
    """
    name, colon, kind = text.rpartition(":")
    if not colon or text in header:
        return text.strip(), None
    if kind.strip() in kinds:
        return name.strip(), kind.strip()
    near = nearest(kind, list(kinds))
    raise UsageError(
        f'"{kind.strip()}" is none of {", ".join(kinds)}.',
        where=option,
        try_this=f'{option} "{name.strip()}:{near or kinds[0]}"',
    )


def guess_kind(values: Sequence[str]) -> str:
    """ "amount" when every filled cell is a number, else "category"."""
    filled = [value for value in values if value.strip()]
    return "amount" if filled and all(isinstance(plain_number(value), float) for value in filled) else "category"


def numbers_of(sheet: Sheet, column: str, *, yes_no: bool = False) -> list[float | None]:
    """The column as numbers, None where a cell is empty. Raises InputError naming each bad row."""
    numbers: list[float | None] = []
    errors: list[RowError] = []
    for index, text in enumerate(sheet.column(column)):
        if not text.strip():
            numbers.append(None)
            continue
        found = _number(text, yes_no)
        if isinstance(found, tuple):
            errors.append(RowError(row=sheet.places[index], column=column, what=found[0], try_this=found[1]))
        else:
            numbers.append(found)
    if errors:
        raise _bad_rows(sheet, column, errors)
    return numbers


def _number(text: str, yes_no: bool) -> float | tuple[str, str]:
    if yes_no:
        known = _YES_NO.get(text.strip().casefold())
        return known if known is not None else (f'"{text.strip()}" is neither yes nor no.', "write yes or no")
    found = plain_number(text)
    if isinstance(found, tuple) and found[1] == NUMBER_ALONE:
        return found[0], f"{NUMBER_ALONE}, the unit in the column's name"
    return found


def _bad_rows(sheet: Sheet, column: str, errors: list[RowError]) -> InputError:
    shown = "\n".join(error.words() for error in errors[:SHOWN])
    more = f"\n  … and {len(errors) - SHOWN} more" if len(errors) > SHOWN else ""
    count = "1 cell" if len(errors) == 1 else f"{len(errors)} cells"
    return InputError(
        f'{count} of column "{column}" cannot be read as numbers.\n{shown}{more}',
        where=sheet.place(sheet.places.index(errors[0].row), column),
        try_this=errors[0].try_this,
    )


def texts_of(sheet: Sheet, column: str) -> list[str | None]:
    """The column as names of levels, None where a cell is empty. Raises InputError for two spellings of one level."""
    values = sheet.column(column)
    refuse_alike(values, column=column, where=sheet.source)
    return [value.strip() or None for value in values]


def levels_of(texts: Sequence[str | None]) -> tuple[str, ...]:
    """The levels that occur: numbers by size, texts in order of appearance."""
    levels = list(dict.fromkeys(text for text in texts if text is not None))
    numbers = [plain_number(level) for level in levels]
    if all(isinstance(number, float) for number in numbers):
        return tuple(level for _, level in sorted(zip(numbers, levels, strict=True)))
    return tuple(levels)
