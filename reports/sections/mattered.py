"""Which variables mattered, and how do they work together?"""

from __future__ import annotations

from analysis.questions import Question
from analysis.results import Analysis, ResponseResult
from analysis.words import headings as say
from analysis.words import say_finding
from analysis.words.contrasts import asked_for
from analysis.words.limits import all_limits
from analysis.words.numbers import start
from reports.figures.effects import draw_effects, draw_half_normal
from reports.figures.equivalence import draw_equivalence
from reports.figures.interaction import draw_interaction
from reports.figures.means import draw_means, mean_factors
from reports.sections.blocks import Heading, Items, Picture, Section, Words
from reports.sections.numbering import Keys

MOST_SENTENCES = 6
MOST_INTERACTIONS, MOST_MEANS = 3, 4  # pictures for each response; the tables of means hold the rest
MOST_PRINTED = 2  # of those pictures; the others stand on the screen
DOSE_KINDS = ("best dose", "recommended dose")

Blocks = list[Words | Items | Heading | Picture]


def mattered_section(analysis: Analysis, keys: Keys) -> Section:
    """Ranked sentences and pictures for each response."""
    blocks: Blocks = []
    for result in analysis.responses:
        if len(analysis.responses) > 1:
            blocks.append(Heading(text=start(result.response.name)))
        blocks += _of(result, analysis.question, keys)
    if besides := tuple(said for one in analysis.responses for said in asked_for(one, analysis.question)):
        blocks += [Heading(text=say.ASKED_BESIDES), Items(items=besides)]
    if limits := all_limits(analysis):
        blocks += [Heading(text=say.NOT_SHOWN), Items(items=limits)]
    return Section(key="mattered", title=say.WHAT_MATTERED, blocks=blocks)


def _of(result: ResponseResult, question: Question, keys: Keys) -> Blocks:
    said = [f for f in result.findings if f.kind not in DOSE_KINDS]
    blocks: Blocks = []
    if said:
        sentences = tuple(say_finding(f, result.response, question.confidence) for f in said[:MOST_SENTENCES])
        blocks.append(Items(items=sentences, ordered=True))
        if len(said) > MOST_SENTENCES:
            blocks.append(Words(text=say.others_below(len(said) - MOST_SENTENCES), tone="quiet"))
    else:
        blocks.append(Words(text=say.nothing_moves(result.response.name)))
    blocks += _pictures(result, question, keys)
    return blocks


def _pictures(result: ResponseResult, question: Question, keys: Keys) -> list[Picture]:
    confidence = question.confidence
    units = {factor.name: factor.unit for factor in question.factors}
    as_good = draw_equivalence(result, key=keys(), confidence=confidence) if result.family.equivalence else None
    drawn = [*([as_good] if as_good else []), draw_effects(result, key=keys(), confidence=confidence)]
    folded = [draw_half_normal(result, key=keys())]
    joint = [f for f in result.findings if f.kind == "interaction" and len(f.variables) == 2 and f.matters != "no"]
    drawn += [
        draw_interaction(result, finding, key=keys(), units=units, confidence=confidence)
        for finding in joint[:MOST_INTERACTIONS]
    ]
    # Where lines cross, a factor's mean over all the lines misleads: show the lines alone.
    shown = {name for finding in joint[:MOST_INTERACTIONS] if finding.matters == "yes" for name in finding.variables}
    drawn += [
        draw_means(result, factor, key=keys(), unit=units.get(factor, ""), confidence=confidence)
        for factor in _ranked(result)[:MOST_MEANS]
        if factor not in shown
    ]
    shown_open, joined = drawn[:1], [figure for figure in drawn[1:] if figure]
    return [
        *(Picture(figure=figure) for figure in shown_open if figure),
        *(Picture(figure=figure, fold=True) for figure in folded if figure),
        *(Picture(figure=figure, fold=True, more=place >= MOST_PRINTED) for place, figure in enumerate(joined)),
    ]


def _ranked(result: ResponseResult) -> list[str]:
    """Factors with means, those of the foremost findings first."""
    named = [name for finding in result.findings for name in finding.variables]
    return sorted(mean_factors(result), key=lambda factor: named.index(factor) if factor in named else len(named))
