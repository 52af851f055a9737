"""Which taste words of a trial go with which factor?"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from analysis.results import Analysis


def with_tags(analysis: Analysis, notes: pd.DataFrame) -> Analysis:
    """The analysis with its taste words against the factors, where enough bakes were noted."""
    from analysis.scores.tags import tags_part

    factors = [factor for factor in analysis.question.factors if factor.name in notes.columns]
    if not len(notes) or not factors:
        return analysis
    tags: dict[str, list[str]] = {}
    settings: dict[str, dict[str, object]] = {}
    names = [factor.name for factor in factors]
    for note in notes.to_dict("records"):
        bake = str(note["bake"])
        tags.setdefault(bake, []).extend(map(str, note["tags"]))
        settings[bake] = {name: _level(note[name]) for name in names}
    part = tags_part(tags, settings, factors)
    return analysis if part is None else replace(analysis, parts=(*analysis.parts, part))


def _level(cell: object) -> object:
    """A number as float, a gap as None."""
    if cell is None or cell != cell:  # NaN is unlike itself
        return None
    return float(cell) if isinstance(cell, int | float) else str(cell)
