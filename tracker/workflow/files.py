"""Is a file whole or not there at all?"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from tracker.errors import Conflict, InputError


def write_whole(path: str | Path, content: str | bytes) -> Path:
    """Write beside, make durable, then move into place: a reader never sees half a file."""
    path = Path(path)
    write_together({path: content})
    return path


def write_together(files: Mapping[Path, str | bytes]) -> None:
    """Several files, all or none: every one is written beside its place before the first is moved there."""
    beside: dict[Path, Path] = {}
    try:
        for path, content in files.items():
            beside[path] = _write_beside(path, content.encode("utf-8") if isinstance(content, str) else content)
        for path in files:
            if path.is_dir():  # os.replace would say so only after others were moved
                raise _refused(path, IsADirectoryError(None, "a folder is there"))
        for path, made in beside.items():
            try:
                os.replace(made, path)
            except OSError as error:
                raise _refused(path, error) from error
    finally:
        for made in beside.values():
            made.unlink(missing_ok=True)


def _write_beside(path: Path, data: bytes) -> Path:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    except OSError as error:
        raise _refused(path, error) from error
    beside = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(beside, 0o666 & ~_umask())  # mkstemp makes files only their owner can read
    except BaseException as error:
        beside.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise _refused(path, error) from error
        raise
    return beside


def write_new(path: str | Path, content: str) -> Path:
    """The same, but never in the place of a file that is there already: raises Conflict then."""
    path = Path(path)
    refuse_existing(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, beside = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    except OSError as error:
        raise _refused(path, error) from error
    Path(beside).unlink()
    os.close(handle)
    write_whole(beside, content)
    try:
        os.link(beside, path)  # fails when the file appeared meanwhile; a rename would replace it
    except FileExistsError:
        refuse_existing(path)
    except OSError:  # a file system without links
        if path.exists():
            refuse_existing(path)
        os.replace(beside, path)
    finally:
        Path(beside).unlink(missing_ok=True)
    return path


def refuse_existing(path: Path) -> None:
    """Raises Conflict when something is there."""
    if path.exists():
        raise Conflict(
            f"{path} is there already; it was left as it is.",
            where=str(path.parent),
            try_this=f"--out {free_name(path)}",
        )


def free_name(path: Path) -> Path:
    """The path itself, or the first of NAME-2, NAME-3 … that is free."""
    number = 1
    free = path
    while free.exists():
        number += 1
        free = path.with_name(f"{path.stem}-{number}{path.suffix}")
    return free


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _refused(path: Path, error: OSError) -> InputError:
    why = error.strerror or str(error)
    return InputError(f"{path} cannot be written: {why}.", where=str(path.parent), try_this="another place with --out")


def file_name(name: str, suffix: str) -> str:
    """A file's name made of a trial's: letters, digits and "-"."""
    import re

    return (re.sub(r"\W+", "-", name.casefold()).strip("-") or "trial") + suffix
