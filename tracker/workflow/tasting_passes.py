"""How does an assessor come in without a name and a PIN?

By a code for one tasting, typed or read from a card. It is shown once, kept as a hash, and opens nothing but that
tasting until its time is over or the tasting is closed. Neither code nor session is part of the record.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from secrets import choice, token_urlsafe
from typing import TYPE_CHECKING, Any

from sqlalchemy import Row, delete, insert, select, update

from tracker.deeds import Deed
from tracker.errors import Conflict, NotFound
from tracker.models import PersonDetails
from tracker.store import Store, as_stamp
from tracker.taste_tables import passes, tasters
from tracker.workflow.accounts import TASTER, AccountLine
from tracker.workflow.signed_in import change_outside_the_record
from tracker.workflow.tastings import assessors_of, find_tasting, is_open

if TYPE_CHECKING:
    from markupsafe import Markup

# Without signs that are taken for one another on paper: 0 O, 1 I L, 2 Z, 5 S, 8 B. 25 ** 8 codes.
SIGNS = "34679ACDEFGHJKMNPQRTUVWXY"
LENGTH = 8
LASTS = timedelta(hours=12)
IDLE = timedelta(hours=3)
_SEEN_EVERY = timedelta(minutes=1)


@dataclass(frozen=True, kw_only=True)
class Card:
    """What one assessor is given; ``code`` as it is printed, in two halves."""

    person: int
    name: str
    code: str


def make_cards(store: Store, number: int, *, by: int, person: int | None = None) -> tuple[Card, ...]:
    """A new code for every assessor, or for one; their codes made before open nothing any more.

    Raises NotFound, Conflict when the tasting is closed.
    """
    with store.write(person=by, action="make codes") as deed:
        found = find_tasting(deed.session, number)
        if not is_open(deed.session, found):
            raise Conflict("The tasting is closed.", where="tasting", try_this="set up another one")
        listed = [each for each in assessors_of(deed.session, found) if person in (None, each.person)]
        if not listed:
            raise NotFound("This person does not taste here.", where="cards", try_this="one of the list")
        codes = _new_codes(len(listed))
        connection, now = deed.session.connection(), store.now()
        old = (passes.c.tasting_id == number) & passes.c.person_id.in_([each.person for each in listed])
        connection.execute(delete(passes).where(old | (passes.c.ends_at < as_stamp(now))))
        rows = [
            {"code_hash": _hash(code), "person_id": each.person, "tasting_id": number}
            | {"made_at": as_stamp(now), "ends_at": as_stamp(now + LASTS)}
            for code, each in zip(codes, listed, strict=True)
        ]
        if rows:
            connection.execute(insert(passes), rows)
    return tuple(
        Card(person=each.person, name=each.name, code=f"{code[:4]}-{code[4:]}")
        for code, each in zip(codes, listed, strict=True)
    )


def _new_codes(count: int) -> Sequence[str]:
    made: set[str] = set()
    while len(made) < count:
        made.add("".join(choice(SIGNS) for _ in range(LENGTH)))
    return tuple(made)


def square_of(address: str) -> Markup:
    """What a camera reads from the card."""
    from reports.codes import code_square

    return code_square(address)


def begin_tasting(store: Store, typed: str) -> str | None:
    """The secret of a session that opens one tasting; None when the code opens nothing (any more)."""
    code = "".join(sign for sign in typed.upper() if sign.isalnum())
    if len(code) != LENGTH:
        return None
    now = as_stamp(store.now())
    with store.read() as session:
        wanted = select(passes).where((passes.c.code_hash == _hash(code)) & (passes.c.ends_at >= now))
        row = session.connection().execute(wanted).one_or_none()
        if row is None or not is_open(session, find_tasting(session, row.tasting_id)):
            return None
    token = token_urlsafe(32)
    new = {"token_hash": _hash(token), "person_id": row.person_id, "tasting_id": row.tasting_id}
    change_outside_the_record(
        store,
        delete(tasters).where(tasters.c.ends_at < now),
        insert(tasters).values(**new, made_at=now, seen_at=now, ends_at=row.ends_at),
    )
    return token


def taster_at(store: Store, token: str) -> AccountLine | None:
    """Whose secret is this, for which tasting? None when it is unknown, over, or was not used for too long."""
    if not token or len(token) > 100:
        return None
    hashed, now = _hash(token), store.now()
    with store.read() as session:
        row: Row[Any] | None = (
            session.connection().execute(select(tasters).where(tasters.c.token_hash == hashed)).one_or_none()
        )
        details = session.get(PersonDetails, row.person_id) if row is not None else None
    if row is None or row.ends_at < as_stamp(now):
        return None
    seen = datetime.fromisoformat(row.seen_at)
    if now - seen > IDLE:
        return None
    if now - seen > _SEEN_EVERY:
        change_outside_the_record(
            store, update(tasters).where(tasters.c.token_hash == hashed).values(seen_at=as_stamp(now))
        )
    name = details.name if details else f"Assessor {row.person_id}"
    return AccountLine(person=row.person_id, name=name, role=TASTER, tasting=row.tasting_id)


def end_tasting(store: Store, token: str) -> None:
    """This secret opens nothing any more; the code still does."""
    change_outside_the_record(store, delete(tasters).where(tasters.c.token_hash == _hash(token)))


def forget_codes(deed: Deed, tasting: int) -> None:
    """What closing takes along. Sessions stay, so that a tablet whose answer comes too late is told so."""
    deed.session.connection().execute(delete(passes).where(passes.c.tasting_id == tasting))


def _hash(secret: str) -> str:
    return hashlib.sha256(f"crumbwise tasting|{secret}".encode()).hexdigest()
