"""Is a file whole or not there at all?"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from tracker.errors import InputError


def write_whole(path: str | Path, content: str | bytes) -> Path:
    """Write beside, make durable, then move into place: a reader never sees half a file."""
    path = Path(path)
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, beside = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    except OSError as error:
        raise _refused(path, error) from error
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(beside, 0o666 & ~_umask())  # mkstemp makes files only their owner can read
        os.replace(beside, path)
    except OSError as error:
        raise _refused(path, error) from error
    finally:
        Path(beside).unlink(missing_ok=True)
    return path


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
