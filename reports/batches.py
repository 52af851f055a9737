"""How did the batches of a day, a week or a month turn out? One product on one page, the answer first.

Like a trial's report: one HTML file without script and without outside requests; same record in, same bytes out.
"""

from __future__ import annotations

from analysis.words.batch_pages import HOT, QUESTION, TITLES, page_title, say_no_batches
from reports.page import Page
from reports.sections.batches import (
    BatchesTold,
    alarms_section,
    answer_section,
    batches_section,
    decided_section,
    do_section,
    glance_section,
    made_section,
    specification_section,
    why_section,
)
from reports.sections.blocks import Items, Section, Words
from reports.sections.numbering import Keys
from reports.sections.record import facts_section


def batches_page(told: BatchesTold) -> Page:
    """The page with its parts drawn and said; without a batch it says that there was none."""
    keys = Keys()
    parts = (
        [
            answer_section(told),
            do_section(told),
            glance_section(told, keys),
            why_section(told),
            alarms_section(told),
            specification_section(told),
            decided_section(told),
            batches_section(told),
            made_section(told),
        ]
        if told.batches
        else [_nothing(told)]
    )
    parts.append(facts_section(told.provenance, title=TITLES["provenance"]))
    return Page(
        sections=tuple(part for part in parts if part is not None),
        title=page_title(told.product, told.kind, told.first, told.last),
        question=QUESTION,
        invented=told.invented,
        cautions=(HOT, *told.remarks),
    )


def summary_of(told: BatchesTold) -> str:
    """The answer and what to do, as text."""
    if not told.batches:
        return say_no_batches(told.kind, told.first, told.last)
    said = []
    for section in (answer_section(told), do_section(told)):
        for block in section.blocks:
            said += [block.text] if isinstance(block, Words) else []
            said += [f"  - {item}" for item in block.items] if isinstance(block, Items) else []
    return "\n".join(said)


def _nothing(told: BatchesTold) -> Section:
    said = say_no_batches(told.kind, told.first, told.last)
    return Section(key="answer", title=TITLES["answer"], blocks=[Words(text=said, tone="lead")])
