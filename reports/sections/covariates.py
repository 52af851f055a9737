"""What did the covariates do, and what do the means stand for?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from analysis.linear.covariates import CovariatesPart
from analysis.results import Analysis, ResponseResult
from analysis.words import tables as say
from analysis.words.covariates import say_covariates
from analysis.words.numbers import half_width, say_number, say_p, say_share, say_signed
from reports.figures.picture import Table
from reports.sections.blocks import Grid, Items
from reports.sections.numbering import Keys

NONE = "–"


def show_covariates(part: CovariatesPart, about: ResponseResult, analysis: Analysis, keys: Keys) -> Sequence[Any]:
    """The sentences, then slopes with their intervals as a table."""
    said = Items(items=say_covariates(part, about, analysis.question))
    rows = []
    for each in part.covariates:
        step = half_width(each.low, each.high)
        numbers = [NONE if v is None else say_signed(v, step) for v in (each.slope, each.low, each.high)]
        mean = NONE if each.mean is None else say_number(each.mean)
        p, moved = (
            NONE if v is None else say_p(v).removeprefix("p ").removeprefix("= ") for v in (each.p, each.moved_p)
        )
        rows.append((each.name, mean, *numbers, p, moved))
    if not rows:
        return [said]
    columns = say.COLUMNS_OF_COVARIATES
    caption = say.covariates_caption(about.response.name, say_share(analysis.question.confidence))
    return [said, Grid(caption=caption, table=Table(columns=columns, rows=tuple(rows)), fold=True)]
