"""How does a row get into the record together with its audit entry?

A deed is one transaction: what comes in through it is stored and entered in the chain of audit entries, or nothing is.
Sessions refuse what would go past it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, TypeVar

from sqlalchemy import Connection, Table, event, func, insert, text
from sqlalchemy.orm import make_transient_to_detached
from sqlalchemy.orm.attributes import set_committed_value
from sqlmodel import Session, SQLModel, select

from tracker.audit import (
    FIRST_PREVIOUS_HASH,
    canonical,
    content_of,
    entry_hash,
    row_content,
    row_key,
    settle,
    settled_columns,
)
from tracker.chaining import Columns, contents_of, entries_of, write_columns
from tracker.databases import take_room_back
from tracker.errors import NotFound
from tracker.models import AuditEntry, Kitchen, PersonDetails, PhotoContent
from tracker.prepared import NewRow, Prepared

Row = TypeVar("Row", bound=SQLModel)


@cache
def version() -> str:
    """The installed version, kept with every audit entry."""
    from importlib.metadata import PackageNotFoundError
    from importlib.metadata import version as of

    try:
        return of("crumbwise")
    except PackageNotFoundError:  # run from a bare copy of the source
        return "unknown"


@dataclass(frozen=True)
class Chain:
    """The last audit entry, which the next one follows; ``zone`` is the kitchen's."""

    zone: str
    sequence: int
    head: str


# Statements of every deed, made once: building one takes longer than running it.
_ENTRIES = AuditEntry.__table__  # type: ignore[attr-defined]
_LAST = Prepared(select(_ENTRIES.c.sequence, _ENTRIES.c.hash).order_by(_ENTRIES.c.sequence.desc()).limit(1))
_ZONE = Prepared(select(Kitchen.__table__.c.zone))  # type: ignore[attr-defined]
_ENTER = Prepared(insert(_ENTRIES))


class _JoinedSession(Session):
    """Of a connection whose transaction is open already: it is the one to ask, whatever the session did so far."""

    def connection(self, *given: Any, **options: Any) -> Connection:
        return self.bind if isinstance(self.bind, Connection) else super().connection(*given, **options)


class ReadingSession(_JoinedSession):
    """Stores nothing."""


class WritingSession(_JoinedSession):
    """Stores what comes through its deed; ``info[DEED]``."""


DEED = "the deed of a session"


@event.listens_for(ReadingSession, "before_flush")
def _refuse_to_flush(session: Any, context: Any, instances: Any) -> None:
    """A reading session stores nothing: our own mistake."""
    raise RuntimeError("A reading session was asked to write; use Store.write.")


@event.listens_for(WritingSession, "before_flush")
def _only_through_add(session: Any, context: Any, instances: Any) -> None:
    session.info[DEED].only_through_add(session)


