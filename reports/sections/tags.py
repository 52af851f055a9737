"""What does the page show of taste words against factors?"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.results import Analysis
from analysis.scores.tags import TagsPart
from analysis.words import tables as say
from analysis.words.numbers import say_level, say_p
from analysis.words.tags import say_tags
from reports.figures.picture import Table
from reports.sections.blocks import Grid, Items
from reports.sections.numbering import Keys


def show_tags(part: TagsPart, about: Analysis, analysis: Analysis, keys: Keys) -> Sequence[Items | Grid]:
    """The sentences and every pair behind them."""
    rows = tuple(
        (
            link.tag,
            link.factor,
            "; ".join(
                say.level_shares(say_level(level), link.having[level], link.noted[level]) for level in link.noted
            ),
            _p(link.p),
            _p(link.p_adjusted),
        )
        for link in part.links
    )
    table = Table(columns=say.TAG_COLUMNS, rows=rows)
    return [
        Items(items=say_tags(part, about, analysis.question)),
        Grid(caption=say.TAGS_CAPTION, table=table, fold=True),
    ]


def _p(value: float) -> str:
    return say_p(value).removeprefix("p ").removeprefix("= ")
