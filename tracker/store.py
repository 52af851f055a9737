"""How does anything get into the record, and out of it?

The only place where a database session opens. Every write is one transaction that holds
the rows and their audit entries; if anything fails, nothing is stored. Writers take turns
(``BEGIN IMMEDIATE`` on SQLite, an advisory lock on PostgreSQL), so that the chain of audit
entries cannot fork. Readers see one state for as long as their session lasts; on SQLite a
writer waits for them at its commit, so compute after the session is closed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from types import TracebackType
from typing import Self

from sqlalchemy import Connection, Engine
from sqlmodel import Session, select

from tracker.databases import Place, default_name, engine_for, for_reading, for_writing, place_of, take_turn
from tracker.deeds import Deed, ReadingSession, WritingSession, version
from tracker.errors import NotFound
from tracker.models import Kitchen, Person
from tracker.refusals import in_words


def utc_now() -> datetime:
    return datetime.now(UTC)


def as_stamp(moment: datetime) -> str:
    """RFC 3339 text in UTC with microseconds: 2026-11-25T09:30:00.000000Z."""
    return moment.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


class Store:
    """An open kitchen; close it, or use it as a context manager.

    ``now`` is the clock: a function that gives an aware datetime. ``joined`` is the connection of a transaction
    that is open already, where many deeds share one (``workflow.grouped``).
    """

    joined: Connection | None = None

    def __init__(self, place: Place, *, now: Callable[[], datetime] = utc_now) -> None:
        self.place = place
        self.now = now
        self.engine: Engine = engine_for(place)

    def stamp(self) -> str:
        """This moment as the record writes it."""
        return as_stamp(self.now())

    @contextmanager
    def ask(self) -> Iterator[Connection]:
        """A connection that sees one state and cannot write, for prepared statements."""
        with in_words(self.place.shown), self.engine.connect() as connection:
            for_reading(connection)
            with connection.begin() as transaction:
                try:
                    yield connection
                finally:
                    transaction.rollback()

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session that sees one state and cannot write."""
        with self.ask() as connection, ReadingSession(connection, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def turn(self) -> Iterator[Connection]:
        """A transaction that took its turn to write. By itself it is for what is no part of the record."""
        with in_words(self.place.shown), self.engine.connect() as connection:
            for_writing(connection)
            with connection.begin():
                take_turn(connection)
                yield connection

    @contextmanager
    def write(self, *, person: int | None, action: str, reason: str = "") -> Iterator[Deed]:
        """One transaction: all of it stands with its audit entries when the block ends, or nothing does.

        ``person`` is the number of who does it (None: the program itself). Raises NotFound for a
        person that is not in the record, Conflict when another program keeps the kitchen locked.
        """
        with self.turn() as connection, WritingSession(connection, expire_on_commit=False) as session:
            if person is not None and session.get(Person, int(person)) is None:
                raise NotFound(
                    f"There is no person {person} in this kitchen.",
                    where=self.place.shown,
                    try_this="crumbwise records people list",
                )
            deed = Deed(session, connection, person=person, action=action, reason=reason, at=self.stamp())
            yield deed
            deed.finish()

    def close(self) -> None:
        self.engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def open_kitchen(
    where: str,
    *,
    create: bool = False,
    name: str = "",
    zone: str | None = None,
    invented: bool = False,
    now: Callable[[], datetime] = utc_now,
) -> Store:
    """Open the kitchen at ``where`` (path or URL), bringing its tables to the newest version.

    With ``create`` a missing kitchen is made: ``name`` (of the file or database when left out),
    ``zone`` (an IANA name; UTC when left out) and ``invented`` (no real bakes in it) describe it,
    and person 1 stands in it. Raises NotFound when there is none, Conflict when something else is
    there, when its tables are newer than this program, or when it stays locked.
    """
    from tracker.opening import ready

    place = place_of(where)
    row = Kitchen(
        name=name or default_name(place), zone=zone or "UTC", made_at="", made_with=version(), invented=invented
    )
    with in_words(place.shown):
        ready(place, (lambda fresh: _found(fresh, row, now)) if create else None)
        return Store(place, now=now)


def _found(place: Place, kitchen: Kitchen, now: Callable[[], datetime]) -> None:
    """Write the first rows, the kitchen itself and person 1, unless they stand already."""
    with Store(place, now=now) as store, store.write(person=None, action="found the kitchen") as deed:
        if deed.session.exec(select(Kitchen)).first() is None:
            kitchen.made_at = deed.at
            deed.add_many([kitchen, Person(made_at=deed.at)])
