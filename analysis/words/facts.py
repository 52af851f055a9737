"""What sentences about checks have in common: lists of names, and p."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from analysis.words.finding_parts import say_term
from analysis.words.numbers import join_words, say_p

Facts = Mapping[str, Any]
MOST_NAMED = 6  # names listed before "and more"


def said_p(facts: Facts) -> str:
    return f" ({say_p(facts['p'])})" if facts.get("p") is not None else ""


def listed(names: Sequence[object]) -> str:
    said = [str(name) for name in names[:MOST_NAMED]]
    return join_words(said) if len(names) <= MOST_NAMED else f"{', '.join(said)} and {len(names) - MOST_NAMED} more"


def listed_terms(names: Sequence[str]) -> str:
    return listed([say_term(name) for name in names])
