"""Whose folder is it, and how does a finished demo get into it?

The demo is built beside the folder it is meant for and moved in when it is whole, so that
an interrupted build leaves nothing behind. Only what a demo put there is ever replaced.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tracker.errors import Conflict, InputError

LIST = "demo.json"


def refuse_strangers(folder: Path, *, again: bool) -> None:
    """Raises Conflict when the folder holds something else, or a demo that is not to be rebuilt."""
    if folder.exists() and not folder.is_dir():
        raise Conflict(f"{folder} is a file.", where=str(folder), try_this="crumbwise demo ANOTHER-FOLDER")
    if not folder.exists() or not any(folder.iterdir()):
        return
    if not (folder / LIST).exists():
        raise Conflict(
            f"{folder} holds something else already; nothing was written.",
            where=str(folder),
            try_this="crumbwise demo ANOTHER-FOLDER",
        )
    if not again:
        raise Conflict(
            f"{folder} holds a demo kitchen already, perhaps with readings of your own.",
            where=str(folder),
            try_this=f"crumbwise demo {folder} --again builds it anew and drops what was recorded in it",
        )


@contextmanager
def building_site(folder: Path) -> Iterator[Path]:
    """A place beside ``folder`` to build in; moved there when the block ends, removed when it fails."""
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        site = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    except OSError as error:
        raise InputError(
            f"The demo cannot be built there: {error.strerror}.",
            where=str(folder),
            try_this="crumbwise demo FOLDER in a place you may write to",
        ) from None
    try:
        yield site
        _move_in(site, folder)
    finally:
        shutil.rmtree(site, ignore_errors=True)


def _move_in(site: Path, folder: Path) -> None:
    new = sorted(path.relative_to(site).as_posix() for path in site.rglob("*") if path.is_file())
    (site / LIST).write_text(json.dumps({"invented": True, "files": new}, indent=2) + "\n", encoding="utf-8")
    for old in _own_files(folder):
        old.unlink(missing_ok=True)
    for name in [*new, LIST]:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (site / name).replace(folder / name)


def _own_files(folder: Path) -> list[Path]:
    """What an earlier demo put there; names that lead out of the folder are not believed."""
    try:
        listed = json.loads((folder / LIST).read_text(encoding="utf-8"))["files"]
    except (OSError, ValueError, KeyError, TypeError):
        return []
    inside = folder.resolve()
    paths = [folder / name for name in listed if isinstance(name, str)]
    return [path for path in paths if path.resolve().is_relative_to(inside)]
