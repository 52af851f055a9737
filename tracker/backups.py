"""How is a SQLite file copied while others may write to it?

Through SQLite's backup interface, never as a copy of the file: a copied file can lack what
its journal still holds, and pass every integrity check.
"""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from tracker.errors import Conflict, IntegrityError
from tracker.settings import BUSY_SECONDS


def copy_database(source: Path, target: Path) -> None:
    """Copy one consistent state of ``source`` into the new file ``target``, synced and checked.

    Raises Conflict when ``target`` exists or cannot be made, IntegrityError when the copy is damaged.
    """
    try:
        os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
    except FileExistsError:
        raise Conflict("A file stands there already.", where=str(target), try_this="another file name") from None
    except OSError as error:
        raise Conflict(
            f"The file cannot be made ({error.strerror}).", where=str(target), try_this="another folder"
        ) from None
    try:
        _copy_pages(source, target)
        sync(target)
        require_sound(target)
    except BaseException:
        with suppress(OSError):
            target.unlink()
        raise


def _copy_pages(source: Path, target: Path) -> None:
    address = f"{source.absolute().as_uri()}?mode=ro"
    with (
        closing(sqlite3.connect(address, uri=True, timeout=float(BUSY_SECONDS))) as old,
        closing(sqlite3.connect(target)) as new,
    ):
        old.backup(new)
        new.execute("PRAGMA journal_mode=DELETE")  # one file, whatever mode the source is in


def require_sound(path: Path) -> None:
    """SQLite's own full check of a file; raises IntegrityError."""
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as connection:
            found = [row[0] for row in connection.execute("PRAGMA integrity_check")]
            dangling = connection.execute("PRAGMA foreign_key_check").fetchall()
    except sqlite3.DatabaseError as error:
        found, dangling = [str(error)], []
    if found != ["ok"] or dangling:
        words = found[0] if found != ["ok"] else "rows point at nothing"
        raise IntegrityError(f"The file is damaged: {words}.", where=str(path), try_this="an earlier backup")


def copy_beside(path: Path, word: str) -> Path:
    """A checked copy next to ``path``, named after it with ``word``; never overwrites."""
    number = 1
    while True:
        target = path.with_name(f"{path.name}.{word}" + (f"-{number}" if number > 1 else "") + ".backup")
        if not target.exists():
            copy_database(path, target)
            return target
        number += 1


def sync(path: Path) -> None:
    """Put a file and its name in the folder on the disk."""
    for name, flags in ((path, os.O_RDONLY), (path.parent, os.O_RDONLY)):
        with suppress(PermissionError):  # Windows cannot open a folder; its rename is durable by itself
            handle = os.open(name, flags)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)
