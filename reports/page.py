"""What does the trial say? The whole answer on one page, the answer first.

One HTML file without script and without outside requests, for a screen, a dark screen and
paper. Same answer in, same bytes out: no clock, no chance, no setting of the machine.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from analysis.results import Analysis
from reports.html import plain, render, style_sheet
from reports.kinds import Told, sections_of
from reports.sections.blocks import Section

if TYPE_CHECKING:
    from pandas import DataFrame


def trial_report(
    analysis: Analysis,
    *,
    title: str,
    question: str = "",
    notes: DataFrame | None = None,
    plan: Mapping[str, Any] | None = None,
    provenance: Mapping[str, str],
    invented: bool = False,
    cautions: tuple[str, ...] = (),
    chemistry: DataFrame | None = None,
    kind: str = "kitchen",
) -> str:
    """The report as one HTML document of a ``kind`` (``reports.kinds``); the rest is told in ``Told``."""
    told = Told(
        analysis=analysis,
        notes=notes,
        plan=plan,
        chemistry=chemistry,
        provenance=provenance,
        title=title,
        question=question,
        invented=invented,
        cautions=cautions,
    )
    return _page(
        sections_of(kind, told),
        title=plain(title) or "Trial report",
        question=plain(question),
        invented=invented,
        cautions=[plain(caution) for caution in cautions],
    )


def _page(sections: list[Section], *, title: str, question: str, invented: bool, cautions: list[str]) -> str:
    values = {"title": title, "question": question, "invented": invented, "cautions": cautions, "sections": sections}
    return render("report.html", style_sheet("report.css"), values)
