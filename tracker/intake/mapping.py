"""Which column of a spreadsheet is which field?

A column carries a field's name, with or without its unit: ``rise height``,
``rise height (mm)``, ``rise_height_mm`` are the same field. A column nobody can place is
refused with the nearest name, since leaving it out in silence would lose readings.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from tracker.errors import InputError
from tracker.intake.spreadsheet import nearest

LEAVE_OUT = "-"
_BRACKET = re.compile(r"\s*[(\[]([^)\]]*)[)\]]\s*$")


@dataclass(frozen=True, kw_only=True)
class Field:
    """Something a column may hold; ``unit`` may stand behind its name, ``also`` are its other names."""

    name: str
    unit: str = ""
    also: tuple[str, ...] = ()


def plain(name: str) -> str:
    """A name without case, underscores and doubled spaces."""
    return " ".join(name.casefold().replace("_", " ").split())


def unit_word(unit: str) -> str:
    """A unit as the end of a snake_case name: "% flour" is "pct flour"."""
    return plain(re.sub(r"[^\w]+", " ", unit.replace("%", " pct ").replace("°", " ").replace("/", " per ")))


def split_unit(column: str) -> tuple[str, str]:
    """A column's title as name and bracketed unit ("" without one)."""
    found = _BRACKET.search(column)
    return (column[: found.start()].strip(), found[1].strip()) if found else (column.strip(), "")


def same_name(column: str, name: str, unit: str = "") -> bool:
    """Does this title mean the field ``name``, with or without its unit?"""
    title, bracket = split_unit(column)
    if plain(column) == plain(name):
        return True
    if bracket:
        return plain(title) == plain(name) and (not unit or _same_unit(bracket, unit))
    return bool(unit) and plain(column) in {f"{plain(name)} {unit_word(unit)}", f"{plain(name)} {plain(unit)}"}


def _same_unit(one: str, other: str) -> bool:
    return plain(one) == plain(other) or unit_word(one) == unit_word(other)


def read_map(pairs: Iterable[str]) -> dict[str, str]:
    """``--map "column=field"`` as a mapping; "column=-" leaves a column out."""
    mapped: dict[str, str] = {}
    for pair in pairs:
        column, equals, name = (part.strip() for part in pair.rpartition("="))
        if not equals or not column or not name:
            raise InputError(f'"{pair}" maps nothing.', where="--map", try_this='--map "column=field"')
        mapped[column] = name
    return mapped


def match_columns(
    header: Sequence[str], fields: Sequence[Field], *, explicit: Mapping[str, str] | None = None, where: str
) -> dict[str, str]:
    """Field name → column title, for the fields that have a column.

    Raises InputError for a column that is no field, two columns for one field, another
    unit than the field's, and a mapping that names what is not there.
    """
    explicit = dict(explicit or {})
    _check_map(header, fields, explicit)
    found: dict[str, str] = {}
    for column in header:
        name = explicit[column] if column in explicit else _field_of(column, fields, where)
        if name == LEAVE_OUT:
            continue
        if name in found:
            raise InputError(
                f'Both "{found[name]}" and "{column}" hold {name}.',
                where=where,
                try_this=f'--map "{column}={LEAVE_OUT}" leaves one out',
            )
        found[name] = column
    return found


def _check_map(header: Sequence[str], fields: Sequence[Field], explicit: Mapping[str, str]) -> None:
    names = [each.name for each in fields]
    for column, name in explicit.items():
        if column not in header:
            near = nearest(column, list(header))
            raise InputError(
                f'There is no column "{column}"; the columns are {", ".join(header)}.',
                where="--map",
                try_this=f'--map "{near or header[0]}={name}"',
            )
        if name != LEAVE_OUT and name not in names:
            near = nearest(name, names)
            raise InputError(
                f'There is no field "{name}"; the fields are {", ".join(names)}.',
                where="--map",
                try_this=f'--map "{column}={near or names[0]}"',
            )


def _field_of(column: str, fields: Sequence[Field], where: str) -> str:
    for each in fields:
        if any(same_name(column, name, each.unit) for name in (each.name, *each.also)):
            return each.name
    title, bracket = split_unit(column)
    for each in fields:
        if bracket and plain(title) == plain(each.name):
            raise InputError(
                f'Column "{column}" is in {bracket}, but {each.name} is in {each.unit}.',
                where=where,
                try_this=f"convert the column to {each.unit} and name it so",
            )
    near = nearest(title, [each.name for each in fields])
    raise InputError(
        f'Column "{column}" is nothing this trial knows.' + (f' Is it "{near}"?' if near else ""),
        where=where,
        try_this=f'--map "{column}={near}"' if near else f'--map "{column}={LEAVE_OUT}" leaves it out',
    )


def snake(name: str, unit: str = "") -> str:
    """A column name for exports: ``rise_height_mm``."""
    words = f"{name} {unit_word(unit)}" if unit else name
    return re.sub(r"\W+", "_", plain(words)).strip("_")


def used_name(name: str, unit: str = "") -> str:
    """The column of what was analysed in place of the plan: ``soda_pct_flour_used``."""
    return f"{snake(name, unit)}_used"
