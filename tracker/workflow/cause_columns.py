"""Which columns of a file of batches say what each batch was made with, and what was measured beside?

Known by their names: "flour lot" (or "flour_lot", "lot of flour"), "oven", "shift", "line" and their like,
"weekday"; and, where numbers stand in them, pH, gas, oven temperature and bake loss.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.control.why_results import MadeWith
from tracker.intake.columns import guess_kind, numbers_of
from tracker.intake.mapping import plain, split_unit
from tracker.intake.spreadsheet import Sheet
from tracker.intake.stands_for import guess_stands_for
from tracker.workflow.chart_rows import BATCH, RESPONSE, VALUE, responses_in, rows_of

SETTINGS = ("oven", "shift", "line", "weekday", "deck", "mixer", "mixer bowl", "baker", "person", "site", "tray")


@dataclass(frozen=True, kw_only=True)
class FileLog:
    """What a file holds for the search. ``gaps`` are batches without a reading of the response."""

    log: MadeWith
    gaps: int
    remarks: tuple[str, ...]


def measured_in(sheet: Sheet) -> list[str]:
    """What may be asked about: the columns of numbers that are no cause."""
    return [name for name in responses_in(sheet) if not _ingredient(name) and plain(name) not in _NOT_MEASURED]


_NOT_MEASURED = (*SETTINGS, "piece", "repeat", "order", "size", VALUE)


def made_with_of(sheet: Sheet, response: str) -> FileLog:
    """The log of one response. Raises InputError for what cannot be read, naming its row."""
    rows = rows_of(sheet, response)
    series = rows.measured()
    numbers = [text.strip() for text in sheet.column(_named(sheet, BATCH))]
    rows_of_batch: dict[str, list[int]] = {}
    for row, number in enumerate(numbers):
        if number:
            rows_of_batch.setdefault(number, []).append(row)
    mine = [rows_of_batch[batch] for batch in series.batches]
    remarks: list[str] = []
    lots: dict[str, tuple[str | None, ...]] = {}
    settings: dict[str, tuple[str | None, ...]] = {}
    for column in sheet.header:
        ingredient, setting = _ingredient(column), plain(column)
        if ingredient:
            found, into = _levels(sheet, column, mine, series.batches, remarks), lots
        elif setting in SETTINGS:
            found, into = _levels(sheet, column, mine, series.batches, remarks), settings
        else:
            continue
        if any(found) or not any(text.strip() for text in sheet.column(column)):
            into[ingredient or setting] = found
    beside, units = _beside(sheet, response, series.batches, mine)
    log = MadeWith(
        series=series,
        lots=lots,
        settings=settings,
        beside=beside,
        units=units,
        roles={name: guess_stands_for(name, units.get(name, "")) for name in beside}
        | {series.response: guess_stands_for(series.response, series.unit)},
    )
    return FileLog(log=log, gaps=len(rows_of_batch) - len(series.batches), remarks=tuple(remarks))


def _named(sheet: Sheet, name: str) -> str:
    return next(column for column in sheet.header if plain(column) == name)


def _ingredient(column: str) -> str:
    """ "flour" of "flour lot", "flour_lot" or "lot of flour"; "" for another column."""
    name = plain(column)
    if name.startswith("lot of "):
        return name.removeprefix("lot of ").strip()
    return name.removesuffix(" lot").strip() if name.endswith(" lot") else ""


def _levels(
    sheet: Sheet, column: str, mine: Sequence[Sequence[int]], batches: Sequence[str], remarks: list[str]
) -> tuple[str | None, ...]:
    """One level for each batch; a batch that names two has none, and that is said."""
    texts = sheet.column(column)
    found: list[str | None] = []
    mixed: list[str] = []
    for batch, rows in zip(batches, mine, strict=True):
        named = list(dict.fromkeys(texts[row].strip() for row in rows if texts[row].strip()))
        found.append(named[0] if len(named) == 1 else None)
        if len(named) > 1:
            mixed.append(batch)
    if mixed:
        remarks.append(
            f"{column}: {'batch' if len(mixed) == 1 else 'batches'} {', '.join(mixed[:5])}"
            f"{' and others' if len(mixed) > 5 else ''} named more than one, so none is taken."
        )
    return tuple(found)


def _beside(
    sheet: Sheet, response: str, batches: Sequence[str], mine: Sequence[Sequence[int]]
) -> tuple[dict[str, tuple[tuple[float, ...], ...]], dict[str, str]]:
    if _is_long(sheet):
        names = [name for name in responses_in(sheet) if guess_stands_for(name) and plain(name) != plain(response)]
        return {name: _long(sheet, name, batches) for name in names}, {}
    found: dict[str, tuple[tuple[float, ...], ...]] = {}
    units: dict[str, str] = {}
    for column in sheet.header:
        name, unit = split_unit(column)
        filled = [text for text in sheet.column(column) if text.strip()]
        if (
            not guess_stands_for(name, unit)
            or plain(name) == plain(response)
            or not filled
            or guess_kind(filled) != "amount"
        ):
            continue
        values = numbers_of(sheet, column)
        units[name] = unit
        found[name] = tuple(tuple(v for v in (values[row] for row in rows) if v is not None) for rows in mine)
    return found, units


def _is_long(sheet: Sheet) -> bool:
    names = {plain(column) for column in sheet.header}
    return RESPONSE in names and VALUE in names


def _long(sheet: Sheet, name: str, batches: Sequence[str]) -> tuple[tuple[float, ...], ...]:
    series = rows_of(sheet, name).measured()
    read = dict(zip(series.batches, series.values, strict=True))
    return tuple(read.get(batch, ()) for batch in batches)
