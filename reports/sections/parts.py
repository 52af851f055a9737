"""Which further parts of an answer does the page show, and with what pictures?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from importlib import import_module
from typing import Any

from analysis.parts import Part
from analysis.results import Analysis, ResponseResult
from analysis.words.numbers import start
from analysis.words.parts import say_part, title_of
from reports.sections.blocks import Heading, Items, Section
from reports.sections.numbering import Keys

# key of the part -> (module of reports.sections, function(part, result or analysis, analysis, keys) -> blocks);
# a part without an entry is shown by its sentences alone.
SHOWN: dict[str, tuple[str, str]] = {
    "goals": ("goals", "show_goals"),
    "scatter": ("scatter", "show_scatter"),
    "tags": ("tags", "show_tags"),
    "scores": ("scores", "show_scores"),
    "covariates": ("covariates", "show_covariates"),
    "what_changes": ("changes", "show_changes"),
    "surface": ("surface", "show_surface"),
    "climb": ("surface", "show_climb"),
    "blend": ("surface", "show_blend"),
}


def part_sections(analysis: Analysis, keys: Keys) -> list[Section]:
    """One section for each kind of part, with a heading for each response."""
    sections = [
        Section(key=part.key, title=title_of(part), blocks=_blocks(part, analysis, analysis, keys))
        for part in analysis.parts
    ]
    held: dict[str, list[tuple[Part, ResponseResult]]] = {}
    for result in analysis.responses:
        for part in result.family.parts:
            held.setdefault(part.key, []).append((part, result))
    for key, parts in held.items():
        blocks: list[Any] = []
        for part, result in parts:
            if len(analysis.responses) > 1:
                blocks.append(Heading(text=start(result.response.name)))
            blocks += _blocks(part, result, analysis, keys)
        sections.append(Section(key=key, title=title_of(parts[0][0]), blocks=blocks))
    return sections


def _blocks(part: Part, about: ResponseResult | Analysis, analysis: Analysis, keys: Keys) -> Sequence[Any]:
    if part.key not in SHOWN:
        return [Items(items=say_part(part, about, analysis.question))]
    module, function = SHOWN[part.key]
    show: Callable[..., Sequence[Any]] = getattr(import_module(f"reports.sections.{module}"), function)
    return show(part, about, analysis, keys)
