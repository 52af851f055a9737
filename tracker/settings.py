"""How is a kitchen's database set, and why?

One table: ``tracker.databases`` applies it to every SQLite connection and reads each value
back; ``crumbwise records check`` prints it with its reasons.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

# Written into the head of every SQLite file of ours ("CrWi" in ASCII), so that a stranger's file is told apart.
APPLICATION_ID = 0x43725769

BUSY_SECONDS = 5

# Two connections writing and checkpointing at once could damage a file in WAL mode before this
# version (sqlite.org/changes.html, 3.51.3). A distribution may carry the repair under an older
# number, but the number is all we can see, and the rollback journal is fast enough.
WAL_SAFE_FROM = (3, 51, 3)


@dataclass(frozen=True)
class DatabaseSetting:
    """``value`` is what the pragma is set to and must answer when it is read back."""

    name: str
    value: int | str
    why: str


def journal_mode(version: tuple[int, ...] = sqlite3.sqlite_version_info) -> DatabaseSetting:
    """The journal that is safe with this SQLite."""
    number = ".".join(map(str, version))
    if version >= WAL_SAFE_FROM:
        return DatabaseSetting("journal_mode", "wal", f"SQLite {number} has the repaired write-ahead log")
    return DatabaseSetting(
        "journal_mode", "truncate", f"SQLite {number} is older than 3.51.3, which repaired its write-ahead log"
    )


def sqlite_settings(version: tuple[int, ...] = sqlite3.sqlite_version_info) -> tuple[DatabaseSetting, ...]:
    """Every pragma of a connection, in the order in which it is set."""
    return (
        DatabaseSetting("busy_timeout", BUSY_SECONDS * 1000, "a writer waits for its turn instead of being refused"),
        journal_mode(version),
        DatabaseSetting("synchronous", 2, "FULL: what was acknowledged is on the disk"),
        DatabaseSetting("foreign_keys", 1, "a reading cannot name a bake that does not exist"),
        DatabaseSetting("recursive_triggers", 1, "INSERT OR REPLACE cannot slip past the triggers against DELETE"),
        DatabaseSetting("secure_delete", 1, "an erased name is overwritten, not only unlinked"),
        DatabaseSetting("trusted_schema", 0, "a doctored schema cannot call functions with side effects"),
        DatabaseSetting("cell_size_check", 1, "a damaged page is noticed when it is read"),
    )
