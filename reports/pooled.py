"""What have the trials of one product taught so far? On one page, the shared effects first.

Like a trial's report: one HTML file without script and without outside requests; same answer in, same
bytes out.
"""

from __future__ import annotations

from collections.abc import Mapping

from analysis.pooling.results import PooledEffect, Pooling
from analysis.words.numbers import join_words, start, true_minus
from analysis.words.pooling import say_pooled, title_of
from reports.figures.pooled import draw_learnt, draw_pooled
from reports.html import plain, render, style_sheet
from reports.sections.blocks import Facts, Items, Picture, Section, Words
from reports.sections.numbering import Keys

HOW = (
    "Each trial was analysed by itself, as it was planned. The same contrast was then asked of every trial's model and "
    "put together with weights from each trial's error and the spread between trials (restricted maximum likelihood; "
    "intervals after Hartung and Knapp, with t on one df fewer than trials)."
)


def pooled_report(pooling: Pooling, *, title: str, provenance: Mapping[str, str], invented: bool = False) -> str:
    """The pooled answer as one HTML document."""
    keys = Keys()
    sections = [Section(key="answer", title="In short", blocks=[Items(items=tuple(map(_first, _said(pooling))))])]
    sections += [_effect(effect, place, pooling, keys) for place, effect in enumerate(pooling.effects, start=1)]
    rest = [start(f"{one.response} and {one.factor}: {one.why}.") for one in pooling.not_pooled]
    if rest:
        blocks = [Items(items=tuple(plain(said) for said in rest))]
        sections.append(Section(key="not-pooled", title="What could not be pooled", blocks=blocks))
    sections.append(Section(key="made", title="How it was put together", blocks=[Words(text=HOW)]))
    facts = tuple((name.replace("_", " "), plain(value)) for name, value in provenance.items() if value)
    sections.append(Section(key="provenance", title="Where this comes from", blocks=[Facts(pairs=facts, exact=True)]))
    values = {
        "title": plain(title),
        "question": plain(f"What do {join_words(pooling.trials)} say together?"),
        "invented": invented,
        "cautions": [plain(remark) for remark in pooling.remarks],
        "sections": sections,
    }
    return render("report.html", style_sheet("report.css"), values)


def _said(pooling: Pooling) -> list[tuple[str, ...]]:
    return [say_pooled(effect, pooling.confidence) for effect in pooling.effects]


def _first(said: tuple[str, ...]) -> str:
    return plain(true_minus(said[0]))


def _effect(effect: PooledEffect, place: int, pooling: Pooling, keys: Keys) -> Section:
    said = tuple(plain(true_minus(one)) for one in say_pooled(effect, pooling.confidence)[1:])
    blocks: list[Picture | Items] = [
        Picture(figure=draw_pooled(effect, key=keys(), confidence=pooling.confidence)),
        Items(items=said),
        Picture(figure=draw_learnt(effect, key=keys(), confidence=pooling.confidence), fold=True),
    ]
    return Section(key=f"effect-{place}", title=plain(title_of(effect)), blocks=blocks)
