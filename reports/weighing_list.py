"""What has to be weighed for the day, and how much of each ingredient in all?

Totals are the sums of the weights as the bench sheet prints them, so that what is fetched from
the store is what the runs take.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from analysis.words import papers
from analysis.words.numbers import as_written, say_level
from reports.html import plain, render, style_sheet
from reports.sheet import Sheet, SheetDay


@dataclass(frozen=True, kw_only=True)
class DayList:
    """Grams as text, in the order of ``ingredients``: ``totals``, ``spare`` (totals and more), and each run's."""

    block: str
    ingredients: tuple[str, ...]
    totals: tuple[str, ...]
    spare: tuple[str, ...]
    runs: tuple[tuple[str, tuple[str, ...]], ...]


def day_list(day: SheetDay, *, spare_percent: float = 0.0) -> DayList:
    """One day: ingredients in the order in which the sheet names them."""
    names = list(dict.fromkeys(weight.ingredient for run in day.runs for weight in run.weights))
    runs = []
    totals = [Decimal(0) for _ in names]
    for run in day.runs:
        grams = {weight.ingredient: weight.grams for weight in run.weights}
        totals = [total + Decimal(grams.get(name, "0")) for total, name in zip(totals, names, strict=True)]
        runs.append((plain(run.code), tuple(as_written(grams.get(name, "")) for name in names)))
    more = 1 + Decimal(str(spare_percent)) / 100
    return DayList(
        block=plain(day.block or ""),
        ingredients=tuple(plain(name) for name in names),
        totals=tuple(as_written(str(total)) for total in totals),
        spare=tuple(
            as_written(f"{total * more:.0f}" if total * more >= 10 else f"{total * more:.2f}") for total in totals
        ),
        runs=tuple(runs),
    )


def weighing_list(sheet: Sheet, *, spare_percent: float = 0.0) -> str:
    """The list of every day as one HTML document. Same sheet, same bytes."""
    values = {
        "words": papers,
        "trial": plain(sheet.trial),
        "formula": plain(sheet.formula),
        "spare": say_level(spare_percent) if spare_percent else "",
        "days": [day_list(day, spare_percent=spare_percent) for day in sheet.days],
        "weighable": any(run.weights for day in sheet.days for run in day.runs),
    }
    return render("weighing_list.html", style_sheet("bench.css"), values)
