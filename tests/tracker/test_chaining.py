"""Are many rows of one table kept as rows recorded one by one are, to the last byte?"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlmodel import SQLModel, select

from tracker.audit import canonical, content_of, entry_hash, row_content
from tracker.chaining import MANY, contents_of, entries_of
from tracker.databases import ROOM_KIB
from tracker.models import AuditEntry, Bake, Lot, Person, Piece, Product, Reading, Run, Trial
from tracker.store import Store, open_kitchen
from tracker.workflow.verifying import verify_record

AWKWARD_TEXTS = [
    "",
    "rise",
    'quo"te',
    "back\\slash",
    "tab\t, line\n, feed\x0c, bell\x07, delete\x7f",
    "Brötchen",
    "100 % rye %s %(a)s",
    "\u2028 and \u2029",
    "\u200d\ufeff",
    "🥐 and 𝔅",
    "{}[]:,",
    "\x80\xff",
]
AWKWARD_NUMBERS = [0.0, -0.0, 1e-7, 1e22, 1e16, 123456789012345680.0, 0.1, -41.25, 5e-324, 1.7976931348623157e308, 3.0]
TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00")) | st.sampled_from(AWKWARD_TEXTS)
NUMBERS = st.floats(allow_nan=False, allow_infinity=False) | st.sampled_from(AWKWARD_NUMBERS)
NAMES = ["at", "new", "number", "value", "void", "zone"]
VALUES = (TEXTS, NUMBERS, st.integers(-(2**31), 2**31 - 1), st.booleans(), st.none(), st.binary(max_size=20))


@st.composite
def columns(draw: Any) -> dict[str, Any]:
    """A few columns of one to five rows, by name; a value that is no list stands in every row."""
    rows = draw(st.integers(1, 5))
    names = draw(st.lists(st.sampled_from(NAMES), min_size=1, unique=True))
    found: dict[str, Any] = {"id": draw(st.lists(st.integers(1, 10**9), min_size=rows, max_size=rows))}
    for name in names:
        kind = draw(st.sampled_from(VALUES))
        kind = kind if draw(st.booleans()) else kind | st.none()
        found[name] = draw(st.lists(kind, min_size=rows, max_size=rows) if draw(st.booleans()) else kind)
    return found


def one_by_one(told: dict[str, Any], rows: int) -> list[dict[str, Any]]:
    return [
        {name: value[at] if isinstance(value, list) else value for name, value in told.items()} for at in range(rows)
    ]


@settings(max_examples=300, deadline=None)
@given(columns())
def test_the_json_of_many_rows_is_that_of_each(told: dict[str, Any]) -> None:
    rows = one_by_one(told, len(told["id"]))
    assert contents_of(told) == [canonical(content_of(Reading, row)) for row in rows]


@settings(max_examples=200, deadline=None)
@given(columns(), TEXTS, TEXTS | st.lists(TEXTS, min_size=5, max_size=5), st.none() | st.integers(1, 99))
def test_the_entries_of_many_rows_follow_one_another_as_those_of_each(
    told: dict[str, Any], action: str, reason: Any, person: int | None
) -> None:
    rows = len(told["id"])
    reasons = reason[:rows] if isinstance(reason, list) else reason
    new = contents_of(told)
    entry = {
        **{"at": "2026-11-26T10:00:00.000000Z", "zone": "Europe/Vienna", "version": "0.1", "old": None},
        **{"person_id": person, "action": action, "table_name": "reading"},
        **{"row_id": told["id"], "new": new, "reason": reasons},
    }
    head = "ab" * 32
    made = one_by_one(entries_of(entry, sequence=41, head=head), rows)
    for at, (found, plain) in enumerate(zip(made, one_by_one(entry, rows), strict=True)):
        wanted = {**plain, "sequence": 42 + at, "previous_hash": head}
        head = entry_hash(wanted)
        assert found == {**wanted, "hash": head}
    assert set(made[0]) == set(AuditEntry.model_fields)


def noon() -> datetime:
    return datetime(2026, 11, 26, 12, tzinfo=UTC)


def many_rows() -> list[tuple[type[SQLModel], dict[str, Any]]]:
    """Rows of several tables, told by columns, with every kind of value."""
    texts, numbers = AWKWARD_TEXTS, AWKWARD_NUMBERS
    size = len(texts)
    return [
        (Person, {"made_at": texts}),
        (Product, {"name": texts, "made_at": texts[::-1]}),
        (Trial, {"name": texts, "title": texts[::-1], "seed": [2**40 + at for at in range(size)], "made_at": "now"}),
        (Run, {"trial_id": 1, "place_in_design": list(range(1, size + 1)), "bake_order": list(range(1, size + 1)),
               "code": texts, "settings": "{}"}),
        (Bake, {"run_id": list(range(1, size + 1)), "made_at": texts}),
        (Piece, {"bake_id": 1, "number": list(range(1, size + 1))}),
        (Lot, {"ingredient": "so'da\\' % %s :x ?", "code": texts, "received_on": [None, *texts[1:]]}),
        (Reading, {"bake_id": 1, "piece_id": [None, *range(1, len(numbers))], "response": "rise % height", "at": "now",
                   "value": numbers, "person_id": 1, "implausible": [at % 2 == 0 for at in range(len(numbers))],
                   "reason": texts[: len(numbers)]}),
        (Reading, {"bake_id": 1, "response": "whole", "value": [1, 2, 3], "person_id": 1, "at": "now"}),
    ]  # fmt: skip


def entries(store: Store) -> list[tuple[Any, ...]]:
    with store.read() as session:
        table = AuditEntry.__table__  # type: ignore[attr-defined]
        return [tuple(row) for row in session.connection().execute(select(table).order_by(table.c.sequence))]


@pytest.mark.parametrize("reason", ["", 'because of "it"\'); DROP TABLE reading; --'])
def test_both_ways_leave_the_same_entries(tmp_path: Path, reason: str) -> None:
    """Row by row through ``Deed.add`` in one kitchen, by columns in another: all entries are equal to the last byte."""
    found = []
    for way in ("rows", "columns"):
        with open_kitchen(str(tmp_path / f"{way}.db"), create=True, name="same", now=noon) as store:
            with store.write(person=1, action="record % it", reason=reason) as deed:
                for table, told in many_rows():
                    if way == "columns":
                        deed.add_rows(table, told)
                        continue
                    rows = max(len(value) for value in told.values() if isinstance(value, list))
                    for row in one_by_one(told, rows):
                        deed.add(table(**row))
            found.append(entries(store))
    assert len(found[0]) > 90
    assert found[0] == found[1]


def test_what_was_told_by_columns_stands_and_verifies(store: Store) -> None:
    """On each database: every entry says what the rows say when they are read back, and the chain holds."""
    with store.write(person=1, action="record") as deed:
        told = {table: deed.add_rows(table, columns) for table, columns in many_rows()}
    with store.read() as session:
        said = {(entry.table_name, entry.row_id): entry.new for entry in session.exec(select(AuditEntry))}
        for table, numbers in told.items():
            for number in numbers:
                row = session.get(table, number)
                assert row is not None
                assert said[str(table.__tablename__), number] == canonical(row_content(row))
    assert verify_record(store).entries == len(said)


def test_a_large_deed_has_room_until_its_end(sqlite_kitchen: Path) -> None:
    """SQLite keeps its pages in memory meanwhile; afterwards the connection is as it was."""
    with open_kitchen(str(sqlite_kitchen)) as store:

        def room(session: Any) -> int:
            return int(session.connection().exec_driver_sql("PRAGMA cache_size").scalar())

        with store.read() as session:
            usual = room(session)
        with store.write(person=1, action="record") as deed:
            deed.add_rows(Person, {"made_at": ["now"] * (MANY - 1)})
            assert room(deed.session) == usual
            deed.add_rows(Person, {"made_at": ["now"] * MANY})
            assert room(deed.session) == -ROOM_KIB
        for _ in range(2):
            with store.read() as session:
                assert room(session) == usual


@pytest.mark.postgres
def test_a_server_that_reads_backslashes_otherwise_stores_the_same(postgres: Any) -> None:
    """A database may be set so that a backslash in quotes begins an escape; what stands in a statement must not be."""
    name = postgres.kitchen()
    with open_kitchen(postgres.address(name)) as store, store.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql(f'ALTER DATABASE "{name}" SET standard_conforming_strings = off')
        connection.exec_driver_sql(f'ALTER DATABASE "{name}" SET backslash_quote = on')
    wanted = "a\\b \\' \\n 100 %"
    with open_kitchen(postgres.address(name)) as store:
        with store.write(person=1, action="add", reason=wanted) as deed:
            deed.add_rows(Lot, {"ingredient": wanted, "code": ["a", "b"]})
        with store.read() as session:
            assert [lot.ingredient for lot in session.exec(select(Lot))] == [wanted] * 2
        verify_record(store)
    postgres.drop(name)


@pytest.mark.postgres
def test_writers_see_each_other_however_the_server_isolates_them(postgres: Any) -> None:
    """Under a snapshot from before its turn a writer would go on from an entry that is not the last."""
    name = postgres.kitchen()
    with open_kitchen(postgres.address(name)) as store, store.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql(f'ALTER DATABASE "{name}" SET default_transaction_isolation = "repeatable read"')
    with open_kitchen(postgres.address(name)) as store:

        def write(number: int) -> None:
            with store.write(person=1, action="add") as deed:
                deed.add_row(Lot, ingredient="flour", code=str(number))

        with ThreadPoolExecutor(4) as pool:
            list(pool.map(write, range(60)))
        verify_record(store)
    postgres.drop(name)
