"""What was looked at before believing this?"""

from __future__ import annotations

from analysis.results import Analysis, Check, ResponseResult
from analysis.words import headings as say
from analysis.words import say_check
from analysis.words.numbers import join_words, start
from reports.figures.checks import draw_residuals_by_fit, draw_residuals_by_order
from reports.figures.picture import Figure
from reports.figures.trust import draw_influence, draw_shape, draw_spread
from reports.sections.blocks import Heading, Picture, Section, Words
from reports.sections.numbering import Keys

MOST_DRAWN_FINE = 8  # responses; with more the page would be heavy with pictures that show nothing
GRAVEST_FIRST = ("do not rely", "look here", "fine")
# Which picture supports which sentence.
BY_ORDER = ("order", "neighbours")
BY_FIT = ("odd bakes", "lack of fit", "curvature", "transformation")
# Pictures of one check alone; ``fit`` stands in where they cannot be drawn.
FOR_YOUR_EYE = say.FOR_YOUR_EYE
OWN = {"spread": "spread", "influence": "influence", "normality": "shape"}


def checks_section(analysis: Analysis, keys: Keys) -> Section:
    """One check at a time, gravest first, each picture beside the sentence it supports."""
    blocks: list[Words | Heading | Picture] = []
    for result in analysis.responses:
        if len(analysis.responses) > 1:
            blocks.append(Heading(text=start(result.response.name)))
        together = join_words(analysis.question.blocks)
        blocks += _of(result, keys, together, sparing=len(analysis.responses) > MOST_DRAWN_FINE)
    return Section(key="checks", title=say.CHECKS, blocks=blocks)


def _of(result: ResponseResult, keys: Keys, block: str, *, sparing: bool) -> list[Words | Heading | Picture]:
    """``block``: what bakes of one block share ("bake day"). ``sparing``: what was found fine is said and not drawn."""
    blocks: list[Words | Heading | Picture] = []
    waiting = {"fit", "order"}
    for check in sorted(result.checks, key=lambda check: GRAVEST_FIRST.index(check.verdict)):
        said = f"{start(check.verdict)}: {say_check(check)}"
        about = _about(check)
        fine = check.verdict == "fine"
        if fine and sparing:
            blocks.append(Words(text=said))
            continue
        figure = _drawn(result, about, keys, said, block, check) if about in waiting or about in OWN.values() else None
        if figure is None and about == "spread" and "fit" in waiting:
            about, figure = "fit", _drawn(result, "fit", keys, said, block, check)
        waiting.discard(about if figure else "")
        # What was found fine needs no picture on paper.
        shown = Picture(figure=figure, fold=True, paper=False, screen=fine) if figure else None
        blocks.append(shown or Words(text=said, tone=_tone(check)))
    for about in () if sparing else ("fit", "order"):
        figure = _drawn(result, about, keys, FOR_YOUR_EYE, block) if about in waiting else None
        if figure:
            blocks.append(Picture(figure=figure, fold=True, paper=False, screen=True))
    if not blocks:
        blocks.append(Words(text=say.NO_CHECK))
    return blocks


def _about(check: Check) -> str:
    if check.check in OWN:
        return OWN[check.check]
    return "order" if check.check in BY_ORDER else "fit" if check.check in BY_FIT else ""


def _drawn(
    result: ResponseResult, about: str, keys: Keys, sentence: str, block: str, check: Check | None = None
) -> Figure | None:
    if about == "spread" and check is not None:
        return draw_spread(result, check, key=keys(), sentence=sentence)
    if about == "influence" and check is not None:
        return draw_influence(result, check, key=keys(), sentence=sentence)
    if about == "shape":
        return draw_shape(result, key=keys(), sentence=sentence) if check is None or check.verdict != "fine" else None
    if about == "order":
        return draw_residuals_by_order(result, key=keys(), sentence=sentence, block=block)
    if about != "fit":
        return None
    odd = next((one.facts["bakes"] for one in result.checks if one.check == "odd bakes"), ())
    return draw_residuals_by_fit(result, key=keys(), sentence=sentence, named=odd)


def _tone(check: Check) -> str:
    return "plain" if check.verdict == "fine" else "mark"
