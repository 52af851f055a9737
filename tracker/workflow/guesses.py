"""How often was a PIN or a code tried in vain, and when last?

Kept beside the record, so that starting the bench anew frees no guess. Whom and from where is kept as
a keyed hash only, since an address is personal data and a PIN may have been typed where the name
belongs; what is over is deleted, and the key stays behind when the kitchen is backed up.
"""

from __future__ import annotations

import hmac
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from secrets import token_hex

from sqlalchemy import Connection, delete, insert, select

from tracker.bench_tables import guess_keys, guesses
from tracker.store import Store, as_stamp

REMEMBERED = timedelta(hours=24)
MOST = 10_000  # names that can be tried are endless, the disk is not


@dataclass(frozen=True, kw_only=True)
class Guess:
    """``wrong``: how often so far, at least 1."""

    wrong: int
    last: datetime


Counts = Mapping[str, Guess]


def guesses_at(store: Store, whats: Sequence[str]) -> Counts:
    """What is counted for each of ``whats``; those that never went wrong are missing."""
    with store.ask() as connection:
        return _read(connection, whats)


def recount(store: Store, whats: Sequence[str], decide: Callable[[Counts], Mapping[str, Guess | None]]) -> None:
    """Let ``decide`` see what is counted and say what is from now on (None: nothing), while nobody else counts."""
    with store.turn() as connection:
        changed = decide(_read(connection, whats))
        _forget_over(connection, store.now())
        for what, guess in changed.items():
            about = _hash(_key(connection), what)
            connection.execute(delete(guesses).where(guesses.c.about == about))
            if guess is not None:
                row = {"about": about, "wrong": guess.wrong, "last_at": as_stamp(guess.last)}
                connection.execute(insert(guesses).values(**row))


def forget_old_guesses(store: Store) -> None:
    """When the bench starts: what nobody waits for any more."""
    with store.turn() as connection:
        _forget_over(connection, store.now())


def _read(connection: Connection, whats: Sequence[str]) -> Counts:
    key = connection.execute(select(guess_keys.c.key)).scalar_one_or_none()
    if key is None:
        return {}
    named = {_hash(key, what): what for what in whats}
    rows = connection.execute(select(guesses).where(guesses.c.about.in_(list(named)))).all()
    return {named[row.about]: Guess(wrong=row.wrong, last=datetime.fromisoformat(row.last_at)) for row in rows}


def _key(connection: Connection) -> str:
    key = connection.execute(select(guess_keys.c.key)).scalar_one_or_none()
    if key is None:
        key = token_hex(32)
        connection.execute(insert(guess_keys).values(key=key))
    return str(key)


def _forget_over(connection: Connection, now: datetime) -> None:
    """What is too long ago, and of too many the oldest; with the last of them goes the key."""
    beyond = select(guesses.c.about).order_by(guesses.c.last_at.desc(), guesses.c.about).offset(MOST)
    old = (guesses.c.last_at < as_stamp(now - REMEMBERED)) | guesses.c.about.in_(beyond)
    connection.execute(delete(guesses).where(old))
    if connection.execute(select(guesses.c.about).limit(1)).first() is None:
        connection.execute(delete(guess_keys))


def _hash(key: str, what: str) -> str:
    return hmac.digest(bytes.fromhex(key), what.encode("utf-8", "surrogatepass"), "sha256").hex()
