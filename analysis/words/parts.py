"""How are the further parts of an answer said?

Each part has its title and a function that says it in sentences, most telling first.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any

from analysis.parts import Part
from analysis.results import Analysis, ResponseResult

# key of the part -> (title, module of analysis.words, function(part, result or analysis, question) -> sentences)
SAID: dict[str, tuple[str, str, str]] = {
    "averaged_dose": ("Whichever shape is true", "averaged", "say_averaged"),
    "effective_doses": ("Doses for a share of the way", "averaged", "say_effective"),
    "dose_spread": ("How bakes scatter along the curve", "dose_spread", "say_spread"),
    "relative_potency": ("What one dose is worth", "potency", "say_potency"),
    "goals": ("Several goals at once", "goals", "say_goals"),
    "covariates": ("What was measured beside", "covariates", "say_covariates"),
    "what_changes": ("What would change the answer", "changes", "say_changes"),
    "scatter": ("Where the scatter lies", "scatter", "say_scatter"),
    "tags": ("Taste words and factors", "tags", "say_tags"),
    "scores": ("Scores as what they are", "scores", "say_scores"),
    "surface": ("The surface", "surfaces", "say_surface"),
    "climb": ("Which way it gets better", "surfaces", "say_climb"),
    "blend": ("The blend", "blends", "say_blend"),
}


def title_of(part: Part) -> str:
    """The heading above a part."""
    return SAID[part.key][0]


def say_part(part: Part, about: ResponseResult | Analysis, question: Any) -> tuple[str, ...]:
    """The sentences of a part. ``about``: what it belongs to."""
    _, module, function = SAID[part.key]
    say: Callable[[Any, Any, Any], tuple[str, ...]] = getattr(import_module(f"analysis.words.{module}"), function)
    return say(part, about, question)
