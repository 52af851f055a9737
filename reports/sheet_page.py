"""How does a bench sheet look on paper?

The records of ``reports.sheet`` become plain words and blanks here; the template only
places them. Sizes are chosen for a pen on a floury bench.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.words import sheets as say
from analysis.words.numbers import FAHRENHEIT, as_written, say_level, written
from reports.codes import code_square
from reports.html import css_string, plain, render, style_sheet

if TYPE_CHECKING:
    from reports.sheet import Sheet, SheetDay, SheetResponse, SheetRun


@dataclass(frozen=True, kw_only=True)
class Blanks:
    """The places to write for one piece, side by side. ``label`` names the piece ("" when there is one)."""

    label: str
    count: int


@dataclass(frozen=True, kw_only=True)
class ToRead:
    """One response on a run's card: its name, what to write, and its blanks."""

    name: str
    unit: str
    hint: str
    choices: tuple[str, ...]
    blanks: tuple[Blanks, ...]


def render_sheet(sheet: Sheet) -> str:
    """The sheet as one HTML document."""
    runs = [run for day in sheet.days for run in day.runs]
    foot = " · ".join(plain(part) for part in (say.of_trial(sheet.trial), _short(sheet.plan_hash, say.PLAN)) if part)
    css = style_sheet("sheet.css").replace('"FOOT"', css_string(foot))
    values = {
        "words": say,
        "sheet": sheet,
        "facts": _facts(sheet, len(runs)),
        "days": [_day(day) for day in sheet.days],
        "readings": [to_read(response) for response in sheet.responses],
        "runs": len(runs),
        "cautions": sheet.cautions,
        "method": plain(sheet.method),
        "safety": say.SAFETY,
        "foot": foot,
        "sparse": not runs,
    }
    return render("sheet.html", css, values)


def to_read(response: SheetResponse) -> ToRead:
    """What is written down for one response of one bake."""
    return ToRead(
        name=plain(response.name),
        unit=_unit(response),
        hint=_hint(response),
        choices=say.CHOICES if response.scale == "yes-no" else (),
        blanks=tuple(
            Blanks(label=say.piece_named(piece) if response.pieces > 1 else "", count=response.readings)
            for piece in range(1, response.pieces + 1)
        ),
    )


def _unit(response: SheetResponse) -> str:
    if response.scale == "score" and response.anchors:
        return f"1–{len(response.anchors)}"
    if response.scale == "count":
        return plain(response.unit) or say.NUMBER
    return plain(response.unit)


def _hint(response: SheetResponse) -> str:
    """The anchors of a score, or the usual range of a measurement."""
    if response.anchors:
        return " · ".join(f"{place} {plain(word)}" for place, word in enumerate(response.anchors, start=1))
    if response.plausible is not None:
        low, high = (say_level(bound) for bound in response.plausible)
        return say.usual_range(low, high, plain(response.unit)).rstrip()
    return ""


def _short(digest: str, name: str) -> str:
    """The first twelve characters of a hash: enough to tell two sheets apart by eye."""
    return f"{name} {digest[:12]}" if digest else ""


def _facts(sheet: Sheet, runs: int) -> list[tuple[str, str]]:
    """What stands under the title: (name, value) pairs, left out when not known."""
    flour = f"{say_level(sheet.flour_per_bake_g)} g" if sheet.flour_per_bake_g is not None else ""
    pairs = (
        (say.TRIAL, sheet.trial),
        (say.KITCHEN, sheet.kitchen),
        (say.FORMULA, sheet.formula),
        (say.FLOUR_PER_BAKE, flour),
        (say.RUNS, str(runs)),
        (say.PLAN_HASH, sheet.plan_hash),
        (say.AUDIT_HEAD, sheet.audit_head),
        (say.MADE, sheet.made_on),
        (say.SETTINGS_IN_F, say.CONVERTED if _any_fahrenheit(sheet) else ""),
    )
    return [(name, plain(value)) for name, value in pairs if value]


def _any_fahrenheit(sheet: Sheet) -> bool:
    pairs = (pair for day in sheet.days for run in day.runs for pair in (*run.settings, *run.set_once))
    return written().temperature == "F" and any(value.endswith(FAHRENHEIT) for _, value in pairs)


def _day(day: SheetDay) -> dict[str, object]:
    runs, before = [], ""
    for run in day.runs:
        begins = bool(run.plot) and run.plot != before
        runs.append({**_run(run), "begins": plain(run.plot) if begins else "", "set_once": _pairs(run.set_once)})
        before = run.plot
    return {"block": plain(day.block) if day.block else "", "runs": runs}


def _pairs(pairs: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
    return [(plain(name), plain(value)) for name, value in pairs]


def _run(run: SheetRun) -> dict[str, object]:
    return {
        "bake_order": run.bake_order,
        "code": plain(run.code),
        "weights": [
            {"ingredient": plain(w.ingredient), "grams": as_written(plain(w.grams)), "note": as_written(plain(w.note))}
            for w in run.weights
        ],
        "settings": _pairs(run.settings),
        "places": _pairs(run.places),
        "link": plain(run.link),
        "square": code_square(plain(run.link)) if run.link else "",
    }
