"""How do a baker's own words get into a picture, whatever script they are in?

Text is drawn as outlines of one font, so that a report looks the same everywhere. What
that font cannot draw (Chinese, Thai, …) becomes real SVG text instead, which the
reader's own fonts draw: it is laid out with a stand-in and exchanged on the way out.
"""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

from analysis.words.numbers import say_level, true_minus
from analysis.words.pages import NO_NAME
from reports.html import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.text import Text

STAND_IN = "■"
KEY = "own-words-"


@cache
def _drawable() -> frozenset[int]:
    from matplotlib.font_manager import FontProperties, findfont, get_font

    return frozenset(get_font(findfont(FontProperties(family="DejaVu Sans"))).get_charmap())


def can_draw(text: str) -> bool:
    """Has the outline font every character of ``text``?"""
    return all(ord(character) in _drawable() for character in text)


def columns(text: str) -> int:
    """How wide a text is in letters: emoji and ideographs take two, combining marks none."""
    return sum(
        0 if unicodedata.category(letter) in {"Mn", "Me", "Cf"} else 1 + (unicodedata.east_asian_width(letter) in "WF")
        for letter in text
    )


def calm(text: str) -> str:
    """``text`` with at most two combining marks on a letter: more would be piled up out of the picture."""
    kept: list[str] = []
    for letter in text:
        marks = [one for one in kept[-2:] if unicodedata.combining(one)]
        if not (unicodedata.combining(letter) and len(marks) == 2):
            kept.append(letter)
    return "".join(kept)


def wrapped(text: str, *, width: int = 20, lines: int = 2) -> str:
    """``text`` on at most ``lines`` lines about ``width`` letters wide; the rest is an ellipsis."""
    kept = calm(plain(say_level(text))) or NO_NAME
    width = max(3, width * len(kept) // max(columns(kept), len(kept)))
    return "\n".join(textwrap.wrap(kept, width=width, max_lines=lines, placeholder=" …") or [kept[: width - 1] + "…"])


def own_words(text: Text, number: int) -> list[str]:
    """Mark ``text`` for exchange if the outline font lacks one of its characters; returns its lines then."""
    lines = text.get_text().split("\n")
    if can_draw("".join(lines)):
        return []
    text.set_gid(f"{KEY}{number}")
    text.set_text("\n".join(STAND_IN * max(round(0.85 * columns(line)), 1) for line in lines))
    return lines


def write(axes: Axes, x: float, y: float, text: str, **given: Any) -> Text:
    """``text`` at a place in data coordinates (``transform`` in ``given`` says otherwise), never as a formula."""
    looks: dict[str, Any] = {"parse_math": False, "va": "center", "linespacing": 1.1, **given}
    return axes.text(x, y, true_minus(text), **looks)


def row_names(axes: Axes, places: Sequence[float], names: Sequence[str], *, most: int = 40) -> int:
    """Names left of the axes, one for each row, thinned to ``most``; returns the step taken."""
    step = -(-len(names) // most) if names else 1
    axes.set_yticks([])
    for place, name in list(zip(places, names, strict=True))[::step]:
        write(axes, -0.02, place, name, transform=axes.get_yaxis_transform(), ha="right", multialignment="right")
    return max(step, 1)


def row_height(names: Sequence[str], usual: float) -> float:
    """Inches from row to row: the usual ones, or as many as names of three lines take."""
    return max(usual, 0.5) if any(name.count("\n") > 1 for name in names) else usual


def column_names(axes: Axes, places: Sequence[float], names: Sequence[str], *, most: int = 8) -> int:
    """Names below the axes, one for each column, thinned to ``most``; returns the step taken."""
    step = -(-len(names) // most) if names else 1
    axes.set_xticks([])
    width = max(6, 44 // max(1, min(len(names), most)))
    for place, name in list(zip(places, names, strict=True))[::step]:
        write(
            axes,
            place,
            -0.03,
            wrapped(name, width=width, lines=3),
            transform=axes.get_xaxis_transform(),
            ha="center",
            va="top",
            multialignment="center",
        )
    return max(step, 1)


def brief(name: str, most: int = 36) -> str:
    """``name`` on one line, cut at ``most`` characters: for alt text, where the number must not be pushed out."""
    kept = calm(plain(say_level(name))) or NO_NAME
    most = max(3, most * len(kept) // max(columns(kept), len(kept)))
    return kept if len(kept) <= most else kept[: most - 1].rstrip() + "…"


def with_unit(name: str, unit: str) -> str:
    """An axis title: the name with its unit in brackets."""
    return f"{brief(name, 60)} ({brief(unit, 20)})" if unit.strip() else brief(name, 60)


def sized(number: str, unit: str) -> str:
    """A number with its unit, the unit cut short if someone wrote a sentence there."""
    said = say_level(number)
    return f"{said} {brief(unit, 12)}" if unit.strip() else said
