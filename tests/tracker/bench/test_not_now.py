"""What does the bench say when the record can take nothing for the moment, and does it keep what was typed?

Every such answer is 5xx: a tablet takes that as "later" and keeps its entry; a 4xx would be an answer to the entry.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest
from sqlalchemy import event, text
from sqlmodel import select

from tracker.bench.kit import status_of
from tracker.errors import Busy
from tracker.models import TasteNote

JSON = {"accept": "application/json"}
HERE = "/run/soda/108"


def note(words, key):
    return {"do": "note", "place": "note", "words": words, "key": key}


def notes(store):
    with store.read() as session:
        return [row.words for row in session.exec(select(TasteNote))]


@pytest.fixture
def newer(bench_store):
    """Call it, and a newer Crumbwise has opened the kitchen."""

    def opened():
        with sqlite3.connect(bench_store.place.path) as other:
            other.execute("UPDATE alembic_version SET version_num = '9999'")

    return opened


def test_a_newer_crumbwise_is_told_of_on_every_page(as_role, bench_store, newer):
    client = as_role("baker")
    assert client.get("/").status_code == 200
    newer()
    client.app.state.tables_seen -= 60  # a minute later
    for path in ("/", HERE, "/run", "/batch", "/people", "/sign-in"):
        answer = client.get(path)
        assert answer.status_code == 503, path
        assert "made by a newer Crumbwise" in answer.text
        assert "start the bench with the newer Crumbwise" in answer.text


def test_nothing_is_written_into_newer_tables_and_what_was_typed_is_shown(as_role, bench_store, newer, key):
    client = as_role("baker")
    client.get("/")
    newer()  # the look of a moment ago is still believed by pages, but not by the writer
    answer = client.post(HERE, data=note("soapy", key()))
    assert answer.status_code == 503
    assert "soapy" in answer.text
    told = client.post(HERE, data=note("soapy", key()), headers=JSON)
    assert told.status_code == 503
    assert told.headers["retry-after"]
    assert "newer Crumbwise" in told.json()["error"]
    assert notes(bench_store) == []


def test_a_locked_kitchen_is_tried_again(as_role, bench_store, key):
    client, mine = as_role("baker"), key()
    with bench_store.engine.connect() as connection:
        connection.execute(text("PRAGMA busy_timeout = 200"))
    other = sqlite3.connect(bench_store.place.path, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    try:
        with pytest.raises(Busy, match="locked") as locked:
            client.app.state.writer.do(lambda store: None)
    finally:
        other.execute("ROLLBACK")
        other.close()
    assert status_of(locked.value) == 503
    assert client.post(HERE, data=note("soapy", mine)).status_code == 303
    assert notes(bench_store) == ["soapy"]


def test_a_full_disk_is_507_and_afterwards_the_same_entry_goes_in(as_role, bench_store, key):
    client, mine = as_role("baker"), key()
    client.get("/")

    def limit(more):
        with bench_store.engine.connect() as connection:
            pages = connection.execute(text("PRAGMA page_count")).scalar_one()
            connection.execute(text(f"PRAGMA max_page_count = {pages + more}"))

    limit(0)
    told = client.post(HERE, data=note("x" * 4000, mine), headers=JSON)
    assert told.status_code == 507
    assert "disk is full" in told.json()["error"]
    assert notes(bench_store) == []
    limit(1000)
    assert client.post(HERE, data=note("x" * 4000, mine), headers=JSON).status_code == 200
    assert notes(bench_store) == ["x" * 4000]


@pytest.mark.parametrize("accept", ["application/json", "text/html"])
def test_a_kitchen_that_cannot_even_be_read_is_something_for_later(as_role, bench_store, key, accept):
    """The page that says so asks nothing of it, and shows what was typed."""
    client = as_role("baker")
    client.get("/")
    event.listen(bench_store.engine, "checkout", lambda got, *_: got.execute("PRAGMA busy_timeout = 100"))
    with closing(sqlite3.connect(bench_store.place.path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        told = client.post(HERE, data=note("soapy", key()), headers={"accept": accept})
        shown = client.get("/run")
        client.app.state.tables_seen -= 60  # a minute later
        later = client.get("/run")
    assert (told.status_code, shown.status_code, later.status_code) == (503, 503, 503)
    assert told.headers["retry-after"]
    assert "locked" in told.text
    assert accept == "application/json" or "soapy" in told.text
    assert notes(bench_store) == []
