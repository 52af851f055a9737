"""What was this answer made from, and how can it be made again?"""

from __future__ import annotations

import platform
import shlex
import sqlite3
from collections.abc import Mapping, Sequence
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.results import Analysis

PACKAGES = ("crumbwise", "numpy", "pandas", "scipy", "statsmodels")


def provenance(
    analysis: Analysis, *, source: str, content_sha256: str, command: Sequence[str], as_of: str | None, **more: Any
) -> Mapping[str, Any]:
    """Plain facts in the order in which a page shows them; no clock is read.

    ``as_of`` is the time of the last entry in the record (None for a spreadsheet).
    """
    return {
        "source": source,
        "content_sha256": content_sha256,
        **more,
        "as_of": as_of,
        "seed": analysis.question.seed,
        "rows_read": analysis.rows_read,
        "rows_used": analysis.rows_used,
        "rows_left_out": len(analysis.left_out),
        "versions": versions(),
        "command": shlex.join(command),
    }


def versions() -> dict[str, str]:
    found = {"python": platform.python_version(), "sqlite": sqlite3.sqlite_version}
    for name in PACKAGES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:  # run from a bare copy of the source
            found[name] = "unknown"
    return found
