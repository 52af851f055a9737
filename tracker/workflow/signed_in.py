"""Which tablet is this, and who stands at it?

A tablet is known by one secret, the person at it by another. Both are kept as SHA-256
hashes, so that whoever reads the database cannot sign in with what is written there; a
secret of 256 random bits needs no slow hash.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from secrets import token_urlsafe

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from tracker.bench_tables import sessions
from tracker.prepared import Prepared
from tracker.store import Store, as_stamp
from tracker.taste_tables import tasters

TABLET_LASTS = timedelta(days=90)
SHIFT_LASTS = timedelta(hours=16)
IDLE = timedelta(hours=3)
_SEEN_EVERY = timedelta(minutes=1)
# Asked by every request.
_STANDS = Prepared(
    select(sessions).where((sessions.c.token_hash == bindparam("hash")) & (sessions.c.kind == bindparam("of")))
)


@dataclass(frozen=True, kw_only=True)
class Standing:
    """``person`` is None for a tablet.

    ``due``: that it was seen is to be noted (``saw``); ``until``: so long nothing of this changes by itself.
    """

    kind: str
    person: int | None
    due: bool
    until: datetime


def begin(store: Store, kind: str, person: int | None) -> str:
    """A new secret for the cookie; ``kind`` is "device" or "person"."""
    token = token_urlsafe(32)
    now = store.now()
    lasts = TABLET_LASTS if kind == "device" else SHIFT_LASTS
    row = {
        "token_hash": _hash(token),
        "kind": kind,
        "person_id": person,
        "made_at": as_stamp(now),
        "seen_at": as_stamp(now),
        "ends_at": as_stamp(now + lasts),
    }
    change_outside_the_record(
        store, delete(sessions).where(sessions.c.ends_at < as_stamp(now)), insert(sessions).values(**row)
    )
    return token


def standing_at(store: Store, kind: str, token: str) -> Standing | None:
    """Whose secret is this? None when it is unknown, over, or was not used for too long."""
    with store.ask() as connection:
        found = standing_in(connection, kind, token, store.now())
    if found is not None and found.due:
        saw(store, token)
    return found


def saw(store: Store, token: str) -> None:
    """This secret was used now."""
    was = update(sessions).where(sessions.c.token_hash == _hash(token))
    change_outside_the_record(store, was.values(seen_at=store.stamp()))


def standing_in(connection: Connection, kind: str, token: str, now: datetime) -> Standing | None:
    """The same within a transaction that asks other things too; if ``due``, ``saw`` is called when it is closed."""
    if not token or len(token) > 100:
        return None
    row = _STANDS.first(connection, hash=_hash(token), of=kind)
    if row is None or row.ends_at < as_stamp(now):
        return None
    seen = datetime.fromisoformat(row.seen_at)
    if kind == "person" and now - seen > IDLE:
        return None
    until = min(seen + _SEEN_EVERY, datetime.fromisoformat(row.ends_at))
    return Standing(kind=kind, person=row.person_id, due=now - seen > _SEEN_EVERY, until=until)


def end(store: Store, token: str) -> None:
    """This secret opens nothing any more."""
    change_outside_the_record(store, delete(sessions).where(sessions.c.token_hash == _hash(token)))


def end_all(store: Store) -> None:
    """Every tablet and everybody is signed out, assessors too."""
    change_outside_the_record(store, delete(sessions), delete(tasters))


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def change_outside_the_record(store: Store, *statements: object) -> None:
    """Sessions are no part of the record: they change without an entry."""
    if store.joined is not None:  # within a transaction of the writer
        for statement in statements:
            store.joined.execute(statement)  # type: ignore[call-overload]
        return
    with store.turn() as connection:
        for statement in statements:
            connection.execute(statement)  # type: ignore[call-overload]
