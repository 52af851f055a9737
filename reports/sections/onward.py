"""What should be baked next?"""

from __future__ import annotations

from analysis.results import Analysis
from analysis.words import headings as say
from analysis.words import say_next, say_treatment
from analysis.words.numbers import start
from reports.sections.blocks import Heading, Items, Section, Words

MOST_TREATMENTS = 12


def next_section(analysis: Analysis) -> Section:
    """Reasons with their treatments, for each response."""
    blocks: list[Words | Items | Heading] = []
    for result in analysis.responses:
        if result.next_bakes and len(analysis.responses) > 1:
            blocks.append(Heading(text=start(result.response.name)))
        for bakes in result.next_bakes:
            blocks.append(Words(text=say_next(bakes, analysis.question)))
            listed = [start(say_treatment(t, analysis.question)) for t in bakes.treatments]
            more = len(listed) - MOST_TREATMENTS
            if listed:
                rest = [say.and_so_many_more(more)] if more > 0 else []
                blocks.append(Items(items=(*listed[:MOST_TREATMENTS], *rest), short=len(listed) > 1))
    if not blocks:
        blocks.append(Words(text=say.NOTHING_OPEN))
    return Section(key="next", title=say.BAKE_NEXT, blocks=blocks)
