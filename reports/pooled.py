"""What have the trials of one product taught so far? On one page, the foremost shared effect first.

Like a trial's report: one HTML file without script and without outside requests; same answer in, same
bytes out.
"""

from __future__ import annotations

from collections.abc import Mapping

from analysis.pooling.results import PooledEffect, Pooling
from analysis.words import headings as say
from analysis.words import pages
from analysis.words.numbers import join_words, start
from analysis.words.pooling import say_pooled, title_of
from analysis.words.unlike import CAPTION, TITLE, rows_of, say_unlike
from reports.figures.picture import Table
from reports.figures.pooled import draw_learnt, draw_pooled
from reports.html import plain, render, style_sheet
from reports.sections.blocks import Block, Grid, Items, Picture, Section, Words
from reports.sections.numbering import Keys
from reports.sections.record import facts_section

HOW = say.POOLING_METHOD


def pooled_report(
    pooling: Pooling,
    *,
    title: str,
    provenance: Mapping[str, str],
    invented: bool = False,
    about: Mapping[str, Mapping[str, str]] | None = None,
) -> str:
    """The pooled answer as one HTML document. ``about``: trial -> what -> how it was there (formula, dates, design)."""
    keys = Keys()
    effects = _foremost_first(pooling)
    shown = [_effect(effect, place, pooling, keys) for place, effect in enumerate(effects, start=1)]
    unlike = [_unlike(about)] if about else []
    sections = [_answer(effects, pooling), *shown[:1], *unlike, *shown[1:]]
    rest = [start(say.left_out_of_pool(one.response, one.factor, one.why)) for one in pooling.not_pooled]
    if rest:
        blocks = [Items(items=tuple(plain(said) for said in rest))]
        sections.append(Section(key="not-pooled", title=say.COULD_NOT_POOL, blocks=blocks))
    sections.append(Section(key="made", title=say.HOW_PUT_TOGETHER, blocks=[Words(text=HOW)]))
    sections.append(facts_section(provenance))
    values = {
        "words": pages,
        "title": plain(title),
        "question": plain(say.say_together(join_words(pooling.trials))),
        "invented": invented,
        "cautions": [plain(remark) for remark in pooling.remarks],
        "sections": sections,
    }
    return render("report.html", style_sheet("report.css"), values)


def _foremost_first(pooling: Pooling) -> list[PooledEffect]:
    """What surely matters, the clearest first; then what stays open, then what surely does not."""
    order = {"yes": 0, "unsure": 1, "no": 2}
    return sorted(pooling.effects, key=lambda one: (order[one.matters], 1.0 if one.p is None else one.p))


def _answer(effects: list[PooledEffect], pooling: Pooling) -> Section:
    """The foremost effect and what a next trial is to bring; the others below it."""
    said = [tuple(plain(one) for one in say_pooled(effect, pooling.confidence)) for effect in effects]
    blocks: list[Words | Items] = [Words(text=said[0][0], tone="lead"), Words(text=said[0][2])] if said else []
    if len(said) > 1:
        blocks.append(Items(items=tuple(one[0] for one in said[1:])))
    if not said:
        blocks = [Words(text=say.NOTHING_POOLED)]
    return Section(key="answer", title=say.THE_ANSWER, blocks=blocks)


def _unlike(about: Mapping[str, Mapping[str, str]]) -> Section:
    rows = tuple(tuple(map(plain, row)) for row in rows_of(about))
    table = Table(columns=(say.WHAT, *map(plain, about)), rows=rows)
    blocks: list[Block] = [Words(text=plain(say_unlike(about))), Grid(caption=CAPTION, table=table)]
    return Section(key="unlike", title=TITLE, blocks=blocks)


def _effect(effect: PooledEffect, place: int, pooling: Pooling, keys: Keys) -> Section:
    said = tuple(plain(one) for one in say_pooled(effect, pooling.confidence)[1:])
    blocks: list[Picture | Items] = [
        Picture(figure=draw_pooled(effect, key=keys(), confidence=pooling.confidence)),
        Items(items=said),
        Picture(figure=draw_learnt(effect, key=keys(), confidence=pooling.confidence), fold=True),
    ]
    return Section(key=f"effect-{place}", title=plain(title_of(effect)), blocks=blocks)
