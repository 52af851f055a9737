"""Where does the scatter lie, as sentences with a picture?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from analysis.linear.scatter import ScatterPart
from analysis.results import Analysis, ResponseResult
from analysis.words import tables as say
from analysis.words.scatter import say_scatter
from analysis.words.trust_checks import SCALES
from reports.figures.scatter import draw_scatter
from reports.sections.blocks import Items, Picture
from reports.sections.numbering import Keys


def show_scatter(part: ScatterPart, about: ResponseResult, analysis: Analysis, keys: Keys) -> Sequence[Any]:
    """The sentences, then one standard deviation for each kind of group."""
    response = about.response
    scale = about.family.model.transform  # spreads stand on that scale, in no unit
    name, unit = (
        (say.scale_of(str(SCALES.get(scale, scale)), response.name), "") if scale else (response.name, response.unit)
    )
    figure = draw_scatter(part, response=name, unit=unit, key=keys(), confidence=part.confidence)
    return [Items(items=say_scatter(part, about, analysis.question)), Picture(figure=figure)]
