"""Is there a copy of the record that can be trusted, and how does it come back?

A backup is taken while others may write, checked, and described by a manifest that lies
beside it. It comes back into a new file only, after it was verified whole.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tracker.backups import copy_pages, require_sound
from tracker.databases import Place, place_of, require_ours
from tracker.deeds import version
from tracker.errors import Conflict, IntegrityError, UsageError
from tracker.files import fresh_beside, give_name
from tracker.opening import ready
from tracker.refusals import in_words
from tracker.store import Store
from tracker.workflow.verifying import verify_record


@dataclass(frozen=True, kw_only=True)
class Backup:
    """``rows`` counts every table; ``entries`` and ``head`` are the end of the audit chain in the copy."""

    path: Path
    manifest: Path
    made_at: str
    bytes: int
    sha256: str
    entries: int
    head: str
    rows: dict[str, int]

    def summary(self) -> str:
        return (
            f"{self.path}: {sum(self.rows.values())} rows, {self.entries} entries, head {self.head}.\n"
            f"Keep {self.manifest.name} beside it: it holds the hash that shows a damaged copy."
        )

    def to_json(self) -> dict[str, Any]:
        return {
            "file": self.path.name,
            "made_at": self.made_at,
            "made_with": version(),
            "bytes": self.bytes,
            "sha256": self.sha256,
            "entries": self.entries,
            "head": self.head,
            "rows": self.rows,
        }


@dataclass(frozen=True, kw_only=True)
class Restored:
    """``by_manifest`` is False when the backup had none and was checked by its own chain only."""

    path: Path
    entries: int
    head: str
    rows: int
    by_manifest: bool

    def summary(self) -> str:
        lines = [f"{self.path}: restored and verified, {self.entries} entries, {self.rows} rows, head {self.head}."]
        if not self.by_manifest:
            lines.append("The backup had no manifest: it was checked by its own chain only.")
        return "\n".join(lines)

    def to_json(self) -> dict[str, Any]:
        return {
            "kitchen": str(self.path),
            "entries": self.entries,
            "head": self.head,
            "rows": self.rows,
            "by_manifest": self.by_manifest,
        }


def manifest_of(path: Path) -> Path:
    return path.with_name(path.name + ".manifest.json")


def back_up(store: Store, target: str | Path | None = None) -> Backup:
    """Copy the kitchen into a new file (beside it, named after the moment, when none is named).

    Raises Conflict when the file or its manifest exists, UsageError for a kitchen that is no file.
    """
    source = store.place.path
    if source is None:
        raise UsageError(
            "A kitchen in PostgreSQL is backed up by its server.",
            where=store.place.shown,
            try_this="pg_dump --format=custom --file=kitchen.dump DATABASE",
        )
    made_at = store.stamp()
    path = Path(target) if target is not None else source.with_name(f"{source.stem}-{_compact(made_at)}.backup.db")
    _refuse_taken(path, manifest_of(path))
    with in_words(str(path)), fresh_beside(path, str(path)) as fresh:
        copy_pages(source, fresh)
        backup = _describe(fresh, path, made_at)
        with fresh_beside(backup.manifest, str(path)) as words:
            words.write_text(json.dumps(backup.to_json(), ensure_ascii=False, indent=2) + "\n", encoding="utf-8")
            _name(words, backup.manifest)  # first: a backup without its manifest would look unguarded
        _name(fresh, path)
    return backup


def _compact(stamp: str) -> str:
    return stamp.replace("-", "").replace(":", "").replace(".", "-")


def _refuse_taken(*paths: Path) -> None:
    for path in paths:
        if path.exists() or path.is_symlink():
            raise Conflict(
                "A file stands there already; nothing is overwritten.", where=str(path), try_this="another name"
            )


def _name(fresh: Path, path: Path) -> None:
    try:
        give_name(fresh, path)
    except FileExistsError:
        _refuse_taken(path)
        raise


def _describe(copy: Path, path: Path, made_at: str) -> Backup:
    with closing(sqlite3.connect(f"{copy.absolute().as_uri()}?mode=ro", uri=True)) as connection:
        names = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        rows = {
            name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]  # noqa: S608
            for name in sorted(names)
            if name != "alembic_version"
        }
        head = connection.execute("SELECT hash FROM audit_entry ORDER BY sequence DESC LIMIT 1").fetchone()
    if head is None:
        raise IntegrityError("The record has no entries.", where=str(path), try_this="crumbwise records verify")
    return Backup(
        path=path,
        manifest=manifest_of(path),
        made_at=made_at,
        bytes=copy.stat().st_size,
        sha256=_sha256(copy),
        entries=rows["audit_entry"],
        head=head[0],
        rows=rows,
    )


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def restore(backup: str | Path, target: str | Path) -> Restored:
    """Bring a backup back into the new file ``target``, after verifying all of it.

    Raises NotFound without a backup, Conflict when ``target`` exists, IntegrityError when the
    backup is damaged or does not agree with its manifest or its own chain.
    """
    source, path = place_of(str(backup)), place_of(str(target)).path
    if source.path is None or path is None:
        raise UsageError(
            "A backup is a file, and so is what it is restored to.",
            where="records restore",
            try_this="pg_restore for a kitchen in PostgreSQL",
        )
    require_ours(source)
    manifest = _read_manifest(source.path)
    _refuse_taken(path)
    with in_words(source.shown), fresh_beside(path, str(path)) as fresh:
        require_sound(source.path)
        copy_pages(source.path, fresh)
        hidden = Place(shown=source.shown, path=fresh)
        ready(hidden, None)
        with Store(hidden) as store:
            verified = verify_record(store, expect=manifest["head"] if manifest else None)
        _name(fresh, path)
    return Restored(
        path=path,
        entries=verified.entries,
        head=verified.head,
        rows=verified.rows,
        by_manifest=manifest is not None,
    )


def _read_manifest(backup: Path) -> dict[str, Any] | None:
    """The manifest beside a backup, after its hash was compared; None when there is none."""
    path = manifest_of(backup)
    try:
        manifest = json.loads(path.read_text(encoding="utf-8"))
        expected, head = str(manifest["sha256"]), str(manifest["head"])
    except FileNotFoundError:
        return None
    except (OSError, ValueError, KeyError, TypeError):
        raise IntegrityError("The manifest cannot be read.", where=str(path), try_this="another backup") from None
    if _sha256(backup) != expected:
        raise IntegrityError(
            "The backup is not the file that its manifest describes: it was damaged or changed.",
            where=str(backup),
            try_this="another backup",
        )
    return {**manifest, "head": head}
