"""Which database is meant, is it ours, and is it set as it must be?

A place is a file (SQLite) or an address (PostgreSQL). Engines made here begin every
writing transaction so that writers take turns, and hand each connection out only after
its settings were read back.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, QueuePool, create_engine, event, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from tracker.errors import Conflict, IntegrityError, NotFound, UsageError
from tracker.settings import APPLICATION_ID, BUSY_SECONDS, sqlite_settings

_HEAD = b"SQLite format 3\x00"
_WRITES = "crumbwise_writes"
_SEES_COMMITTED = r"default_transaction_isolation=read\ committed"
KEPT_OPEN = 40
_ROOM = "crumbwise_usual_cache_size"
ROOM_KIB = 65_536


@dataclass(frozen=True)
class Place:
    """``path`` for SQLite, ``url`` for PostgreSQL; ``shown`` is fit for a message (no password)."""

    shown: str
    path: Path | None = None
    url: URL | None = None


def place_of(where: str) -> Place:
    """Read a path or a URL as it was typed."""
    if "://" not in where:
        return _file_place(where)
    try:
        url = make_url(where)
    except ArgumentError:
        raise UsageError(f'"{where}" is not an address of a database.', try_this=_EXAMPLE) from None
    kind = url.drivername.partition("+")[0]
    if kind == "sqlite":
        return _file_place(url.database or "")
    if kind not in ("postgresql", "postgres"):
        raise UsageError(f'Kitchens are kept in SQLite or PostgreSQL, not in "{kind}".', try_this=_EXAMPLE)
    url = url.set(drivername="postgresql+psycopg")
    return Place(shown=url.set(drivername="postgresql").render_as_string(hide_password=True), url=url)


_EXAMPLE = "--kitchen kitchen.db, or --kitchen postgresql://user@host/database"


def _file_place(name: str) -> Place:
    if not name.strip() or name == ":memory:" or "\x00" in name:
        raise UsageError("A kitchen needs the path of a file.", try_this=_EXAMPLE)
    return Place(shown=name, path=Path(name))


def default_name(place: Place) -> str:
    """What a kitchen is called when nobody named it: after its file or database."""
    if place.path is not None:
        return place.path.stem
    return (place.url.database if place.url else None) or "kitchen"


def require_ours(place: Place) -> None:
    """Refuse a file that is missing, not SQLite, or another program's; looks at its first 100 bytes only."""
    assert place.path is not None
    head = _first_bytes(place, place.path)
    if not head:
        raise Conflict("The file is empty; it is no kitchen.", where=place.shown, try_this="another path, or remove it")
    if not head.startswith(_HEAD) or len(head) < 100:
        raise Conflict("The file is no kitchen (not a database).", where=place.shown, try_this="check the path")
    if int.from_bytes(head[68:72], "big") != APPLICATION_ID:
        raise Conflict("The file is another program's database.", where=place.shown, try_this="check the path")


def _first_bytes(place: Place, path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(100)
    except FileNotFoundError:
        raise NotFound(
            "There is no kitchen here.",
            where=place.shown,
            try_this="check the path after --kitchen; crumbwise trial plan PLAN.toml makes a new kitchen",
        ) from None
    except IsADirectoryError:
        raise Conflict(
            "This is a folder, not a kitchen.", where=place.shown, try_this=f"--kitchen {path / 'kitchen.db'}"
        ) from None
    except OSError as error:
        raise Conflict(
            f"The file cannot be read ({error.strerror}).", where=place.shown, try_this="check its rights"
        ) from None


def engine_for(place: Place) -> Engine:
    """An engine whose connections are set and checked; it never makes a file."""
    return _sqlite_engine(place.path, place.shown) if place.path is not None else _postgres_engine(place)


def _sqlite_engine(path: Path, shown: str) -> Engine:
    address = f"{path.absolute().as_uri()}?mode=rw"

    def connect() -> sqlite3.Connection:
        # isolation_level=None: the driver begins nothing by itself, the "begin" event below does.
        return sqlite3.connect(
            address, uri=True, isolation_level=None, check_same_thread=False, timeout=float(BUSY_SECONDS)
        )

    # As many as threads that serve pages: one more than the pool keeps would be opened, set and closed each time.
    engine = create_engine("sqlite+pysqlite://", creator=connect, poolclass=QueuePool, pool_size=KEPT_OPEN)

    @event.listens_for(engine, "connect")
    def settle(connection: Any, record: Any) -> None:
        apply_sqlite_settings(connection, shown)

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get(_WRITES, False)
        connection.exec_driver_sql(f"PRAGMA query_only={'OFF' if writes else 'ON'}")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def apply_sqlite_settings(connection: sqlite3.Connection, shown: str) -> None:
    """Set every pragma of our table and read it back; raises IntegrityError when one did not take."""
    for setting in sqlite_settings():
        connection.execute(f"PRAGMA {setting.name}={setting.value}")
        answer = connection.execute(f"PRAGMA {setting.name}").fetchone()[0]
        if answer != setting.value:
            raise IntegrityError(
                f"SQLite did not take the setting {setting.name}={setting.value} (it says {answer}).",
                where=shown,
                try_this="use a plain build of SQLite and a local disk",
            )


def _postgres_engine(place: Place) -> Engine:
    assert place.url is not None
    try:
        # Names of time zones and the order of texts never come from the server: stored times are UTC text,
        # and what is sorted is sorted by number or in Python.
        # However the server is set: a backslash is a backslash (some values stand in a statement itself), and whoever
        # waited for a turn to write sees what was written meanwhile.
        settled = f"lock_timeout={BUSY_SECONDS}s", "standard_conforming_strings=on", _SEES_COMMITTED
        options = " ".join(f"-c {each}" for each in settled)
        return create_engine(place.url, connect_args={"options": options})
    except ModuleNotFoundError:
        raise UsageError(
            "PostgreSQL needs the driver psycopg, which is not installed.",
            where=place.shown,
            try_this="pip install 'crumbwise[postgres]'",
        ) from None


def for_writing(connection: Connection) -> Connection:
    """Mark a connection, before its transaction begins, as one that takes its turn to write."""
    return connection.execution_options(**{_WRITES: True})


def take_turn(connection: Connection) -> None:
    """PostgreSQL: wait until no other transaction writes this kitchen (SQLite waited in BEGIN IMMEDIATE).

    Without it two writers could read the same last audit entry; the second would be refused.
    """
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": APPLICATION_ID})


def give_room(connection: Connection) -> None:
    """SQLite: keep the pages of a large deed in memory until its end, instead of writing some of them in its middle."""
    if connection.dialect.name == "sqlite" and _ROOM not in connection.info:
        connection.info[_ROOM] = connection.exec_driver_sql("PRAGMA cache_size").scalar()
        connection.exec_driver_sql(f"PRAGMA cache_size=-{ROOM_KIB}")


def take_room_back(connection: Connection) -> None:
    """The usual size again; the pages go when they are committed."""
    usual = connection.info.pop(_ROOM, None)
    if usual is not None:
        connection.exec_driver_sql(f"PRAGMA cache_size={usual}")


def for_reading(connection: Connection) -> Connection:
    """Mark a connection as one that sees one state throughout and changes nothing."""
    if connection.dialect.name == "postgresql":
        return connection.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
    return connection
