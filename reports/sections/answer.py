"""What is the answer, in thirty seconds?"""

from __future__ import annotations

from analysis.results import Analysis, ResponseResult
from analysis.words import response_headline, say_count
from analysis.words.answers import answer, in_order, shared_headline
from analysis.words.numbers import start
from reports.sections.blocks import Heading, Section, Words

SHORT = {"mattered": "Something mattered", "too small": "Nothing that matters", "cannot tell": "Still open"}


def answer_section(analysis: Analysis) -> Section:
    """The amount that suits all, where there is one, then one headline for each response."""
    blocks: list[Words | Heading] = []
    for_all = shared_headline(analysis)
    if for_all:
        blocks.append(Words(text=for_all, tone="lead"))
    for result in in_order(analysis):
        blocks.append(Heading(text=start(result.response.name)))
        blocks.append(Words(text=response_headline(result, analysis.question.confidence), tone="lead"))
        blocks.append(Words(text=f"{SHORT[answer(result)]}. {_weight(result)}", tone="quiet"))
    return Section(
        key="answer", title="The answer", blocks=blocks or [Words(text="There is no response to answer for.")]
    )


def _counted(result: ResponseResult) -> str:
    """Bakes; of scores the readings, which are not averaged."""
    bakes, readings = say_count(result.n_bakes, "bake"), say_count(result.n_readings, "reading")
    if not any(part.key == "scores" for part in result.family.parts):
        return bakes
    return readings if result.n_readings == result.n_bakes else f"{readings} of {bakes}"


def _weight(result: ResponseResult) -> str:
    """What the answer rests on."""
    unsound = [check for check in result.checks if check.verdict == "do not rely"]
    doubtful = [check for check in result.checks if check.verdict == "look here"]
    said = f"Rests on {_counted(result)}."
    if unsound:
        return f"{said} Do not rely on it before reading the checks."
    if doubtful:
        return f"{said} {start(say_count(len(doubtful), 'check asks', 'checks ask'))} for a look."
    return said
