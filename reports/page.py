"""What does the trial say? The whole answer on one page, the answer first.

One HTML file without script and without outside requests, for a screen, a dark screen and
paper. Same answer in, same bytes out: no clock, no chance, no setting of the machine.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from analysis.results import Analysis
from reports.html import plain, render, style_sheet
from reports.sections.amount import amount_section
from reports.sections.answer import answer_section
from reports.sections.blocks import Section
from reports.sections.checked import checks_section
from reports.sections.chemistry import chemistry_section
from reports.sections.glance import glance_section
from reports.sections.mattered import mattered_section
from reports.sections.numbering import Keys
from reports.sections.onward import next_section
from reports.sections.parts import part_sections
from reports.sections.record import data_section, made_section, provenance_section
from reports.sections.sure import sure_section
from reports.sections.taste import taste_section

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
) -> str:
    """The report as one HTML document.

    ``notes`` has one row per taste note: ``tags``, ``words`` and either ``treatment`` or the
    factors' columns. ``plan`` tells how it was made (kind, runs, blocks, replicates, seed,
    formula …), in the order to be shown. ``provenance`` names content hash, audit head,
    versions and the command that makes the report again. ``chemistry`` has one row per bake:
    the factors' columns and the account (``analysis.leavening.runs``), ``measured_ph`` if it was.
    """
    keys = Keys()
    sections = [
        answer_section(analysis),
        glance_section(analysis, chemistry, notes, keys),
        mattered_section(analysis, keys),
        amount_section(analysis, keys),
        chemistry_section(analysis, chemistry, notes, keys),
        taste_section(analysis, notes, keys),
        next_section(analysis),
        *part_sections(analysis, keys),
        sure_section(analysis),
        made_section(analysis, plan),
        checks_section(analysis, keys),
        data_section(analysis),
        provenance_section(analysis, provenance),
    ]
    return _page(
        [section for section in sections if section is not None],
        title=plain(title) or "Trial report",
        question=plain(question),
        invented=invented,
        cautions=[plain(caution) for caution in cautions],
    )


def _page(sections: list[Section], *, title: str, question: str, invented: bool, cautions: list[str]) -> str:
    values = {"title": title, "question": question, "invented": invented, "cautions": cautions, "sections": sections}
    return render("report.html", style_sheet("report.css"), values)
