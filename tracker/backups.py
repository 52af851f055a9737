"""How is a SQLite file copied while others may write to it?

Through SQLite's backup interface, never as a copy of the file: a copied file can lack what
its journal still holds, and pass every integrity check.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from tracker.errors import Conflict, IntegrityError
from tracker.files import fresh_beside, give_name
from tracker.settings import BUSY_SECONDS


def copy_pages(source: Path, target: Path) -> None:
    """Copy one consistent state of ``source`` over the empty file ``target``, and check it."""
    address = f"{source.absolute().as_uri()}?mode=ro"
    with (
        closing(sqlite3.connect(address, uri=True, timeout=float(BUSY_SECONDS))) as old,
        closing(sqlite3.connect(target)) as new,
    ):
        old.backup(new)
        _drop_keys(new)
        new.execute("PRAGMA journal_mode=DELETE")  # one file, whatever mode the source is in
    require_sound(target)


def _drop_keys(copy: sqlite3.Connection) -> None:
    """Addresses that guessed are hashed under a key, which a copy that is handed on does not hold."""
    if copy.execute("SELECT 1 FROM sqlite_master WHERE name = 'bench_guess_key'").fetchone():
        copy.execute("PRAGMA secure_delete=ON")
        copy.execute("DELETE FROM bench_guess_key")
        copy.commit()


def require_sound(path: Path) -> None:
    """SQLite's own full check of a file, and of its links; raises IntegrityError."""
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
    for number in range(1, 1000):
        target = path.with_name(f"{path.name}.{word}" + (f"-{number}" if number > 1 else "") + ".backup")
        if target.exists():
            continue
        with fresh_beside(target, str(target)) as fresh:
            copy_pages(path, fresh)
            give_name(fresh, target)
            return target
    raise Conflict("There are too many backups here.", where=str(path.parent), try_this="move old ones elsewhere")
