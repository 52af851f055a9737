"""What is a part of a report made of?

A section is a heading with blocks below it: sentences, lists, pictures, tables. The
template knows these few kinds and nothing about baking; the sections know baking and
nothing about HTML.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import ClassVar

from reports.figures.picture import Figure, Table


@dataclass(frozen=True, kw_only=True)
class Words:
    """A paragraph. ``tone``: "plain", "lead" (read this first) or "quiet" (read this last)."""

    kind: ClassVar[str] = "words"
    text: str
    tone: str = "plain"


@dataclass(frozen=True, kw_only=True)
class Items:
    """A list of sentences; ``ordered`` when their order is a ranking."""

    kind: ClassVar[str] = "items"
    items: tuple[str, ...]
    ordered: bool = False


@dataclass(frozen=True, kw_only=True)
class Facts:
    """Names with values. ``exact`` values are shown letter by letter (hashes, commands)."""

    kind: ClassVar[str] = "facts"
    pairs: tuple[tuple[str, str], ...]
    exact: bool = False


@dataclass(frozen=True, kw_only=True)
class Heading:
    """A heading below the section's own, such as the name of a response."""

    kind: ClassVar[str] = "heading"
    text: str


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A figure with its table; ``fold`` hides the table behind a line to press (paper shows it once it was opened).

    ``paper`` False leaves the table off paper, where another table holds the same numbers;
    ``screen`` leaves the drawing off too, and its sentence alone is printed.
    """

    kind: ClassVar[str] = "picture"
    figure: Figure
    fold: bool = False
    paper: bool = True
    screen: bool = False


@dataclass(frozen=True, kw_only=True)
class Grid:
    """A table by itself; ``fold`` as for pictures."""

    kind: ClassVar[str] = "grid"
    caption: str
    table: Table
    fold: bool = False


@dataclass(frozen=True, kw_only=True)
class Section:
    """One part of the page. ``key`` is its place for links."""

    key: str
    title: str
    blocks: Sequence[Words | Items | Facts | Heading | Picture | Grid] = field(default_factory=tuple)
