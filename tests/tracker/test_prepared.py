"""Is a statement that is run by the driver asked and answered as SQLAlchemy would?"""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy import bindparam, insert, select, text
from sqlalchemy.exc import DBAPIError

from tracker.databases import for_writing
from tracker.errors import Conflict, InputError
from tracker.models import AuditEntry, Bake, Person, Reading, Run, Trial
from tracker.prepared import NewRow, Prepared, plainly
from tracker.store import Store

READINGS: Any = Reading.__table__  # type: ignore[attr-defined]
ENTRIES: Any = AuditEntry.__table__  # type: ignore[attr-defined]
PEOPLE: Any = Person.__table__  # type: ignore[attr-defined]


@pytest.fixture
def bake(store: Store) -> int:
    with store.write(person=1, action="plan") as deed:
        trial = deed.add_row(Trial, name="soda", title="Soda", made_at=deed.at)
        run = deed.add_row(Run, trial_id=trial, place_in_design=1, bake_order=1, code="107", settings="{}")
        return deed.add_row(Bake, run_id=run, made_at=deed.at)


def record(store: Store, bake: int, **more: object) -> int:
    told: dict[str, Any] = {"bake_id": bake, "response": "høyde", "value": 41.1, "person_id": 1, **more}
    with store.write(person=1, action="record") as deed:
        return deed.add_row(Reading, at=deed.at, **told)


def test_rows_are_those_of_sqlalchemy_value_by_value(store: Store, bake: int) -> None:
    """Kinds too: yes and no, numbers with every digit, nothing."""
    for number, value in enumerate((41.1, 0.1 + 0.2, 1e-7, 5e22), start=1):
        record(
            store, bake, repeat=number, value=value, implausible=number % 2 == 0, reason="two\nlines 'and' :names %s ?"
        )
    wanted = select(READINGS).where(READINGS.c.bake_id == bindparam("of")).order_by(READINGS.c.id)
    with store.read() as session:
        connection = session.connection()
        theirs = [tuple(row) for row in connection.execute(wanted, {"of": bake})]
        mine = Prepared(wanted).all(connection, of=bake)
        first = Prepared(wanted).first(connection, of=bake)
    assert [tuple(row) for row in mine] == theirs
    assert [[type(cell) for cell in row] for row in mine] == [[type(cell) for cell in row] for row in theirs]
    assert len(mine) == 4
    assert first == mine[0]
    assert (first.response, first.implausible, mine[1].implausible) == ("høyde", False, True)


def test_nothing_found_is_none(store: Store) -> None:
    wanted = Prepared(select(READINGS).where(READINGS.c.bake_id == bindparam("of")).limit(1))
    with store.read() as session:
        assert wanted.first(session.connection(), of=99) is None
        assert wanted.all(session.connection(), of=99) == []


def test_a_value_of_the_statement_itself_stays(store: Store) -> None:
    """The number of rows that are asked for."""
    last = Prepared(select(ENTRIES.c.sequence).order_by(ENTRIES.c.sequence.desc()).limit(1))
    with store.read() as session:
        assert len(last.all(session.connection())) == 1


def test_new_rows_get_the_numbers_of_the_database(store: Store) -> None:
    with for_writing(store.engine.connect()) as connection, connection.begin() as transaction:
        last = connection.execute(select(PEOPLE.c.id).order_by(PEOPLE.c.id.desc())).scalars().first() or 0
        numbers = [NewRow(PEOPLE).store(connection, {"made_at": "2026-11-25T09:00:00Z"}) for _ in range(3)]
        Prepared(insert(PEOPLE)).run_many(
            connection, [{"id": last + 10, "made_at": "x"}, {"id": last + 11, "made_at": "y"}]
        )
        stored = connection.execute(select(PEOPLE.c.id).order_by(PEOPLE.c.id)).scalars().all()
        transaction.rollback()
    assert numbers == [last + 1, last + 2, last + 3]
    assert stored[-5:] == [*numbers, last + 10, last + 11]


def test_words_with_values_are_run_too(store: Store) -> None:
    adding = Prepared(text("INSERT INTO person (id, made_at) VALUES (:id, :at) ON CONFLICT (id) DO NOTHING"))
    with for_writing(store.engine.connect()) as connection, connection.begin() as transaction:
        again = [adding.run(connection, {"id": 77, "at": "x"}).rowcount for _ in range(2)]
        transaction.rollback()
    assert again == [1, 0]


def test_a_refusal_is_the_error_that_sqlalchemy_raises(store: Store) -> None:
    with for_writing(store.engine.connect()) as connection, connection.begin() as transaction:
        with pytest.raises(DBAPIError):
            Prepared(insert(PEOPLE)).run(connection, {"id": 78, "made_at": None})
        transaction.rollback()
    with for_writing(store.engine.connect()) as connection, connection.begin() as transaction:
        with pytest.raises(DBAPIError):
            plainly(connection, "ROLLBACK TO SAVEPOINT nowhere")
        transaction.rollback()
    with store.write(person=1, action="add") as deed:
        deed.add_row(Trial, name="soda", title="", made_at="x")
    with pytest.raises(Conflict, match="stands in the record already"), store.write(person=1, action="add") as deed:
        deed.add_row(Trial, name="soda", title="", made_at="x")


def test_a_row_told_by_its_columns_is_entered_like_an_object(store: Store, bake: int) -> None:
    """The entry has the same words, and a correction names what it replaces."""
    number = record(store, bake, repeat=1)
    with store.write(person=1, action="record") as deed:
        other = deed.add(Reading(bake_id=bake, response="høyde", value=41.1, person_id=1, at=deed.at, repeat=2)).id
    corrected = record(store, bake, repeat=1, value=42.0, replaces_id=number, reason="wrong side of the ruler")
    with store.read() as session:
        entries = {
            entry.row_id: entry
            for entry in session.connection().execute(select(ENTRIES).where(ENTRIES.c.table_name == "reading"))
        }
    told = entries[number].new.replace(f'"id":{number},', "").replace('"repeat":1', "").split('"at"')[0]
    assert told == entries[other].new.replace(f'"id":{other},', "").replace('"repeat":2', "").split('"at"')[0]
    assert entries[corrected].old == entries[number].new
    assert entries[corrected].reason == "wrong side of the ruler"


def test_a_nul_character_is_refused_or_found_nowhere(store: Store) -> None:
    """SQLite looks for it; the driver of PostgreSQL does not send it."""
    trials: Any = Trial.__table__  # type: ignore[attr-defined]
    wanted = Prepared(select(trials).where(trials.c.name == bindparam("name")))
    if store.engine.dialect.name == "sqlite":
        with store.ask() as connection:
            assert wanted.first(connection, name="so\x00da") is None
        return
    with pytest.raises(InputError, match="NUL"), store.ask() as connection:
        wanted.first(connection, name="so\x00da")
