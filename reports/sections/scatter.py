"""Where does the scatter lie, as sentences with a picture?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from analysis.linear.scatter import ScatterPart
from analysis.results import Analysis, ResponseResult
from analysis.words.scatter import say_scatter
from reports.figures.scatter import draw_scatter
from reports.sections.blocks import Items, Picture
from reports.sections.numbering import Keys


def show_scatter(part: ScatterPart, about: ResponseResult, analysis: Analysis, keys: Keys) -> Sequence[Any]:
    """The sentences, then one standard deviation for each kind of group."""
    response = about.response
    figure = draw_scatter(part, response=response.name, unit=response.unit, key=keys(), confidence=part.confidence)
    return [Items(items=say_scatter(part, about, analysis.question)), Picture(figure=figure)]
