"""How do the assessors compare, what was agreed with them, and what must stay hidden for now?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.questions import Response
from analysis.results import Analysis
from analysis.words import headings as say
from analysis.words.numbers import start
from analysis.words.panel import CONSENT, HOW, STILL_BLIND, STILL_TASTED, say_missing, say_panel
from reports.figures.panel import draw_panel, panel_table
from reports.html import plain
from reports.sections.blocks import Block, Grid, Heading, Items, Picture, Section, Words
from reports.sections.numbering import Keys

if TYPE_CHECKING:
    from pandas import DataFrame

NOT_BAKED = "not yet baked"  # why a run is left out that will still be scored


def still_blind(analysis: Analysis) -> bool:
    """Whether codes must not be given away yet: some run is still to be baked."""
    return any(out.why == NOT_BAKED for out in analysis.left_out)


def blind_section(analysis: Analysis) -> Section:
    """In place of the answer while bakes are still to be scored."""
    why = STILL_BLIND if still_blind(analysis) else STILL_TASTED
    return Section(key="answer", title=say.NO_ANSWER_BEFORE, blocks=[Words(text=why, tone="lead")])


def consent_section() -> Section:
    return Section(key="consent", title=say.BEFORE_TASTING, blocks=[Items(items=CONSENT)])


def panel_section(analysis: Analysis, scores: DataFrame | None, keys: Keys) -> Section:
    """Each score's assessors; ``scores`` as in ``reports.kinds.Told``, None where nobody knows who gave them."""
    wanted = [result.response for result in analysis.responses if result.response.scale == "score"]
    blocks: list[Block] = []
    if not wanted:
        blocks.append(Words(text=say.NO_SCORE))
    elif scores is None:
        blocks.append(Words(text=say.WHO_UNKNOWN))
    else:
        for response in wanted:
            blocks += [Heading(text=plain(start(response.name)))] if len(wanted) > 1 else []
            blocks += _of(response, scores[scores["response"] == response.name], analysis, keys)
        blocks.append(Words(text=HOW, tone="quiet"))
    return Section(key="panel", title=say.ASSESSORS_COMPARE, blocks=blocks)


def _of(response: Response, scores: DataFrame, analysis: Analysis, keys: Keys) -> list[Block]:
    people = int(scores["person"].nunique())
    if people < 2:
        return [Words(text=plain(say_missing(response.name, people)))]
    from analysis.scores.assessors import panel_of

    confidence = analysis.question.confidence
    panel = panel_of(scores.rename(columns={"score": response.name}), response, analysis.question)
    figure = draw_panel(panel, key=keys(), confidence=confidence)
    said = Items(items=tuple(map(plain, say_panel(panel, confidence))))
    if figure is None:
        return [said, Grid(caption=say.assessors_of(plain(response.name)), table=panel_table(panel))]
    return [said, Picture(figure=figure)]
