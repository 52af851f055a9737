"""How does a file come to be whole, or not at all?

It is built under a hidden name beside its place, synced, and named when it is finished;
nothing that stands is ever overwritten.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from tracker.errors import Conflict, NotFound


@contextmanager
def fresh_beside(path: Path, shown: str) -> Iterator[Path]:
    """A hidden empty file in the folder of ``path`` (mode 0600); gone at the end, whatever happens."""
    fresh = path.with_name(f".{path.name}.{secrets.token_hex(6)}.new")
    try:
        os.close(os.open(fresh, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
    except FileNotFoundError:
        raise NotFound(f"There is no folder {path.parent}.", where=shown, try_this="make the folder first") from None
    except OSError as error:
        raise Conflict(
            f"No file can be made here ({error.strerror}).", where=shown, try_this="another folder"
        ) from None
    try:
        yield fresh
    finally:
        for end in ("", "-journal", "-wal", "-shm"):
            with suppress(OSError):
                Path(f"{fresh}{end}").unlink()


def give_name(fresh: Path, path: Path) -> None:
    """Name a finished file; raises FileExistsError rather than overwrite one."""
    sync(fresh)
    try:
        os.link(fresh, path)
    except FileExistsError:
        raise
    except OSError:  # a file system without links: renaming would overwrite, so look first
        if os.path.lexists(path):
            raise FileExistsError(path) from None
        fresh.rename(path)
    sync(path)


def sync(path: Path) -> None:
    """Put a file and its name in the folder on the disk."""
    for name in (path, path.parent):
        with suppress(PermissionError):  # Windows cannot open a folder; its names are durable by themselves
            handle = os.open(name, os.O_RDONLY)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)
