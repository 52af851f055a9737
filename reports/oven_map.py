"""Which bake stands where in the oven, and in which load?

From the groups of the plan: oven loads with their places, or the rows and columns of a square.
A trial without either is shown in the order of baking, and says so.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.words import papers
from analysis.words import papers as say
from reports.html import plain, render, style_sheet
from reports.sheet import Sheet, SheetRun

LOAD, PLACE = "oven load", "oven place"


@dataclass(frozen=True, kw_only=True)
class Load:
    """One filling of the oven: ``cells`` are (place, code) in the order of the places."""

    title: str
    cells: tuple[tuple[str, str], ...]


def loads_of(sheet: Sheet) -> tuple[Load, ...]:
    """Loads in the order of baking; rows of a square where there are no loads; else each day's order."""
    found: list[Load] = []
    for day in sheet.days:
        prefix = f"{plain(day.block)}, " if day.block else ""
        groups: dict[str, list[tuple[str, str]]] = {}
        for run in day.runs:
            title, place = _stands(run)
            groups.setdefault(title, []).append((place or say.bake_in_order(run.bake_order), plain(run.code)))
        found += [
            Load(
                title=f"{prefix}{title}" if title else prefix.rstrip(", ") or papers.ALL_RUNS,
                cells=tuple(sorted(cells) if title else cells),
            )
            for title, cells in groups.items()
        ]
    return tuple(found)


def _stands(run: SheetRun) -> tuple[str, str]:
    places = dict(run.places)
    if LOAD in places:
        return f"{LOAD} {places[LOAD]}", say.place_named(places.get(PLACE, "")).strip()
    if len(places) >= 2:
        (row, at), (column, across) = list(places.items())[:2]
        return f"{plain(column)} {plain(across)}", f"{plain(row)} {plain(at)}"
    return "", ""


def oven_map(sheet: Sheet) -> str:
    """The map as one HTML document. Same sheet, same bytes."""
    planned = any(_stands(run)[0] for day in sheet.days for run in day.runs)
    values = {"words": papers, "trial": plain(sheet.trial), "loads": loads_of(sheet), "planned": planned}
    return render("oven_map.html", style_sheet("bench.css"), values)
