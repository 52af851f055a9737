"""How do many rows of one table get into the record quickly, each with its audit entry?

Rows are told by columns. What stands in every row is turned into JSON once; only what differs is filled in, row by
row, and hashed in turn. The entries are byte for byte those that ``Deed.add`` writes.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from itertools import repeat
from json.encoder import encode_basestring
from typing import Any

from sqlalchemy import Connection, Dialect, Table
from sqlalchemy.types import TypeEngine

from tracker.audit import canonical, kept
from tracker.databases import give_room

Columns = Mapping[str, Any]  # name -> a list with one value for each row, or the value that stands in every row
MANY = 1_000  # rows for which the database needs more room than usual


def contents_of(columns: Columns) -> list[str]:
    """Canonical JSON of each row, as an audit entry keeps it; ``columns`` are settled and have at least one list."""
    names = sorted(columns)
    fields = (
        f'"{name}":' + ("%s" if isinstance(columns[name], list) else canonical(kept(columns[name])).replace("%", "%%"))
        for name in names
    )
    own = [_as_json(columns[name]) for name in names if isinstance(columns[name], list)]
    return list(map(("{" + ",".join(fields) + "}").__mod__, zip(*own, strict=True)))


def _as_json(values: list[Any]) -> Sequence[Any]:
    """What ``%s`` writes as canonical JSON would: plain numbers themselves, else their text."""
    kinds = set(map(type, values))
    if kinds in ({int}, {float}):
        return values
    return list(map(encode_basestring, values)) if kinds == {str} else [canonical(kept(value)) for value in values]


def entries_of(entry: Columns, *, sequence: int, head: str) -> dict[str, Any]:
    """Columns of the audit entries that follow entry ``sequence``, whose hash is ``head``.

    ``entry`` has the other columns of the entries: ``new`` and ``row_id`` are lists.
    """
    new = entry["new"]
    numbered = {**entry, "sequence": list(range(sequence + 1, sequence + len(new) + 1))}
    front, between = _around_new(numbered)
    rests = contents_of({name: value for name, value in numbered.items() if name > "previous_hash"})
    heads = [head]
    sha256 = hashlib.sha256
    for text, rest in zip(new, rests, strict=True):
        entered = f'{front}{encode_basestring(text)}{between}"{head}",{rest[1:]}'
        head = sha256(entered.encode()).hexdigest()
        heads.append(head)
    return {**numbered, "previous_hash": heads[:-1], "hash": heads[1:]}


def _around_new(entry: Columns) -> tuple[str, str]:
    """The canonical JSON of an entry up to the value of ``new``, and on to that of ``previous_hash``."""
    front = {name: value for name, value in entry.items() if name < "new"}
    between = {name: value for name, value in entry.items() if "new" < name < "previous_hash"}
    return f'{canonical(front)[:-1]},"new":', f',{canonical(between)[1:-1]},"previous_hash":'


def write_columns(connection: Connection, table: Table, columns: Columns, count: int) -> None:
    """Insert ``count`` rows in their order."""
    if count >= MANY:
        give_room(connection)
    own = {name: value for name, value in columns.items() if not _stands_in_text(value)}
    rows = zip(*(value if isinstance(value, list) else repeat(value, count) for value in own.values()), strict=True)
    connection.exec_driver_sql(_insert(connection.dialect, table, columns), list(rows))


def _stands_in_text(value: Any) -> bool:
    """May a value that all rows share stand in the statement itself? It need not be handed over again for each."""
    return value is None or isinstance(value, int) or (isinstance(value, str) and "\x00" not in value)


def _insert(dialect: Dialect, table: Table, columns: Columns) -> str:
    quote = dialect.identifier_preparer.quote
    names = ", ".join(map(quote, columns))
    mark = "?" if dialect.paramstyle == "qmark" else "%s"
    values = [
        _written(table.c[name].type, value, dialect) if _stands_in_text(value) else mark
        for name, value in columns.items()
    ]
    return f"INSERT INTO {quote(table.name)} ({names}) VALUES ({', '.join(values)})"  # noqa: S608


def _written(kind: TypeEngine[Any], value: Any, dialect: Dialect) -> str:
    """A value in SQL, in quotes where it needs them."""
    if value is None:
        return "NULL"
    write = kind.dialect_impl(dialect).literal_processor(dialect)
    assert write is not None, kind
    return str(write(value))
