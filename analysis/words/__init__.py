"""How is it said? The one catalogue of sentences behind text, JSON, pages and reports."""

from analysis.words.checks import say_check
from analysis.words.findings import say_finding, say_term
from analysis.words.glossary import GLOSSARY, explain
from analysis.words.headline import headline, headlines, response_headline
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
