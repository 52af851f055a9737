"""What did tasters say, and about which treatment?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.questions import Factor, Question
from analysis.results import Analysis
from analysis.words import headings as say
from analysis.words import say_count, say_level
from analysis.words.numbers import say_list, with_unit
from reports.figures.picture import Table
from reports.figures.taste import draw_taste, tags_of
from reports.html import plain
from reports.sections.blocks import Grid, Picture, Section, Words
from reports.sections.numbering import Keys

if TYPE_CHECKING:
    from pandas import DataFrame

MOST_TOGETHER = 8  # treatments side by side; more are gathered by the levels of one factor
MOST_NOTES = 500
MOST_OPEN = 4  # more notes are folded away


def taste_section(analysis: Analysis, notes: DataFrame | None, keys: Keys) -> Section | None:
    """Words by treatment, then the notes themselves; None without notes."""
    if notes is None or not len(notes):
        return None
    labelled = with_treatments(notes, analysis.question)
    blocks: list[Words | Picture | Grid] = []
    gathered, by = _gathered(labelled, analysis)
    if by:
        said = say.counted_by(by)
        blocks.append(Words(text=said, tone="quiet"))
    figure = draw_taste(gathered, key=keys())
    if figure:
        blocks.append(Picture(figure=figure, fold=True))
    caption = say.taste_notes(say_count(len(labelled), "note"))
    blocks.append(Grid(caption=caption, table=_table(labelled), fold=len(labelled) > MOST_OPEN))
    return Section(key="taste", title=say.NOTES_BY_TREATMENT, blocks=blocks)


def with_treatments(notes: DataFrame, question: Question) -> DataFrame:
    """The notes with a ``treatment`` made of their factor columns, in the order of the factors' levels."""
    if "treatment" in notes.columns:
        return notes
    factors = [factor for factor in question.factors if factor.name in notes.columns]
    if not factors:
        name = "bake" if "bake" in notes.columns else None
        return notes.assign(treatment=[str(v) for v in notes[name]] if name else say.ALL_BAKES)
    ordered = notes.sort_values([factor.name for factor in factors], kind="stable")
    named = [factor.name for factor in factors]
    said = [
        say_list([_level(factor, value) for factor, value in zip(factors, row, strict=True)])
        for row in ordered[named].itertuples(index=False)
    ]
    return ordered.assign(treatment=said)


def _level(factor: Factor, value: object) -> str:
    if factor.kind != "category" and isinstance(value, (int, float)):
        return f"{plain(factor.name)} {with_unit(say_level(float(value)), plain(factor.unit))}"
    return plain(str(value))


def _gathered(notes: DataFrame, analysis: Analysis) -> tuple[DataFrame, str]:
    """Many treatments are counted by one factor: the dose, else the foremost variable found."""
    question = analysis.question
    if notes["treatment"].nunique() <= MOST_TOGETHER:
        return notes, ""
    ranked = [question.dose, *(name for finding in analysis.findings for name in finding.variables)]
    factors = sorted(
        (factor for factor in question.factors if factor.name in notes.columns),
        key=lambda factor: ranked.index(factor.name) if factor.name in ranked else len(ranked),
    )
    if not factors:
        return notes, ""
    by = factors[0]
    ordered = notes.sort_values(by.name, kind="stable")
    return ordered.assign(treatment=[_level(by, value) for value in ordered[by.name]]), plain(by.name)


def _table(notes: DataFrame) -> Table:
    words = notes["words"] if "words" in notes.columns else [""] * len(notes)
    rows = tuple(
        (plain(str(treatment)), ", ".join(tags_of(tags)) or "–", plain(str(said)) or "–")
        for treatment, tags, said in zip(notes["treatment"], notes["tags"], words, strict=True)
    )
    return Table(columns=say.NOTE_COLUMNS, rows=rows[:MOST_NOTES])
