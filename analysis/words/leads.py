"""What leads the answer when settings are what was asked for: of a surface, or of several goals?"""

from __future__ import annotations

from analysis.blends.results import BlendPart
from analysis.goals.results import GoalsPart
from analysis.results import Analysis, ResponseResult
from analysis.surfaces.results import SurfacePart
from analysis.words.blends import blend_in_words
from analysis.words.goals import say_settings, say_sureness
from analysis.words.numbers import half_width, say_interval, say_number, start, with_unit
from analysis.words.surfaces import settings_in_words


def goals_headline(analysis: Analysis) -> str:
    """The treatment that serves all goals, and how surely it does; "" where goals were not weighed, or nothing
    tells how surely they are met: an amount without that would look surer than it is."""
    part = next((part for part in analysis.parts if isinstance(part, GoalsPart)), None)
    if part is None or (part.best or part.nearest) is None:
        return ""
    if part.best is None:
        assert part.nearest is not None
        where = say_settings(part.nearest.settings, analysis.question)
        return start(f"no treatment that was tried meets every goal; {where} comes nearest.")
    where = say_settings(part.best.settings, analysis.question)
    if part.best.chance is None:
        return ""
    return start(f"to serve all goals use {where}. It meets them with a sureness of {say_sureness(part.best.chance)}.")


def surface_headline(result: ResponseResult, confidence: float) -> str:
    """The best settings of a surface or a blend inside what was baked; "" without one or a goal."""
    part = next((part for part in result.family.parts if isinstance(part, SurfacePart | BlendPart)), None)
    if part is None or not result.response.goal:
        return ""
    units = {
        f.variables[0]: str(f.facts["factor_unit"])
        for f in result.findings
        if f.variables and f.facts.get("factor_unit")
    }
    where = settings_in_words(part, units) if isinstance(part, SurfacePart) else blend_in_words(part, units)
    wish = {"minimise": "for the lowest", "target": "to bring", "maximise": "for the highest"}[result.response.goal]
    name = f"{result.response.name} to its target" if result.response.goal == "target" else result.response.name
    size = with_unit(say_number(part.best_response, half_width(part.low, part.high)), result.response.unit)
    interval = f" ({say_interval(part.low, part.high, confidence)})" if part.low is not None else ""
    edge = ", at the edge of what was baked" if part.edge else ""
    return f"{wish} {name} use {where}{edge}: {size}{interval}"
