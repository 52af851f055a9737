"""Which idea comes up where for the first time, and what does it mean in a line?

Ideas are looked for in what a reader sees of each part: sentences, captions, heads of tables. Behind the
block that brings an idea up stands its line, once on the page.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from analysis.words import headings as say
from analysis.words.classroom import BROUGHT_UP, idea
from analysis.words.numbers import start
from reports.sections.blocks import Block, Facts, Grid, Heading, Items, Photos, Picture, Section, Words

WHOLE = ("safety", "answer")  # parts that are read at once: their lines stand at their end
WORD_LIST = say.WORDS_USED  # the heading of that list in ``sections.sure``
PASSED_OVER = ("safety", "provenance")


def with_ideas(sections: Sequence[Section]) -> list[Section]:
    """The sections with each idea's line where it first comes up."""
    open_ideas = list(BROUGHT_UP)
    return [
        section
        if section.key in PASSED_OVER
        else replace(section, blocks=_explained(_own(section), open_ideas, gathered=section.key in WHOLE))
        for section in sections
    ]


def _own(section: Section) -> Sequence[Block]:
    """Without the list of words at its end: here each stands where it comes up."""
    heads = [i for i, block in enumerate(section.blocks) if isinstance(block, Heading) and block.text == WORD_LIST]
    return section.blocks[: heads[0]] if heads else section.blocks


def _explained(blocks: Sequence[Block], open_ideas: list[str], *, gathered: bool) -> tuple[Block, ...]:
    """``open_ideas`` loses what is explained here."""
    laid: list[Block] = []
    lines: list[Words] = []
    for block in blocks:
        seen = " ".join(_seen(block))
        for term in [term for term in open_ideas if BROUGHT_UP[term].search(seen)]:
            open_ideas.remove(term)
            lines.append(Words(text=f"{start(term) if len(term) > 1 else term}: {idea(term)}", tone="idea"))
        laid.append(block)
        if lines and not gathered and not isinstance(block, Heading):
            laid += lines
            lines = []
    return (*laid, *lines)


def _seen(block: Block) -> Iterator[str]:
    if isinstance(block, Words | Heading):
        yield block.text
    elif isinstance(block, Items):
        yield from block.items
    elif isinstance(block, Facts):
        for pair in block.pairs:
            yield from pair
    elif isinstance(block, Photos):
        yield from (photo.caption for photo in block.photos)
    elif isinstance(block, Picture):
        yield from (block.figure.caption, block.figure.alt)
    elif isinstance(block, Grid) and not block.fold:
        yield from (block.caption, *block.table.columns, *(row[0] for row in block.table.rows if row))
