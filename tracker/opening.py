"""Is there a kitchen at this place, with the newest tables, or is one to be made?

A new file is built under a hidden name and gets its own name when it is whole: a crash on
the way leaves no half kitchen, and of two programs making the same one the second finds
the first one's.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path

from sqlalchemy import text

from tracker.databases import Place, engine_for, require_ours
from tracker.errors import Conflict, NotFound
from tracker.files import fresh_beside, give_name
from tracker.migrations import NEWEST, holds_tables, require_known, upgrade, version_of
from tracker.settings import APPLICATION_ID

Found = Callable[[Place], None]


def ready(place: Place, found: Found | None) -> None:
    """Make sure that ``place`` can be worked in; ``found`` writes the first rows of a new kitchen.

    Without ``found`` a missing kitchen is an error (NotFound).
    """
    if place.path is None:
        _ready_postgres(place, found)
        return
    if found is not None and not os.path.lexists(place.path):
        _make_file(place, place.path, found)
    require_ours(place)
    version, _, _ = _state(place)
    _newest(place, version)


def _ready_postgres(place: Place, found: Found | None) -> None:
    version, tables, founded = _state(place)
    if version is None and tables:
        raise Conflict("This database holds other tables.", where=place.shown, try_this="an empty database")
    if found is None and not founded:
        raise NotFound("There is no kitchen in this database.", where=place.shown, try_this="check the address")
    _newest(place, version)
    if found is not None and not founded:
        found(place)


def _newest(place: Place, version: str | None) -> None:
    require_known(version, place.shown)
    if version != NEWEST:
        upgrade(place)


def _state(place: Place) -> tuple[str | None, bool, bool]:
    """Version of the tables, whether there is any table, whether the kitchen's own row stands."""
    engine = engine_for(place)
    try:
        with engine.connect() as connection:
            version = version_of(connection)
            tables = version is not None or holds_tables(connection)
            founded = version is not None and bool(connection.execute(text("SELECT count(*) FROM kitchen")).scalar())
            return version, tables, founded
    finally:
        engine.dispose()


def _make_file(place: Place, path: Path, found: Found) -> None:
    with fresh_beside(path, place.shown) as fresh:
        hidden = Place(shown=place.shown, path=fresh)
        with closing(sqlite3.connect(fresh, isolation_level=None)) as connection:
            connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
        upgrade(hidden)
        found(hidden)
        with suppress(FileExistsError):  # another program was faster: its kitchen is as good
            give_name(fresh, path)
