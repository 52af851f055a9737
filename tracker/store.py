"""How does anything get into the record, and out of it?

The only place where a database session opens. Every write is one transaction that holds
the rows and their audit entries; if anything fails, nothing is stored. Writers take turns
(``BEGIN IMMEDIATE`` on SQLite, an advisory lock on PostgreSQL), so that the chain of audit
entries cannot fork. Readers see one state for as long as their session lasts; on SQLite a
writer waits for them at its commit, so compute after the session is closed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import cache
from types import TracebackType
from typing import Any, Self, TypeVar

from sqlalchemy import Connection, Engine, event, insert
from sqlmodel import Session, SQLModel, select

from tracker.audit import FIRST_PREVIOUS_HASH, canonical, entry_hash, row_content, row_key, settle
from tracker.databases import Place, default_name, engine_for, for_reading, for_writing, place_of, take_turn
from tracker.errors import NotFound
from tracker.models import AuditEntry, Kitchen, Person, PersonDetails
from tracker.refusals import in_words

Row = TypeVar("Row", bound=SQLModel)


def utc_now() -> datetime:
    return datetime.now(UTC)


def as_stamp(moment: datetime) -> str:
    """RFC 3339 text in UTC with microseconds: 2026-11-25T09:30:00.000000Z."""
    return moment.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


@cache
def version() -> str:
    """The installed version, kept with every audit entry."""
    from importlib.metadata import PackageNotFoundError
    from importlib.metadata import version as of

    try:
        return of("crumbwise")
    except PackageNotFoundError:  # run from a bare copy of the source
        return "unknown"


class Deed:
    """One transaction: rows come in through ``add``, each with its audit entry.

    ``at`` is the moment of the deed as text; give it to the rows that ask for a time.
    """

    def __init__(
        self, session: Session, connection: Connection, *, person: int | None, action: str, reason: str, at: str
    ) -> None:
        self.session = session
        self.at = at
        self._connection = connection
        self._person = None if person is None else int(person)
        self._action, self._reason = action, reason
        self._zone = session.exec(select(Kitchen.zone)).first() or "UTC"
        self._sequence, self._head = _head(session)
        self._expected: set[int] = set()
        self._failed = False

    def add(self, row: Row) -> Row:
        """Store one row; its number is filled in."""
        return self.add_many([row])[0]

    def add_many(self, rows: Iterable[Row]) -> list[Row]:
        """Store rows in this order; their numbers are filled in."""
        added = list(rows)
        for row in added:
            settle(row)
            if isinstance(row, Kitchen):
                self._zone = row.zone  # the first deed of all
        self._failed = True  # until the rows and their entries stand
        self._expected = {id(row) for row in added}
        self.session.add_all(added)
        self.session.flush()
        self._enter([self._draft(row) for row in added])
        self._failed = False
        return added

    def erase_person(self, person: int) -> None:
        """Remove a person's name and health answers; the number and what it recorded stay."""
        row = self.session.get(PersonDetails, person)
        if row is None:
            raise NotFound(f"Person {person} has no details here.", try_this="crumbwise records people list")
        draft = {"table_name": "person_details", "row_id": person, "new": None, "reason": ""}
        self._failed = True
        self._expected = {id(row)}
        self.session.delete(row)
        self.session.flush()
        self._enter([{**draft, "old": canonical(row_content(row))}])
        self._failed = False

    def finish(self) -> None:
        """Called by the store before it commits."""
        if self._failed:  # a caller swallowed the error of an add: half a deed must not stand
            raise RuntimeError("A row of this deed was refused; the whole deed is undone.")
        self.session.flush()

    def _draft(self, row: SQLModel) -> dict[str, Any]:
        replaced = getattr(row, "replaces_id", None)
        old = self.session.get(type(row), replaced) if replaced is not None else None
        return {
            "table_name": row.__tablename__,
            "row_id": row_key(row),
            "old": None if old is None else canonical(row_content(old)),
            "new": canonical(row_content(row)),
            "reason": getattr(row, "reason", ""),
        }

    def _enter(self, drafts: list[dict[str, Any]]) -> None:
        entries = []
        for draft in drafts:
            self._sequence += 1
            entry: dict[str, Any] = {
                **draft,
                "sequence": self._sequence,
                "at": self.at,
                "zone": self._zone,
                "person_id": self._person,
                "action": self._action,
                "reason": self._reason or draft["reason"],
                "version": version(),
                "previous_hash": self._head,
            }
            self._head = entry["hash"] = entry_hash(entry)
            entries.append(entry)
        if entries:
            self._connection.execute(insert(AuditEntry), entries)

    def only_through_add(self, session: Any, context: Any, instances: Any) -> None:
        """Refuse rows that would be stored, changed or removed without an audit entry: our own mistake."""
        for row in (*session.new, *session.deleted, *(row for row in session.dirty if session.is_modified(row))):
            if id(row) not in self._expected:
                raise RuntimeError(f"A row of {row.__tablename__} went past Deed.add.")


def _head(session: Session) -> tuple[int, str]:
    last = session.exec(
        select(AuditEntry.sequence, AuditEntry.hash).order_by(AuditEntry.sequence.desc()).limit(1)  # type: ignore[attr-defined]
    ).first()
    return (0, FIRST_PREVIOUS_HASH) if last is None else (last[0], last[1])


class Store:
    """An open kitchen; close it, or use it as a context manager.

    ``now`` is the clock: a function that gives an aware datetime.
    """

    def __init__(self, place: Place, *, now: Callable[[], datetime] = utc_now) -> None:
        self.place = place
        self.now = now
        self.engine: Engine = engine_for(place)

    def stamp(self) -> str:
        """This moment as the record writes it."""
        return as_stamp(self.now())

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session that sees one state and cannot write."""
        with in_words(self.place.shown), self.engine.connect() as connection:
            for_reading(connection)
            with connection.begin() as transaction, Session(connection, expire_on_commit=False) as session:
                event.listen(session, "before_flush", _refuse_to_flush)
                try:
                    yield session
                finally:
                    transaction.rollback()

    @contextmanager
    def write(self, *, person: int | None, action: str, reason: str = "") -> Iterator[Deed]:
        """One transaction: all of it stands with its audit entries when the block ends, or nothing does.

        ``person`` is the number of who does it (None: the program itself). Raises NotFound for a
        person that is not in the record, Conflict when another program keeps the kitchen locked.
        """
        with in_words(self.place.shown), self.engine.connect() as connection:
            for_writing(connection)
            with connection.begin(), Session(connection, expire_on_commit=False) as session:
                take_turn(connection)
                if person is not None and session.get(Person, int(person)) is None:
                    raise NotFound(
                        f"There is no person {person} in this kitchen.",
                        where=self.place.shown,
                        try_this="crumbwise records people list",
                    )
                deed = Deed(session, connection, person=person, action=action, reason=reason, at=self.stamp())
                event.listen(session, "before_flush", deed.only_through_add)
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


def _refuse_to_flush(session: Any, context: Any, instances: Any) -> None:
    raise RuntimeError("A reading session was asked to write; use Store.write.")


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
