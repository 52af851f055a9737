"""Do deeds that share a commit stand or fall each for itself, and is none answered for too early?"""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress

import pytest
from sqlalchemy import text
from sqlmodel import select

from tracker.errors import Conflict, Full, InputError, NotFound, NotNow, TrackerError
from tracker.models import PersonDetails, TasteNote, Trial
from tracker.store import Store, open_kitchen
from tracker.workflow.grouped import GroupWriter
from tracker.workflow.once import KeyUsed, do_once
from tracker.workflow.people import add_person
from tracker.workflow.recording import add_note, record_run
from tracker.workflow.verifying import verify_record


@pytest.fixture
def writer(soda_anywhere):
    made = GroupWriter(soda_anywhere)
    made.start()
    yield made
    made.stop()


def held(writer: GroupWriter) -> threading.Event:
    """Keep the writer busy until the event is set, so that what is sent meanwhile becomes one group."""
    gate, busy = threading.Event(), threading.Event()

    def wait(store: Store) -> None:
        busy.set()
        gate.wait(20)

    threading.Thread(target=lambda: writer.do(wait), daemon=True).start()
    busy.wait(20)
    return gate


def notes(store: Store) -> list[str]:
    with store.read() as session:
        return [row.words for row in session.exec(select(TasteNote).order_by(TasteNote.id))]


def together(writer, deeds):
    """Send all at once; their results, or the errors they ended with."""
    gate = held(writer)

    def one(deed):
        try:
            return writer.do(deed)
        except TrackerError as error:
            return error

    with ThreadPoolExecutor(len(deeds)) as pool:
        sent = [pool.submit(one, deed) for deed in deeds]
        while writer._waiting.qsize() < len(deeds):
            pass
        gate.set()
        return [each.result(30) for each in sent]


def note(words, run="101", person=1):
    return lambda store: add_note(store, "soda", run, words, person=person)


def test_what_fails_is_taken_back_alone(writer, soda_anywhere):
    deeds = [note("one"), note(""), note("two"), note("three", run="999"), note("four", person=77), note("five")]
    told = together(writer, deeds)
    assert [type(each) for each in told if isinstance(each, TrackerError)] == [InputError, NotFound, NotFound]
    assert sorted(notes(soda_anywhere)) == ["five", "one", "two"]
    verify_record(soda_anywhere)


def test_half_a_deed_is_never_left(writer, soda_anywhere):
    """A run's first rows are written before its value turns out to be impossible."""
    half = lambda store: record_run(store, "soda", "102", ["rise height=42", "crumb score=9"])  # noqa: E731
    told = together(writer, [note("before"), half, note("after")])
    assert isinstance(told[1], InputError)
    with soda_anywhere.read() as session:
        from tracker.models import Bake, Reading

        assert session.exec(select(Reading)).all() == []
        assert len(session.exec(select(Bake)).all()) == 1  # that of the notes
    verify_record(soda_anywhere)


def test_one_key_in_one_group_records_once(writer, soda_anywhere):
    def keyed(words):
        return lambda store: do_once(store, "the same key", [("words", words)], 1, note(words))

    told = together(writer, [keyed("soapy")] * 5 + [keyed("sour")])
    refused = [each for each in told if isinstance(each, KeyUsed)]
    first = [each for each in told if not isinstance(each, KeyUsed) and not each.again]
    assert len(first) == 1
    assert len(refused) in (1, 5)  # whichever of both words came first stands
    assert notes(soda_anywhere) in (["soapy"], ["sour"])
    verify_record(soda_anywhere)


def test_nobody_is_answered_for_when_the_commit_fails(writer, soda_anywhere, monkeypatch):
    from sqlalchemy import event

    def refuse(connection):
        raise OSError("the disk is gone")

    event.listen(soda_anywhere.engine, "commit", refuse)
    with pytest.raises(OSError, match="the disk is gone"):
        writer.do(note("lost"))
    event.remove(soda_anywhere.engine, "commit", refuse)
    assert notes(soda_anywhere) == []
    assert writer.do(note("kept")) is not None  # and the writer goes on
    assert notes(soda_anywhere) == ["kept"]


def test_what_waits_at_the_end_is_still_done(soda_anywhere):
    writer = GroupWriter(soda_anywhere)
    writer.start()
    gate = held(writer)
    with ThreadPoolExecutor(4) as pool:
        sent = [pool.submit(writer.do, note(f"note {at}")) for at in range(4)]
        while writer._waiting.qsize() < 4:
            pass
        gate.set()
        writer.stop()
        assert all(each.result(20) for each in sent)
    assert len(notes(soda_anywhere)) == 4
    assert writer.do(note("alone")) is not None  # without its thread it writes by itself