class Deed:
    """One transaction: rows come in through ``add``, each with its audit entry.

    ``at`` is the moment of the deed as text; give it to the rows that ask for a time. ``shared``: other deeds stand in
    the same transaction.
    """

    def __init__(
        self,
        session: Session,
        connection: Connection,
        *,
        person: int | None,
        action: str,
        reason: str,
        at: str,
        chain: Chain | None = None,
        shared: bool = False,
    ) -> None:
        self.session = session
        session.info[DEED] = self
        self.at = at
        self.chain = chain or chain_of(connection)
        self._connection = connection
        self._person = None if person is None else int(person)
        self._action, self._reason = action, reason
        self._shared = shared
        self._expected: set[int] = set()
        self._entries: list[dict[str, Any]] = []
        self._failed = False

    def add(self, row: Row) -> Row:
        """Store one row; its number is filled in.

        The same as ``add_many([row])`` without the session's unit of work, which takes three times as long.
        """
        settle(row)
        if isinstance(row, Kitchen):
            self.chain = replace(self.chain, zone=row.zone)  # the first deed of all
        self._failed = True
        self.session.flush()  # nothing may have gone past us
        _insert(self._connection, row)
        make_transient_to_detached(row)
        self.session.add(row)
        self._enter([self._draft(row)])
        self._failed = False
        return row

    def add_row(self, table: type[SQLModel], **values: Any) -> int:
        """Store one row told by its columns; its number. A third of the time that ``add`` takes."""
        row = settled_columns(table, values)
        replaced = row.get("replaces_id")
        old = self.session.get(table, replaced) if replaced is not None else None
        self._failed = True
        self.session.flush()
        number = _new(table.__table__).store(self._connection, row)  # type: ignore[attr-defined]
        self._enter([_drafted(table, number, content_of(table, {"id": number, **row}), old)])
        self._failed = False
        return number

    def add_many(self, rows: Iterable[Row]) -> list[Row]:
        """Store rows in this order; their numbers are filled in."""
        added = list(rows)
        for row in added:
            settle(row)
            if isinstance(row, Kitchen):
                self.chain = replace(self.chain, zone=row.zone)  # the first deed of all
        self._failed = True  # until the rows and their entries stand
        self._expected = {id(row) for row in added}
        with self._taken_back_alone():
            self.session.add_all(added)
            self.session.flush()
        self._enter([self._draft(row) for row in added])
        self._failed = False
        return added

    def add_rows(self, table: type[SQLModel], columns: Columns) -> list[int]:
        """Store many rows of one table in this order; their numbers.

        In ``columns`` a list has one value for each row, anything else stands in every row. The same as ``add_many``
        without an object for each row, in a twentieth of the time. For rows that replace no other.
        """
        (count,) = {len(values) for values in columns.values() if isinstance(values, list)}
        settled = settled_columns(table, columns)
        if not count:
            return []
        if settled.get("replaces_id") is not None:
            raise RuntimeError("What replaces another row goes through Deed.add, which keeps the old one.")
        self._failed = True
        self.session.flush()
        numbers = _next_numbers(self._connection, table.__table__, count)  # type: ignore[attr-defined]
        whole = {"id": numbers, **settled}
        write_columns(self._connection, table.__table__, whole, count)  # type: ignore[attr-defined]
        self._enter_rows(str(table.__tablename__), whole)
        self._failed = False
        return numbers

    def _enter_rows(self, table: str, rows: Columns) -> None:
        """The entries of many new rows of one table, behind those that wait."""
        self._write_entries()
        entry = {
            "at": self.at,
            "zone": self.chain.zone,
            "person_id": self._person,
            "action": self._action,
            "table_name": table,
            "row_id": rows["id"],
            "old": None,
            "new": contents_of(rows),
            "reason": self._reason or rows.get("reason", ""),
            "version": version(),
        }
        entries = entries_of(entry, sequence=self.chain.sequence, head=self.chain.head)
        write_columns(self._connection, _ENTRIES, entries, len(rows["id"]))
        self.chain = replace(self.chain, sequence=entries["sequence"][-1], head=entries["hash"][-1])

    def erase_person(self, person: int) -> None:
        """Remove a person's name and health answers; the number and what it recorded stay."""
        row = self.session.get(PersonDetails, person)
        if row is None:
            raise NotFound(f"Person {person} has no details here.", try_this="crumbwise records people list")
        self._remove(row, person)

    def erase_photo(self, content: PhotoContent) -> None:
        """Remove the bytes of a photo whose erasure was added before; its row, its hash and its entries stay."""
        self._remove(content, row_key(content))

    def _remove(self, row: SQLModel, number: int) -> None:
        draft = {"table_name": row.__tablename__, "row_id": number, "new": None, "reason": ""}
        self._failed = True
        self._expected = {id(row)}
        with self._taken_back_alone():
            self.session.delete(row)
            self.session.flush()
        self._enter([{**draft, "old": canonical(row_content(row))}])
        self._failed = False

    @contextmanager
    def _taken_back_alone(self) -> Iterator[None]:
        """A flush that fails rolls back all that the session joined: not the deeds that share the transaction."""
        if not self._shared:
            yield
            return
        self.session.commit()  # it lets go of the transaction, which stays open, and joins the savepoint instead
        with self._connection.begin_nested():
            yield
            self.session.commit()

    def finish(self) -> None:
        """Called by the store before it commits."""
        if self._failed:  # a caller swallowed the error of an add: half a deed must not stand
            raise RuntimeError("A row of this deed was refused; the whole deed is undone.")
        self.session.flush()
        self._write_entries()
        take_room_back(self._connection)

    def _draft(self, row: SQLModel) -> dict[str, Any]:
        replaced = getattr(row, "replaces_id", None)
        old = self.session.get(type(row), replaced) if replaced is not None else None
        return _drafted(type(row), row_key(row), row_content(row), old)

    def _enter(self, drafts: list[dict[str, Any]]) -> None:
        zone, sequence, head = self.chain.zone, self.chain.sequence, self.chain.head
        for draft in drafts:
            sequence += 1
            entry: dict[str, Any] = {
                **draft,
                "sequence": sequence,
                "at": self.at,
                "zone": zone,
                "person_id": self._person,
                "action": self._action,
                "reason": self._reason or draft["reason"],
                "version": version(),
                "previous_hash": head,
            }
            head = entry["hash"] = entry_hash(entry)
            self._entries.append(entry)
        if len(self._entries) > 500:
            self._write_entries()
        self.chain = Chain(zone=zone, sequence=sequence, head=head)

    def _write_entries(self) -> None:
        """Those of several rows at once; nothing of a deed stands before its end."""
        if self._entries:
            _ENTER.run_many(self._connection, self._entries)
            self._entries = []

    def only_through_add(self, session: Any) -> None:
        """Refuse rows that would be stored, changed or removed without an audit entry: our own mistake."""
        for row in (*session.new, *session.deleted, *(row for row in session.dirty if session.is_modified(row))):
            if id(row) not in self._expected:
                raise RuntimeError(f"A row of {row.__tablename__} went past Deed.add.")


