"""Was this entry kept already?

A tablet makes a key for each entry and sends it again until it is answered. The key is
written in the same transaction as the entry, so that neither can stand without the other:
however often and in whatever order an entry arrives, it is recorded once.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from typing import Generic, TypeVar

from sqlalchemy import Connection, bindparam, delete, select, text
from sqlmodel import Session

from tracker.bench_tables import keys
from tracker.deeds import Deed, chain_of
from tracker.errors import InputError
from tracker.prepared import Prepared
from tracker.store import Store, as_stamp
from tracker.workflow.signed_in import change_outside_the_record

T = TypeVar("T")
# Made once: building a statement takes longer than running it.
_STANDS = Prepared(select(keys).where(keys.c.key == bindparam("wanted")))
_KEEP = Prepared(
    text(
        'INSERT INTO bench_key ("key", payload_hash, person_id, at) VALUES (:key, :payload_hash, :person_id, :at) '
        'ON CONFLICT ("key") DO NOTHING'
    )
)
KEPT = timedelta(days=90)
LONGEST = 80


@dataclass(frozen=True, kw_only=True)
class Kept(Generic[T]):
    """``at``: when it was recorded; ``again``: it stood already, and ``result`` is None."""

    at: str
    again: bool
    result: T | None


class KeyUsed(InputError):
    """The same key came with something else in it."""


class _Already(Exception):
    def __init__(self, at: str) -> None:
        self.at = at


class OnceStore(Store):
    """A store whose first write also keeps the key of the entry; until then whoever asks it learns what was kept."""

    def __init__(self, store: Store, key: str, digest: str, person: int) -> None:
        self.place, self.now, self.engine, self.joined = store.place, store.now, store.engine, store.joined
        self._under, self._key, self._digest, self._person = store, key, digest, person
        self.at = ""

    @contextmanager
    def ask(self) -> Iterator[Connection]:
        with self._under.ask() as connection:
            if not self.at:
                self._refuse_again(connection)
            yield connection

    @contextmanager
    def read(self) -> Iterator[Session]:
        with self._under.read() as session:
            if not self.at:
                self._refuse_again(session.connection())
            yield session

    @contextmanager
    def write(self, *, person: int | None, action: str, reason: str = "") -> Iterator[Deed]:
        with self._under.write(person=person, action=action, reason=reason) as deed:
            if not self.at:
                connection = deed.session.connection()
                row = {"key": self._key, "payload_hash": self._digest, "person_id": self._person, "at": deed.at}
                if not _KEEP.run(connection, row).rowcount:
                    self._refuse_again(connection)
            yield deed
        self.at = self.at or deed.at

    def _refuse_again(self, connection: Connection) -> None:
        before = _look(connection, self._key, self._digest)
        if before is not None:
            raise _Already(before)

    def close(self) -> None:
        """The store below stays open."""


def do_once(
    store: Store, key: str, payload: Sequence[tuple[str, str]], person: int, deed: Callable[[Store], T]
) -> Kept[T]:
    """Do ``deed`` unless the entry ``key`` was kept before; a deed that fails leaves the key free.

    Raises InputError for a key that is missing or came with another payload before.
    """
    key = key.strip()
    if not 8 <= len(key) <= LONGEST:
        raise InputError("The entry came without its key.", where="this page", try_this="load the page again")
    once = OnceStore(store, key, _digest(payload, person), person)
    try:
        result = deed(once)
    except _Already as stands:
        return Kept(at=stands.at, again=True, result=None)
    return Kept(at=once.at or store.stamp(), again=False, result=result)


def head_in(connection: Connection) -> str:
    """The last entry of the audit chain: the same as long as nothing was entered."""
    return chain_of(connection).head


def forget_old_keys(store: Store) -> None:
    """Keys of entries that no tablet can still be waiting for."""
    change_outside_the_record(store, delete(keys).where(keys.c.at < as_stamp(store.now() - KEPT)))


def _look(connection: Connection, key: str, digest: str) -> str | None:
    row = _STANDS.first(connection, wanted=key)
    if row is None:
        return None
    if row.payload_hash != digest:
        raise KeyUsed(
            "This entry was recorded already, with something else in it.",
            where="this page",
            try_this="load the page again and look at what stands",
        )
    return str(row.at)


def _digest(payload: Sequence[tuple[str, str]], person: int) -> str:
    told = "\x1e".join(f"{name}\x1f{value}" for name, value in sorted(payload))
    return hashlib.sha256(f"{person}\x1d{told}".encode()).hexdigest()
