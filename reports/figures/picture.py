"""What is a figure? A picture, what it says, and the same numbers as a table."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.words.numbers import start

if TYPE_CHECKING:
    from markupsafe import Markup

_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?|–|not known")
LONGEST_ALT = 150  # characters: what a screen reader says in one breath


@dataclass(frozen=True, kw_only=True)
class Table:
    """Numbers as text, ready to print. Every row has one cell for each column."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    @property
    def numeric(self) -> tuple[bool, ...]:
        """Which columns hold numbers only, so that they stand right-aligned."""
        columns = list(zip(*self.rows, strict=True)) or [()] * len(self.columns)
        return tuple(all(map(_NUMBER.fullmatch, cells)) and any(map(str.isdigit, "".join(cells))) for cells in columns)


@dataclass(frozen=True, kw_only=True)
class Figure:
    """``key`` is unique on its page. ``alt`` says the finding with its main number."""

    key: str
    svg: str
    alt: str
    caption: str
    table: Table

    @property
    def drawing(self) -> Markup:
        """The picture for a template: text in it was escaped when it was written as XML."""
        from markupsafe import Markup

        return Markup(self.svg)  # noqa: S704 (serialised by ElementTree)


def short_alt(*parts: str) -> str:
    """``parts`` as one text of at most 150 characters; what does not fit is left out from the end."""
    said = start(" ".join(part for part in parts if part))
    if len(said) <= LONGEST_ALT:
        return said
    return said[: LONGEST_ALT - 1].rsplit(" ", 1)[0].rstrip(" ,;:") + "…"
