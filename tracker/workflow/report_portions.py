"""How much of a report's part fits onto one page of the bench?

A tablet on a weak network gets pages below 150 KB: blocks are taken until their pictures
and tables fill a page, then the next one begins.
"""

from __future__ import annotations

from collections.abc import Sequence

from reports.sections.blocks import Block, Grid, Picture, Section

MOST = 100_000  # characters of pictures and tables on one page
CELL = 40  # what a cell of a table takes with its tags
MOST_ROWS = 200  # of a table; all of them are in the downloads


def portion(section: Section, sheet: int) -> tuple[Block, ...]:
    """The blocks of a page, counted from 1; none behind the last."""
    sheets = _sheets(section.blocks)
    return sheets[sheet - 1] if 0 < sheet <= len(sheets) else ()


def portions(section: Section) -> int:
    """How many pages a part takes."""
    return len(_sheets(section.blocks))


def _sheets(blocks: Sequence[Block]) -> list[tuple[Block, ...]]:
    sheets: list[list[Block]] = [[]]
    taken = 0
    for block in blocks:
        size = _size(block)
        if sheets[-1] and taken + size > MOST:
            sheets.append([])
            taken = 0
        sheets[-1].append(block)
        taken += size
    return [tuple(sheet) for sheet in sheets]


def _size(block: Block) -> int:
    if isinstance(block, Picture):
        table = block.figure.table
        return len(block.figure.svg) + CELL * len(table.columns) * min(len(table.rows), MOST_ROWS)
    if isinstance(block, Grid):
        return CELL * len(block.table.columns) * min(len(block.table.rows), MOST_ROWS)
    return 0
