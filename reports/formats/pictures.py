"""How do single pictures leave a report, for a slide or a label?

As SVG, which stays sharp and can be edited, and as PNG for programs that know no SVG.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from reports.figures.picture import Figure
from reports.figures.svg import fixed_colours
from reports.sections.blocks import Picture, Section


def pictures_of(sections: Sequence[Section]) -> dict[str, Figure]:
    """File name without ending -> picture, in the order of the page."""
    found: dict[str, Figure] = {}
    for section in sections:
        drawn = [block.figure for block in section.blocks if isinstance(block, Picture)]
        found |= {f"{section.key}-{number}": figure for number, figure in enumerate(drawn, start=1)}
    return found


def as_file(figure: Figure) -> bytes:
    """The picture as an SVG file of its own: colours fixed, since no page sets them, on white."""
    svg = fixed_colours(figure.svg)
    width, height = _size(svg)
    paper = f'<rect width="{width}" height="{height}" fill="#ffffff"/>'
    sized = svg.replace("<svg ", f'<svg width="{width}pt" height="{height}pt" ', 1)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{sized.replace("</desc>", f"</desc>{paper}", 1)}\n'.encode()


def _size(svg: str) -> tuple[str, str]:
    found = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)
    assert found is not None, "every picture of ours has a view box from 0 0"
    return found[1], found[2]
