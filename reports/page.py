"""What does the trial say? The whole answer on one page, the answer first.

One HTML file without script and without outside requests, for a screen, a dark screen and
paper. Same answer in, same bytes out: no clock, no chance, no setting of the machine.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from analysis.results import Analysis
from analysis.words import headings as say
from analysis.words import pages
from reports.html import plain, render, style_sheet
from reports.kinds import Told, sections_of, told_to
from reports.sections.blocks import Section, Words
from reports.sections.record import made_section, provenance_section

if TYPE_CHECKING:
    from pandas import DataFrame


@dataclass(frozen=True, kw_only=True)
class Page:
    """A report before it is written: as HTML, or part by part (``reports.formats``)."""

    sections: tuple[Section, ...]
    title: str
    question: str = ""
    invented: bool = False
    cautions: tuple[str, ...] = ()

    def html(self) -> str:
        """The page as one HTML document."""
        values = {
            "words": pages,
            "title": plain(self.title) or pages.TRIAL_REPORT,
            "question": plain(self.question),
            "invented": self.invented,
            "cautions": [plain(caution) for caution in self.cautions],
            "sections": list(self.sections),
        }
        return render("report.html", style_sheet("report.css"), values)


def trial_page(told: Told, *, kind: str = "kitchen") -> Page:
    """The page of a ``kind`` (``reports.kinds``) with its parts drawn and said."""
    return _page(told_to(kind, told), tuple(sections_of(kind, told)))


def unanswered_page(told: Told, *, why: str, try_this: str) -> Page:
    """What there is to say of a trial without an answer: why, what to do, how it was made, where it comes from."""
    said = (Words(text=plain(why), tone="lead"), Words(text=say.what_to_do(plain(try_this))))
    planned = made_section(told.analysis, told.plan)
    sections = (
        Section(key="answer", title=say.NO_ANSWER_YET, blocks=said),
        planned and replace(planned, title=say.HOW_PLANNED),
        provenance_section(told.analysis, told.provenance),
    )
    return _page(told, tuple(section for section in sections if section is not None))


def _page(told: Told, sections: tuple[Section, ...]) -> Page:
    return Page(
        sections=sections,
        title=told.title,
        question=told.question,
        invented=told.invented,
        cautions=told.cautions,
    )


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
    return trial_page(told, kind=kind).html()
