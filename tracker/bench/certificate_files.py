"""Where do the keys of the bench lie, and are they still good?

In a folder beside the kitchen that only its user can open: never in the database, which is
backed up and handed on. What has run out, does not fit the hosts or cannot be read is made
anew when the bench starts; the root is kept as long as it can be, since each tablet that
trusts it would have to be asked again.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from secrets import token_hex

from tracker.bench.certificates import Pair, as_der, fingerprint, leaf_serves, make_leaf, make_root, root_serves
from tracker.errors import Conflict, UsageError

ROOT, ROOT_KEY = "root.pem", "root-key.pem"
LEAF, LEAF_KEY = "bench.pem", "bench-key.pem"


@dataclass(frozen=True, kw_only=True)
class Certificates:
    """What the server is started with. ``new_root``: tablets have to be asked; ``root_der`` is public."""

    chain: Path
    key: Path
    root: Path
    root_der: bytes
    fingerprint: str
    new_root: bool

    def words(self, trust: str) -> str:
        """``trust``: the address of the page that gives the root out."""
        first = "A root certificate was made" if self.new_root else "The root certificate is the one made before"
        return "\n".join(
            (
                f"{first}; tablets warn until they trust it. Open {trust} on each, or carry over {self.root}.",
                f"Compare before you trust it, SHA-256: {self.fingerprint}",
            )
        )


def folder_beside(kitchen: Path | None) -> Path:
    """Raises UsageError for a kitchen that is no file."""
    if kitchen is None:
        raise UsageError(
            "A kitchen on a database server has no folder beside it for keys.",
            where="--tls",
            try_this="--tls-cert and --tls-key with a certificate of your own",
        )
    return kitchen.with_name(f"{kitchen.name}.keys")


def certificates_in(folder: Path, hosts: Sequence[str], *, now: datetime) -> Certificates:
    """The certificates for ``hosts`` (without ports), made or renewed where that is needed.

    Raises Conflict when the folder cannot be used.
    """
    hosts = tuple(dict.fromkeys(hosts))
    try:
        _make_private(folder)
        root = _read(folder, ROOT, ROOT_KEY)
        new_root = root is None or not root_serves(root, hosts, now=now)
        if root is None or new_root:
            root = make_root(hosts, now=now)
            _write(folder / ROOT_KEY, root.key)
            _write(folder / ROOT, root.certificate)
        leaf = _read(folder, LEAF, LEAF_KEY)
        if leaf is None or not leaf_serves(leaf, root, hosts, now=now):
            leaf = make_leaf(root, hosts, now=now)
            _write(folder / LEAF_KEY, leaf.key)
            _write(folder / LEAF, leaf.certificate + root.certificate)
    except OSError as error:
        raise Conflict(
            f"The folder for the keys cannot be used: {error.strerror or error}.",
            where=str(folder),
            try_this="check who owns it, or move it away: it is made again, and tablets have to trust it again",
        ) from None
    return Certificates(
        chain=folder / LEAF,
        key=folder / LEAF_KEY,
        root=folder / ROOT,
        root_der=as_der(root.certificate),
        fingerprint=fingerprint(root.certificate),
        new_root=new_root,
    )


def _make_private(folder: Path) -> None:
    folder.mkdir(mode=0o700, exist_ok=True)
    if folder.is_symlink():
        raise NotADirectoryError(None, "it is a link to somewhere else")
    if os.name != "nt":  # there a folder is as private as the one it lies in
        folder.chmod(0o700)


def _read(folder: Path, certificate: str, key: str) -> Pair | None:
    try:
        return Pair(certificate=(folder / certificate).read_bytes(), key=(folder / key).read_bytes())
    except FileNotFoundError:
        return None


def _write(path: Path, content: bytes) -> None:
    """Whole or not at all, and never readable by others, not for a moment."""
    fresh = path.with_name(f".{path.name}.{token_hex(4)}")
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with open(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(path)
    except BaseException:
        fresh.unlink(missing_ok=True)
        raise
