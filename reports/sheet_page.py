"""How does a bench sheet look on paper?"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from reports.sheet import Sheet


def render_sheet(sheet: Sheet) -> str:
    """The sheet as one HTML document."""
    raise NotImplementedError