def _drafted(
    table: type[SQLModel], number: int, content: Mapping[str, Any], old: SQLModel | None = None
) -> dict[str, Any]:
    """What an audit entry says of one row, before it is chained."""
    return {
        "table_name": table.__tablename__,
        "row_id": number,
        "old": None if old is None else canonical(row_content(old)),
        "new": canonical(content),
        "reason": content.get("reason", ""),
    }


def chain_of(connection: Connection) -> Chain:
    """Where the chain of audit entries stands in this transaction."""
    last, kitchen = _LAST.first(connection), _ZONE.first(connection)
    zone = kitchen.zone if kitchen else "UTC"
    return Chain(zone=zone, sequence=last.sequence, head=last.hash) if last else Chain(zone, 0, FIRST_PREVIOUS_HASH)


def _insert(connection: Connection, row: SQLModel) -> None:
    """Store a row and fill in the number that the database gave it."""
    table = type(row).__table__  # type: ignore[attr-defined]
    values = {column.key: getattr(row, column.key) for column in table.columns}
    own = table.autoincrement_column
    if own is not None and values[own.key] is None:
        del values[own.key]
        set_committed_value(row, own.key, _new(table).store(connection, values))
    else:
        _inserting(table).run(connection, values)


def _next_numbers(connection: Connection, table: Table, count: int) -> list[int]:
    """The numbers that the database would give to the next rows; nobody else writes in this transaction."""
    if connection.dialect.name == "sqlite":  # rows are never removed, so the next is one more than the last
        last = connection.execute(select(func.max(table.c.id))).scalar() or 0
        return list(range(last + 1, last + count + 1))
    asked = text("SELECT nextval(pg_get_serial_sequence(:name, 'id')) FROM generate_series(1, :count)")
    return sorted(connection.execute(asked, {"name": table.name, "count": count}).scalars())


@cache
def _inserting(table: Table) -> Prepared:
    return Prepared(insert(table))


@cache
def _new(table: Table) -> NewRow:
    return NewRow(table)
