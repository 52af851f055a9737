"""What was this answer made from, and how can it be made again?"""

from __future__ import annotations

import platform
import shlex
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.results import Analysis
    from tracker.models import Trial
    from tracker.store import Store

PACKAGES = ("crumbwise", "numpy", "pandas", "scipy", "statsmodels", "matplotlib", "Jinja2")


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


def as_words(facts: Mapping[str, Any]) -> dict[str, str]:
    """The same facts for a page: mappings as "name value", nothing where there is nothing."""
    said = {}
    for name, value in facts.items():
        if isinstance(value, Mapping):
            said[name] = ", ".join(f"{each} {its}" for each, its in value.items())
        elif value is not None:
            said[name] = str(value)
    return said


@dataclass(frozen=True, kw_only=True)
class Behind:
    """What of the kitchen a report names. ``as_of`` is the time of the last entry, never of the report:
    made again from the same record it says the same."""

    as_of: str | None
    invented: bool
    formula: str | None


def what_stands_behind(store: Store, trial: Trial) -> Behind:
    from sqlmodel import col, select

    from tracker.models import AuditEntry, Formula, Kitchen

    with store.read() as session:
        as_of = session.exec(select(AuditEntry.at).order_by(col(AuditEntry.sequence).desc()).limit(1)).first()
        invented = session.exec(select(Kitchen.invented)).first()
        formula = session.get(Formula, trial.formula_id) if trial.formula_id else None
    named = f"{formula.name}, version {formula.version}" if formula else None
    return Behind(as_of=as_of, invented=bool(invented), formula=named)


def is_invented(store: Store) -> bool:
    """Was nothing of this kitchen baked?"""
    from sqlmodel import select

    from tracker.models import Kitchen

    with store.read() as session:
        return bool(session.exec(select(Kitchen.invented)).first())
