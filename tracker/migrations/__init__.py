"""Which version of the tables does a database hold, and how does it reach the newest?

``VERSIONS`` is read without Alembic, which is loaded only when there is something to do.
A migration backs a filled SQLite file up first, then runs in one transaction: the file
holds the old tables or the new ones, never half of both.
"""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, text

from tracker.backups import copy_beside
from tracker.databases import Place, engine_for, for_writing, take_turn
from tracker.errors import IntegrityError, NewerTables

FOLDER = Path(__file__).parent
VERSIONS = ("0001", "0002", "0003", "0004", "0005", "0006", "0007")
NEWEST = VERSIONS[-1]


def version_of(connection: Connection) -> str | None:
    """The version of the tables in this database; None when there are none of ours."""
    catalogue = (
        "SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = 'alembic_version'"
        if connection.dialect.name == "sqlite"
        else "SELECT count(*) FROM pg_catalog.pg_tables"
        " WHERE tablename = 'alembic_version' AND schemaname = current_schema()"
    )
    if not connection.execute(text(catalogue)).scalar_one():
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one_or_none()


def holds_tables(connection: Connection) -> bool:
    """Is there any table in this database?"""
    catalogue = (
        "SELECT count(*) FROM sqlite_master WHERE type = 'table'"
        if connection.dialect.name == "sqlite"
        else "SELECT count(*) FROM pg_catalog.pg_tables WHERE schemaname = current_schema()"
    )
    return bool(connection.execute(text(catalogue)).scalar_one())


def require_known(version: str | None, shown: str, known: tuple[str, ...] = VERSIONS) -> None:
    """Refuse tables of a newer Crumbwise."""
    if version is not None and version not in known:
        raise NewerTables(
            f"This kitchen was made by a newer Crumbwise (tables of version {version}; this one knows {known[-1]}).",
            where=shown,
            try_this="install the newer Crumbwise; the kitchen was not touched",
        )


def upgrade(place: Place, *, folder: Path = FOLDER, versions: tuple[str, ...] = VERSIONS) -> Path | None:
    """Bring the tables of ``place`` to the newest version; returns where the backup lies, if one was needed.

    Raises Conflict for tables of a newer Crumbwise, IntegrityError when rows would be lost or left dangling.
    """
    engine = engine_for(place)
    try:
        with engine.connect() as connection:
            before = version_of(connection)
        require_known(before, place.shown, versions)
        if before == versions[-1]:
            return None
        backup = copy_beside(place.path, f"before-{versions[-1]}") if before and place.path else None
        with for_writing(engine.connect()) as connection:
            _in_one_transaction(connection, place, folder, versions)
        return backup
    finally:
        engine.dispose()


def _in_one_transaction(connection: Connection, place: Place, folder: Path, versions: tuple[str, ...]) -> None:
    sqlite = connection.dialect.name == "sqlite"
    if sqlite:  # the pragma is ignored inside a transaction, and a rebuilt table must not take its children along
        connection.connection.execute("PRAGMA foreign_keys=OFF")
    with connection.begin():
        take_turn(connection)
        if version_of(connection) == versions[-1]:  # another process was faster
            return
        before = _counts(connection)
        _run_alembic(connection, folder)
        after = _counts(connection)
        lost = [name for name in before if after.get(name) != before[name]]
        dangling = connection.execute(text("PRAGMA foreign_key_check")).all() if sqlite else []
        if lost or dangling:
            raise IntegrityError(
                f"The migration would lose rows of {', '.join(lost) or 'linked tables'}; it was undone.",
                where=place.shown,
                try_this="report this; the kitchen is as it was",
            )


def _counts(connection: Connection) -> dict[str, int]:
    from sqlalchemy import inspect

    names = [name for name in inspect(connection).get_table_names() if name != "alembic_version"]
    quoted = connection.dialect.identifier_preparer.quote
    return {
        name: connection.execute(text(f"SELECT count(*) FROM {quoted(name)}")).scalar_one()  # noqa: S608
        for name in names
    }


def _run_alembic(connection: Connection, folder: Path) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(folder).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
