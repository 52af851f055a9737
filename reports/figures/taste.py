"""Which words did tasters use, and with which treatment?

Each row is a word, each column a treatment; the dot's area is the share of that
treatment's notes that hold the word, and the count stands inside the table.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.words.pictures import tasting as say
from reports.figures.lettering import brief, column_names, row_names, wrapped, write
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import BLUE, RULE, SOFT, canvas
from reports.figures.svg import as_svg
from reports.html import plain

if TYPE_CHECKING:
    from pandas import DataFrame

MOST_TAGS, MOST_TREATMENTS = 16, 12


@dataclass(frozen=True, kw_only=True)
class TagCounts:
    """``counts[tag][treatment]`` notes with the tag, out of ``notes[treatment]``."""

    treatments: tuple[str, ...]
    tags: tuple[str, ...]
    counts: dict[str, Counter[str]]
    notes: Counter[str]

    def share(self, tag: str, treatment: str) -> float:
        return self.counts[tag][treatment] / self.notes[treatment] if self.notes[treatment] else 0.0


def count_tags(notes: DataFrame) -> TagCounts:
    """Count tags by treatment. ``notes`` has a row per note: ``treatment``, ``tags`` (see ``tags_of``)."""
    treatments = [plain(str(treatment)) for treatment in notes["treatment"]]
    counts: dict[str, Counter[str]] = {}
    for treatment, cell in zip(treatments, notes["tags"], strict=True):
        for tag in tags_of(cell):
            counts.setdefault(tag, Counter())[treatment] += 1
    tags = sorted(counts, key=lambda tag: (-counts[tag].total(), tag))
    return TagCounts(
        treatments=tuple(dict.fromkeys(treatments)), tags=tuple(tags), counts=counts, notes=Counter(treatments)
    )


def tags_of(cell: object) -> list[str]:
    """Tags from a list, a JSON list, or words between commas; each tag once for a note."""
    if isinstance(cell, str):
        try:
            parsed = json.loads(cell)
        except ValueError:
            parsed = cell.split(",")
        cell = parsed if isinstance(parsed, list) else [parsed]
    if not isinstance(cell, (list, tuple, set, frozenset)):
        return []
    words = [plain(str(word)).strip().casefold() for word in cell]
    return list(
        dict.fromkeys(word for word in (sorted(words) if isinstance(cell, (set, frozenset)) else words) if word)
    )


def draw_taste(notes: DataFrame, *, key: str) -> Figure | None:
    """Share of notes with each tag, by treatment; None without tags."""
    counts = count_tags(notes)
    if not counts.tags:
        return None
    tags, treatments = counts.tags[:MOST_TAGS], counts.treatments[:MOST_TREATMENTS]
    with canvas(1.3 + 0.34 * max(len(tags), 2)) as (figure, (axes,)):
        for row, tag in enumerate(tags):
            axes.axhline(row, color=RULE, linewidth=0.5, zorder=0)
            for column, treatment in enumerate(treatments):
                _draw_dot(axes, column, row, counts.counts[tag][treatment], counts.share(tag, treatment))
        row_names(axes, list(range(len(tags))), [wrapped(tag, width=16) for tag in tags])
        column_names(axes, list(range(len(treatments))), list(treatments), most=MOST_TREATMENTS)
        axes.set(xlim=(-0.6, len(treatments) - 0.4), ylim=(len(tags) - 0.4, -0.6))
        for side in ("left", "bottom"):
            axes.spines[side].set_visible(False)
        alt = _alt(counts)
        svg = as_svg(figure, key=key, title=say.TASTE_TITLE, description=alt)
    return Figure(key=key, svg=svg, alt=alt, caption=_caption(counts), table=_table(counts))


def _draw_dot(axes, column: int, row: int, count: int, share: float) -> None:  # type: ignore[no-untyped-def]
    if not count:
        return
    size = 3.0 + 13.0 * share**0.5
    axes.plot([column], [row], marker="o", markersize=size, color=BLUE, alpha=0.75, linestyle="none", zorder=2)
    write(axes, column, row, f"   {count}" if size < 9 else f"     {count}", ha="left", color=SOFT, fontsize=8)


def _alt(counts: TagCounts) -> str:
    foremost = [(counts.share(tag, t), counts.counts[tag][t], tag, t) for tag in counts.tags for t in counts.treatments]
    _, count, tag, treatment = max(foremost, key=lambda found: (found[1], found[0]))
    where = say.tag_with(brief(tag, 24), brief(treatment, 36))
    return short_alt(say.taste_alt(where, count, counts.notes[treatment]))


def _caption(counts: TagCounts) -> str:
    said = say.TASTE_CAPTION
    left_out: Sequence[str] = [
        say.some_of(most, len(names), what)
        for names, most, what in ((counts.tags, MOST_TAGS, "words"), (counts.treatments, MOST_TREATMENTS, "treatments"))
        if len(names) > most
    ]
    return say.drawn_are(said, say.AND.join(left_out)) if left_out else said


def _table(counts: TagCounts) -> Table:
    rows = []
    for treatment in counts.treatments:
        for tag in counts.tags:
            if counts.counts[tag][treatment]:
                rows.append((treatment, tag, str(counts.counts[tag][treatment]), str(counts.notes[treatment])))
    return Table(columns=say.COLUMNS_OF_TASTE, rows=tuple(rows))