def test_started_twice_one_thread_writes_and_it_ends(soda_anywhere):
    writers = {thread for thread in threading.enumerate() if thread.name == "writer"}
    writer = GroupWriter(soda_anywhere)
    writer.start()
    writer.start()
    assert len({thread for thread in threading.enumerate() if thread.name == "writer"} - writers) == 1
    ends = threading.Thread(target=writer.stop, daemon=True)
    ends.start()
    ends.join(10)
    assert not ends.is_alive()
    assert writer.do(lambda store: "by itself") == "by itself"


def test_a_deed_of_several_writes_stands_or_falls_with_its_key(writer, soda_anywhere):
    def twice(second):
        def deed(store):
            add_note(store, "soda", "101", "first", person=1)
            return add_note(store, "soda", "101", second, person=1)

        return lambda store: do_once(store, "one key for both", [("words", "x")], 1, deed)

    with pytest.raises(InputError):
        writer.do(twice(""))
    assert notes(soda_anywhere) == []
    assert not writer.do(twice("second")).again  # its key was free
    assert notes(soda_anywhere) == ["first", "second"]
    verify_record(soda_anywhere)


def test_who_was_answered_for_is_on_the_disk_when_it_is_full(sqlite_kitchen):
    """SQLite may take back a whole transaction when it finds no room: the deeds before must not be called done."""
    answered, full = [], 0
    with open_kitchen(str(sqlite_kitchen)) as store:
        for room in range(0, 60, 12):
            with store.engine.connect() as connection:  # the pool's only one
                pages = connection.execute(text("PRAGMA page_count")).scalar_one()
                connection.execute(text(f"PRAGMA max_page_count={pages + room}"))
            writer = GroupWriter(store)
            writer.start()
            deeds = [lambda s, name=f"{room} {at} {'x' * 60}": add_person(s, name).name for at in range(40)]
            told = together(writer, deeds)
            writer.stop()
            answered += [each for each in told if isinstance(each, str)]
            full += sum(isinstance(each, Full) for each in told)
        with store.read() as session:
            stand = [row.name for row in session.exec(select(PersonDetails)) if row.name.endswith("x")]
        assert full > 0
        assert answered
        assert sorted(stand) == sorted(answered)
        verify_record(store)


def taken_name(store):
    """Rows of the session's unit of work, of which the database refuses one."""
    with store.write(person=1, action="plan") as deed:
        deed.add_many([Trial(name="scones", title="", made_at=deed.at), Trial(name="soda", title="", made_at=deed.at)])


def taken_name_and_then(store):
    with suppress(Conflict):
        taken_name(store)
    return add_note(store, "soda", "101", "all the same", person=1)


@pytest.mark.parametrize("refused", [taken_name, taken_name_and_then])
def test_rows_that_the_database_refuses_take_nobody_elses_along(writer, soda_anywhere, refused):
    told = together(writer, [note("before"), refused, note("after")])
    assert {"before", "after"} <= set(notes(soda_anywhere))
    assert isinstance(told[1], Conflict) == (refused is taken_name)
    with soda_anywhere.read() as session:
        assert [trial.name for trial in session.exec(select(Trial))] == ["soda"]
    verify_record(soda_anywhere)


def lose_the_transaction(store):
    """As on a full disk, or as when the server of the database is stopped."""
    connection = store.joined
    if connection.dialect.name == "sqlite":
        connection.connection.dbapi_connection.execute("ROLLBACK")
        raise Full("The disk is full.", where="here", try_this="free some space")
    number = connection.execute(text("SELECT pg_backend_pid()")).scalar_one()
    with store.engine.connect() as other, other.begin():
        other.execute(text("SELECT pg_terminate_backend(:number)"), {"number": number})
    connection.execute(text("SELECT 1"))


def test_a_transaction_that_is_lost_is_something_for_later(writer, soda_anywhere):
    """Its deeds are refused in our own words, so that tablets send them again; the writer goes on."""
    told = together(writer, [note("before"), lose_the_transaction, note("after")])
    assert all(isinstance(each, NotNow) for each in told), told
    assert notes(soda_anywhere) == []
    assert writer.do(note("again")) is not None
    assert notes(soda_anywhere) == ["again"]
    verify_record(soda_anywhere)
