"""How is it said? The one catalogue of sentences behind text, JSON, pages and reports.

The sentences are loaded when they are first asked for: who only says a balance does not
wait for the words of a trial.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.words.answers import headline, headlines, response_headline
    from analysis.words.checks import say_check
    from analysis.words.finding_parts import say_term
    from analysis.words.findings import say_finding
    from analysis.words.glossary import GLOSSARY, explain
    from analysis.words.models import say_left_out, say_model
    from analysis.words.next_bakes import say_next, say_treatment
    from analysis.words.numbers import (
        say_amount,
        say_count,
        say_interval,
        say_level,
        say_number,
        say_p,
        say_share,
        say_signed,
    )
    from analysis.words.text import analysis_text

_STAND_IN = {
    "answers": ("headline", "headlines", "response_headline"),
    "checks": ("say_check",),
    "finding_parts": ("say_term",),
    "findings": ("say_finding",),
    "glossary": ("GLOSSARY", "explain"),
    "models": ("say_left_out", "say_model"),
    "next_bakes": ("say_next", "say_treatment"),
    "numbers": (
        "say_amount",
        "say_count",
        "say_interval",
        "say_level",
        "say_number",
        "say_p",
        "say_share",
        "say_signed",
    ),
    "text": ("analysis_text",),
}
_MODULE_OF = {name: module for module, names in _STAND_IN.items() for name in names}

__all__ = [
    "GLOSSARY",
    "analysis_text",
    "explain",
    "headline",
    "headlines",
    "response_headline",
    "say_amount",
    "say_check",
    "say_count",
    "say_finding",
    "say_interval",
    "say_left_out",
    "say_level",
    "say_model",
    "say_next",
    "say_number",
    "say_p",
    "say_share",
    "say_signed",
    "say_term",
    "say_treatment",
]


def __getattr__(name: str) -> Any:
    """A name of the catalogue, loaded with the module it stands in (PEP 562)."""
    if name not in _MODULE_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(import_module(f"{__name__}.{_MODULE_OF[name]}"), name)
    globals()[name] = found
    return found
