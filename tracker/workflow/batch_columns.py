"""Which column of a season's spreadsheet is which part of the log?

A column whose name looks like something the product knows, but is not, is refused: leaving it
out would lose readings. Any other unknown column is left out, and said.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tracker.errors import InputError
from tracker.intake.mapping import LEAVE_OUT, Field, plain, same_name, split_unit
from tracker.intake.spreadsheet import Sheet, nearest
from tracker.models import LoggedResponse

OWN = (
    Field(name="batch", also=("batch number", "number", "batch no")),
    Field(name="baked at", also=("at", "baked on", "date and time", "baked_at")),
    Field(name="date", also=("day",)),
    Field(name="time", also=("hour",)),
    Field(name="line"),
    Field(name="oven"),
    Field(name="shift"),
    Field(name="piece"),
    Field(name="response"),
    Field(name="value"),
    Field(name="size", also=("out of",)),
)
_LOT = re.compile(r"(?:lot of (?P<after>.+)|(?P<before>.+) lot(?: (?:number|no|code))?)")


@dataclass(frozen=True, kw_only=True)
class BatchColumns:
    """``own`` maps our fields to columns, ``responses`` and ``sizes`` a response, ``lots`` an ingredient."""

    own: Mapping[str, str]
    responses: Mapping[str, str]
    sizes: Mapping[str, str]
    lots: Mapping[str, str]
    left_out: tuple[str, ...]
    unknown: tuple[str, ...]

    @property
    def long(self) -> bool:
        """One row for each reading, with its response and value?"""
        return "response" in self.own and "value" in self.own

    def said(self) -> dict[str, str]:
        """What each column was taken for, for the preview."""
        return {
            **{name: column for name, column in self.own.items()},
            **self.responses,
            **{f"{name}, out of": column for name, column in self.sizes.items()},
            **{f"lot of {name}": column for name, column in self.lots.items()},
        }


def place_columns(
    sheet: Sheet, responses: Sequence[LoggedResponse], ingredients: Sequence[str], explicit: Mapping[str, str]
) -> BatchColumns:
    """Find every column's place. ``explicit`` is what --map says ("-": leave out). Raises InputError."""
    for column in explicit:
        if column not in sheet.header:
            raise InputError(
                f'There is no column "{column}"; the columns are {", ".join(sheet.header)}.',
                where="--map",
                try_this=f'--map "{nearest(column, sheet.header) or sheet.header[0]}=…"',
            )
    found = _Found({}, {}, {}, {}, [], [])
    for column in sheet.header:
        name = explicit.get(column)
        if name == LEAVE_OUT:
            found.left_out.append(column)
        elif not _place(found, column, name or column, responses, ingredients, explicit=name is not None):
            _unknown(found, column, responses, ingredients, sheet)
    columns = BatchColumns(
        own=found.own,
        responses=found.responses,
        sizes=found.sizes,
        lots=found.lots,
        left_out=tuple(found.left_out),
        unknown=tuple(found.unknown),
    )
    _require(columns, responses, sheet)
    return columns


@dataclass
class _Found:
    own: dict[str, str]
    responses: dict[str, str]
    sizes: dict[str, str]
    lots: dict[str, str]
    left_out: list[str]
    unknown: list[str]


def _place(
    found: _Found,
    column: str,
    name: str,
    responses: Sequence[LoggedResponse],
    ingredients: Sequence[str],
    *,
    explicit: bool,
) -> bool:
    for response in responses:
        if same_name(name, response.name, response.unit):
            return _take(found.responses, response.name, column)
        if plain(name) in (f"{plain(response.name)} size", f"{plain(response.name)} out of"):
            return _take(found.sizes, response.name, column)
    for each in OWN:
        if any(same_name(name, known) for known in (each.name, *each.also)):
            return _take(found.own, each.name, column)
    lot = _LOT.fullmatch(plain(split_unit(name)[0]))
    if lot is not None:
        ingredient = lot["after"] or lot["before"]
        known = next((each for each in ingredients if plain(each) == ingredient), ingredient)
        return _take(found.lots, known, column)
    if explicit:
        names = [*(response.name for response in responses), *(each.name for each in OWN), "flour lot"]
        raise InputError(
            f'"{name}" is no part of the log; its parts are {", ".join(names)}.',
            where="--map",
            try_this=f'--map "{column}={nearest(name, names) or names[0]}"',
        )
    return False


def _take(places: dict[str, str], name: str, column: str) -> bool:
    if name in places:
        raise InputError(
            f'Both "{places[name]}" and "{column}" hold {name}.',
            where="columns",
            try_this=f'--map "{column}={LEAVE_OUT}" leaves one out',
        )
    places[name] = column
    return True


def _unknown(
    found: _Found, column: str, responses: Sequence[LoggedResponse], ingredients: Sequence[str], sheet: Sheet
) -> None:
    title, unit = split_unit(column)
    other = next((each for each in responses if unit and plain(title) == plain(each.name)), None)
    if other is not None:
        raise InputError(
            f'Column "{column}" is in {unit}, but {other.name} is in {other.unit or "no unit"}.',
            where=sheet.source,
            try_this=f"convert the column to {other.unit} and name it so",
        )
    names = [each.name for each in responses] + [f"{each} lot" for each in ingredients] + [each.name for each in OWN]
    near = nearest(title, names)
    if near is not None:
        raise InputError(
            f'Column "{column}" is nothing this product knows. Is it "{near}"?',
            where=sheet.source,
            try_this=f'--map "{column}={near}", or --map "{column}={LEAVE_OUT}" to leave it out',
        )
    found.unknown.append(column)


def _require(columns: BatchColumns, responses: Sequence[LoggedResponse], sheet: Sheet) -> None:
    shown = ", ".join(sheet.header)
    if "batch" not in columns.own:
        raise InputError(
            f"No column numbers the batches (readings without a batch); the columns are {shown}.",
            where=sheet.source,
            try_this=f'--map "{sheet.header[0]}=batch"',
        )
    if not {"baked at", "date"} & set(columns.own):
        raise InputError(
            f"No column says when the batches were baked; the columns are {shown}.",
            where=sheet.source,
            try_this=f'--map "{sheet.header[-1]}=baked at"',
        )
    if not (columns.responses or columns.long or columns.lots):
        known = ", ".join(each.name for each in responses) or "none yet"
        raise InputError(
            f"No column holds a response of this product ({known}); the columns are {shown}.",
            where=sheet.source,
            try_this=f'--map "{sheet.header[-1]}={responses[0].name}"'
            if responses
            else 'crumbwise batch product response PRODUCT "rise height:unit=mm"',
        )
