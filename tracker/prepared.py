"""How is the same statement asked thousands of times?

SQLAlchemy's own way of running a statement takes ten times as long as the database does. What every entry of the
bench and every row of a spreadsheet needs is compiled once for each kind of database and then handed to its driver.
The statement stays one of SQLAlchemy, so that both databases are asked the same; errors are the ones it would raise.
"""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Dialect, Insert, Select, Table, TextClause, insert
from sqlalchemy.exc import DBAPIError

Process = Callable[[Any], Any]
Statement = Select[Any] | Insert | TextClause


@dataclass(frozen=True, kw_only=True)
class _Form:
    """One statement for one kind of database; ``places`` are the names of its values where they go by place."""

    sql: str
    places: tuple[str, ...] | None
    usual: dict[str, Any]
    into: dict[str, Process]
    out: tuple[tuple[int, Process], ...]
    row: Callable[[Iterable[Any]], Any]

    def values(self, given: Mapping[str, Any]) -> Any:
        whole = {**self.usual, **given} if self.usual else dict(given)
        for name, process in self.into.items():
            whole[name] = process(whole[name])
        return whole if self.places is None else [whole[name] for name in self.places]

    def made(self, found: Iterable[Any]) -> Any:
        if not self.out:
            return self.row(found)
        cells = list(found)
        for place, process in self.out:
            cells[place] = process(cells[place])
        return self.row(cells)


class Prepared:
    """A statement with its values given by name. Rows that are found have their columns as attributes.

    Of an insert every column that is stored must be given: usual values of a table are filled in elsewhere.
    """

    def __init__(self, statement: Statement, columns: Iterable[str] | None = None) -> None:
        self._statement = statement
        self._columns = None if columns is None else list(columns)
        self._forms: dict[str, _Form] = {}

    def all(self, connection: Connection, **given: Any) -> list[Any]:
        """Every row."""
        form = self._form(connection)
        return [form.made(row) for row in self._run(connection, form, form.values(given)).fetchall()]

    def first(self, connection: Connection, **given: Any) -> Any:
        """The first row, or None."""
        form = self._form(connection)
        row = self._run(connection, form, form.values(given)).fetchone()
        return None if row is None else form.made(row)

    def run(self, connection: Connection, given: Mapping[str, Any]) -> Any:
        """The cursor of the driver: ``rowcount`` and, of SQLite, ``lastrowid``."""
        form = self._form(connection)
        return self._run(connection, form, form.values(given))

    def run_many(self, connection: Connection, rows: Iterable[Mapping[str, Any]]) -> None:
        """The same for each of ``rows``."""
        form = self._form(connection)
        cursor = _cursor(connection)
        try:
            cursor.executemany(form.sql, [form.values(row) for row in rows])
        except _errors(connection) as error:
            raise _wrapped(connection, form.sql, error) from error

    def _run(self, connection: Connection, form: _Form, values: Any) -> Any:
        cursor = _cursor(connection)
        try:
            cursor.execute(form.sql, values)
        except _errors(connection) as error:
            raise _wrapped(connection, form.sql, error) from error
        return cursor

    def _form(self, connection: Connection) -> _Form:
        dialect = connection.dialect
        form = self._forms.get(dialect.name)
        if form is None:
            form = self._forms[dialect.name] = _form_for(self._statement, self._columns, dialect)
        return form


class NewRow:
    """An insert into a table whose ``id`` the database gives."""

    def __init__(self, table: Table) -> None:
        columns = [column.key for column in table.columns if column.key != "id"]
        self._plain = Prepared(insert(table), columns)
        self._answered = Prepared(insert(table).returning(table.c.id), columns)

    def store(self, connection: Connection, values: Mapping[str, Any]) -> int:
        """The number of the new row, of which every other column is given."""
        if connection.dialect.name == "sqlite":  # it tells the number anyway; asking it for the row takes longer
            return int(self._plain.run(connection, values).lastrowid)
        return int(self._answered.first(connection, **values).id)


def plainly(connection: Connection, sql: str) -> None:
    """Run words without values, such as SAVEPOINT."""
    try:
        _cursor(connection).execute(sql)
    except _errors(connection) as error:
        raise _wrapped(connection, sql, error) from error


def _form_for(statement: Statement, columns: list[str] | None, dialect: Dialect) -> _Form:
    compiled = statement.compile(dialect=dialect, column_keys=columns)
    binds = {compiled.bind_names[bind]: bind for bind in compiled.bind_names}
    into = {name: bind.type.dialect_impl(dialect).bind_processor(dialect) for name, bind in binds.items()}
    shown = list(statement.exported_columns) if isinstance(statement, Select | Insert) else []
    # The driver of PostgreSQL gives every kind of value that we store as it is; SQLite knows no yes and no.
    given_back = shown if dialect.name == "sqlite" else []
    out = enumerate(column.type.dialect_impl(dialect).result_processor(dialect, None) for column in given_back)
    return _Form(
        sql=str(compiled),
        places=tuple(compiled.positiontup or ()) if compiled.positional else None,
        usual={name: bind.value for name, bind in binds.items() if not bind.required and bind.value is not None},
        into={name: process for name, process in into.items() if process is not None},
        out=tuple((place, process) for place, process in out if process is not None),
        row=_rows_of([str(column.key) for column in shown]),
    )


def _rows_of(names: list[str]) -> Callable[[Iterable[Any]], Any]:
    row: Any = namedtuple("Found", names)  # type: ignore[misc]
    make: Callable[[Iterable[Any]], Any] = row._make
    return make


def _cursor(connection: Connection) -> Any:
    return connection.connection.cursor()


def _errors(connection: Connection) -> type[BaseException]:
    error: type[BaseException] = connection.dialect.loaded_dbapi.Error
    return error


def _wrapped(connection: Connection, sql: str, error: BaseException) -> DBAPIError:
    return DBAPIError(sql, None, error)
