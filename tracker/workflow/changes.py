"""Was anything at all committed since the last look?

SQLite counts the commits of other connections for each connection (``PRAGMA data_version``), whoever makes them:
asking for the count takes a tenth of opening a transaction and never waits. PostgreSQL has nothing of the kind.
"""

from __future__ import annotations

import sqlite3

from tracker.store import Store


class Changes:
    """A connection of its own that only counts; close it."""

    def __init__(self, store: Store) -> None:
        self._connection: sqlite3.Connection | None = None
        if store.place.path is not None:
            address = f"{store.place.path.absolute().as_uri()}?mode=rw"
            self._connection = sqlite3.connect(
                address, uri=True, isolation_level=None, check_same_thread=False, timeout=0
            )

    def count(self) -> int | None:
        """Another number than before if something was committed in between.

        None where that cannot be said: on PostgreSQL, while somebody commits, when the file cannot be read.
        """
        if self._connection is None:
            return None
        try:
            found: int = self._connection.execute("PRAGMA data_version").fetchone()[0]
        except sqlite3.Error:
            return None
        return found

    def close(self) -> None:
        """From now on it says nothing."""
        connection, self._connection = self._connection, None
        if connection is not None:
            connection.close()
