"""What does the baker take to the bench?

Joins a stored trial with the weights of each run into a bench sheet, and writes it as
one HTML file.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from reports.sheet import Sheet
    from tracker.store import Store


def make_sheet(store: Store, trial: str) -> Sheet:
    """The bench sheet of a trial. Raises NotFound with the nearest name."""
    raise NotImplementedError


def write_sheet(store: Store, trial: str, path: str | Path) -> Path:
    """Write the sheet as HTML, whole or not at all; returns where it lies."""
    raise NotImplementedError
