"""How does a tablet find the page of a run from a printed sheet?

A QR code (ISO/IEC 18004) with error correction M and the quiet zone of four modules that the
standard asks for, drawn as one path: black on white, also where the page is dark.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from markupsafe import Markup

QUIET = 4  # modules


@lru_cache(maxsize=2_000)
def code_square(text: str) -> Markup:
    """The code of ``text`` as inline SVG, hidden from screen readers: the text stands beside it."""
    import segno
    from markupsafe import Markup

    code = segno.make(text, error="m", micro=False)
    svg = code.svg_inline(border=QUIET, omitsize=True, dark="#000000", light="#ffffff", svgclass="qr", lineclass=None)
    return Markup(svg.replace("<svg ", '<svg aria-hidden="true" focusable="false" ', 1))  # noqa: S704 (modules only)
