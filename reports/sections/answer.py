"""What is the answer, in thirty seconds?"""

from __future__ import annotations

from analysis.results import Analysis
from analysis.words import headings as say
from analysis.words import response_headline
from analysis.words.answers import in_order, shared_headline
from analysis.words.glance import say_rests_on
from analysis.words.numbers import start
from reports.sections.blocks import Heading, Items, Section, Words


def answer_section(analysis: Analysis) -> Section:
    """The amount that suits all, where there is one, before the headline of each response; then what it rests on."""
    results = in_order(analysis)
    if not results:
        return Section(key="answer", title=say.THE_ANSWER, blocks=[Words(text=say.NO_RESPONSE)])
    for_all = shared_headline(analysis)
    headlines = [response_headline(result, analysis.question.confidence) for result in results]
    blocks: list[Words | Items | Heading] = []
    if for_all:
        blocks += [Words(text=for_all, tone="lead"), Items(items=tuple(headlines))]
    else:
        for result, said in zip(results, headlines, strict=True):
            blocks += [Heading(text=start(result.response.name))] if len(results) > 1 else []
            blocks.append(Words(text=said, tone="lead"))
    blocks.append(Words(text=say_rests_on(analysis), tone="quiet"))
    return Section(key="answer", title=say.THE_ANSWER, blocks=blocks)
