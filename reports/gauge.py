"""Is the measuring good enough? A gauge study on one page, the answer first.

Like a trial's report: one HTML file without script and without outside requests; same answer in, same
bytes out.
"""

from __future__ import annotations

from collections.abc import Mapping

from analysis.control.gauge.results import GaugeAnswer
from analysis.words.gauge_pages import PICKED, QUESTION, TITLES
from reports.page import Page
from reports.sections.gauge import (
    answer_section,
    made_section,
    parts_section,
    people_section,
    sure_section,
    worth_section,
)
from reports.sections.numbering import Keys
from reports.sections.record import facts_section


def gauge_page(
    answer: GaugeAnswer,
    *,
    title: str,
    provenance: Mapping[str, str],
    remarks: tuple[str, ...] = (),
    invented: bool = False,
) -> Page:
    """The page with its parts drawn and said; ``remarks`` say how the file was understood."""
    keys = Keys()
    sections = [
        answer_section(answer),
        parts_section(answer, keys),
        people_section(answer, keys),
        worth_section(answer),
        sure_section(answer),
        made_section(answer),
        facts_section(provenance, title=TITLES["provenance"]),
    ]
    return Page(
        sections=tuple(section for section in sections if section is not None),
        title=title,
        question=QUESTION,
        invented=invented,
        cautions=(PICKED, *remarks),
    )
