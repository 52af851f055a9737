"""What does the baker take to the bench?

A bench sheet is one HTML file that prints on A4 and Letter in black and white: runs in
bake order under blind codes, what to weigh, and blanks with units for everything that
will be measured. It is built from plain records, so that a plan, a stored trial or a test
can all ask for one.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """One line to weigh. ``grams`` is text as it shall be read, such as "4.5"; the unit is g."""

    ingredient: str
    grams: str
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class SheetRun:
    """One treatment, mixed and baked afresh.

    ``settings`` are (name, value with unit) pairs the baker must know that are not
    weights, such as an oven temperature. What is blind to tasters is not among them.
    ``places`` are (group, label) pairs of where it stands: oven load, shelf, turn. Runs that follow
    each other with one ``plot`` share a whole plot, for which ``set_once`` is set. ``link`` is what
    the printed code holds and what stands under it.
    """

    bake_order: int
    code: str
    weights: tuple[Weighed, ...] = ()
    settings: tuple[tuple[str, str], ...] = ()
    places: tuple[tuple[str, str], ...] = ()
    plot: str = ""
    set_once: tuple[tuple[str, str], ...] = ()
    link: str = ""


@dataclass(frozen=True, kw_only=True)
class SheetDay:
    """Runs of one block (a bake day, an oven), or all runs when ``block`` is None."""

    block: str | None = None
    runs: tuple[SheetRun, ...] = ()


@dataclass(frozen=True, kw_only=True)
class SheetResponse:
    """One thing to read off each bake: ``pieces`` pieces, each read ``readings`` times.

    ``anchors`` are the words for the scores 1, 2, 3 …; ``scale`` is one of measured,
    score, count, yes-no; ``plausible`` are the usual lowest and highest values.
    """

    name: str
    unit: str = ""
    scale: str = "measured"
    anchors: tuple[str, ...] = ()
    pieces: int = 1
    readings: int = 1
    plausible: tuple[float, float] | None = None


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A whole bench sheet. ``made_on`` is text: no clock is read here. ``method``: how it is mixed and baked."""

    trial: str
    title: str
    question: str = ""
    kitchen: str = ""
    formula: str = ""
    method: str = ""
    flour_per_bake_g: float | None = None
    audit_head: str = ""
    plan_hash: str = ""
    made_on: str = ""
    cautions: tuple[str, ...] = ()
    responses: tuple[SheetResponse, ...] = ()
    days: tuple[SheetDay, ...] = ()


def bench_sheet(sheet: Sheet) -> str:
    """The sheet as one HTML document. Same sheet, same bytes."""
    from reports.sheet_page import render_sheet

    return render_sheet(sheet)
