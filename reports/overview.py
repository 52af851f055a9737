"""What lies in this folder, and where does one begin?

A page of links: for each trial its question, its headline and its files.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Link:
    """``href`` is a path relative to the page."""

    words: str
    href: str


@dataclass(frozen=True, kw_only=True)
class Chapter:
    """One trial (or log): ``answers`` are sentences, the most important one first."""

    title: str
    question: str = ""
    answers: tuple[str, ...] = ()
    links: tuple[Link, ...]


def overview_page(title: str, *, opening: str, chapters: Sequence[Chapter], closing: str = "") -> str:
    """One HTML document without script or outside request."""
    from reports.html import render, style_sheet

    values = {"title": title, "opening": opening, "chapters": chapters, "closing": closing}
    return render("overview.html", style_sheet("overview.css"), values)
