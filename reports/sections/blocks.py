"""What is a part of a report made of?

A section is a heading with blocks below it: sentences, lists, pictures, tables. The
template knows these few kinds and nothing about baking; the sections know baking and
nothing about HTML.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import ClassVar

from reports.figures.picture import Figure, Table


@dataclass(frozen=True, kw_only=True)
class Words:
    """A paragraph. ``tone``: "plain", "lead" (read first), "quiet" (read last) or "idea" (a word explained)."""

    kind: ClassVar[str] = "words"
    text: str
    tone: str = "plain"


@dataclass(frozen=True, kw_only=True)
class Items:
    """A list of sentences; ``ordered`` when their order is a ranking, ``short`` when two fit on a line of paper."""

    kind: ClassVar[str] = "items"
    items: tuple[str, ...]
    ordered: bool = False
    short: bool = False


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
    ``screen`` leaves the drawing off too, and its sentence alone is printed; ``more`` is one of
    many of its kind, and nothing of it is printed.
    """

    kind: ClassVar[str] = "picture"
    figure: Figure
    fold: bool = False
    paper: bool = True
    screen: bool = False
    more: bool = False


@dataclass(frozen=True, kw_only=True)
class Grid:
    """A table by itself; ``fold`` as for pictures."""

    kind: ClassVar[str] = "grid"
    caption: str
    table: Table
    fold: bool = False


@dataclass(frozen=True, kw_only=True)
class Photo:
    """A small JPEG that the page carries; ``number`` is its number in the record, sides in pixels."""

    number: int
    jpeg: bytes
    width: int
    height: int
    alt: str
    caption: str

    @property
    def data(self) -> str:
        """The picture as text, for an address that asks nobody."""
        return base64.b64encode(self.jpeg).decode("ascii")


@dataclass(frozen=True, kw_only=True)
class Photos:
    """Photos side by side, each with its words."""

    kind: ClassVar[str] = "photos"
    photos: tuple[Photo, ...]


Block = Words | Items | Facts | Heading | Picture | Grid | Photos


@dataclass(frozen=True, kw_only=True)
class Section:
    """One part of the page. ``key`` is its place for links."""

    key: str
    title: str
    blocks: Sequence[Block] = field(default_factory=tuple)

    @property
    def laid_out(self) -> list[tuple[Block, str]]:
        """Each block with its place on paper: "half" of a line, "beside" its words, or its ``screen``, ``more``."""
        return list(zip(self.blocks, _places(self.blocks), strict=True))


def _places(blocks: Sequence[Block]) -> list[str]:
    """Pictures that follow one another without a table stand two on a line; a single one has its words beside it.

    Under headings of their own single ones keep to their place ("own"): no float carries them away from theirs.
    """
    places = ["" if not isinstance(block, Picture) else _own_place(block) for block in blocks]
    waiting: int | None = None
    for i, place in enumerate(places):
        if place != "half":
            waiting = waiting if place == "more" else None
        elif waiting is None:
            waiting, places[i] = i, "beside"
        else:
            places[waiting], waiting = "half", None
    if any(isinstance(block, Heading) for block in blocks):
        places = ["beside own" if place == "beside" else place for place in places]
    return places


def _own_place(picture: Picture) -> str:
    if picture.more or picture.screen:
        return "more" if picture.more else "screen"
    return "half" if picture.fold else "beside"
