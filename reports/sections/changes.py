"""What would change the answer, as sentences with a picture of the finding that moves most?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from analysis.linear.sensitivity import ChangesPart
from analysis.results import Analysis, ResponseResult
from analysis.words.changes import say_changes
from reports.figures.changes import draw_changes
from reports.sections.blocks import Items, Picture
from reports.sections.numbering import Keys


def show_changes(part: ChangesPart, about: ResponseResult, analysis: Analysis, keys: Keys) -> Sequence[Any]:
    """The sentences, then the finding that changes most; its table holds every finding."""
    said = Items(items=say_changes(part, about, analysis.question))
    figure = draw_changes(part, about, key=keys(), confidence=analysis.question.confidence)
    return [said] if figure is None else [said, Picture(figure=figure, fold=True)]
