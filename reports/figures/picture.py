"""What is a figure? A picture, what it says, and the same numbers as a table."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.words.numbers import start

LONGEST_ALT = 150  # characters: what a screen reader says in one breath


@dataclass(frozen=True, kw_only=True)
class Table:
    """Numbers as text, ready to print. Every row has one cell for each column."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, kw_only=True)
class Figure:
    """``key`` is unique on its page. ``alt`` says the finding with its main number."""

    key: str
    svg: str
    alt: str
    caption: str
    table: Table


def short_alt(*parts: str) -> str:
    """``parts`` as one text of at most 150 characters; what does not fit is left out from the end."""
    said = start(" ".join(part for part in parts if part))
    if len(said) <= LONGEST_ALT:
        return said
    return said[: LONGEST_ALT - 1].rsplit(" ", 1)[0].rstrip(" ,;:") + "…"
