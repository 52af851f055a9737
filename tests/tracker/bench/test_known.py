"""Is whoever stood at a tablet a moment ago looked up anew as soon as anything changed?"""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest

from tracker.bench import kit
from tracker.store import open_kitchen
from tracker.workflow.accounts import change_role, list_accounts
from tracker.workflow.changes import Changes
from tracker.workflow.people import add_person
from tracker.workflow.recording import record_run


@pytest.fixture
def looked(monkeypatch):
    """How often somebody was looked up in the record."""
    times: list[object] = []
    look = kit.standing_here
    monkeypatch.setattr(kit, "standing_here", lambda *given: times.append(given) or look(*given))
    return times


def test_pages_one_after_the_other_look_once(as_role, looked):
    baker = as_role("baker")
    assert [baker.get("/run").status_code for _ in range(5)] == [200] * 5
    assert len(looked) == 1


def test_two_people_are_not_taken_for_each_other(as_role, looked):
    baker, owner = as_role("baker"), as_role("owner")
    answers = [(baker.get("/people").status_code, owner.get("/people").status_code) for _ in range(3)]
    assert answers == [(403, 200)] * 3
    assert len(looked) == 2


def test_another_programs_commit_is_seen_by_the_next_page(as_role, bench_store, looked):
    """Here a role that was taken away in another connection; and a reading that the page shows."""
    analyst = as_role("analyst")
    assert analyst.get("/results").status_code == 200
    with open_kitchen(str(bench_store.place.path)) as other:
        record_run(other, "soda", "108", ["rise height=41.75"])
        assert "41.75" in analyst.get("/run/soda/108").text
        person = next(line.person for line in list_accounts(other) if line.role == "analyst")
        change_role(other, person, "none", reason="has left", by=1)
    assert analyst.get("/results").status_code == 401
    assert len(looked) == 3


def test_signing_out_at_the_same_secret_ends_it_at_once(as_role):
    first = as_role("owner")
    second = as_role("owner")
    second.cookies = first.cookies  # two windows of one browser
    assert second.get("/people").status_code == 200
    assert first.post("/sign-out", data={"key": "k" * 12}).status_code in (200, 303)
    assert second.get("/people").status_code == 401


def test_it_holds_no_longer_than_the_session(as_role, clock):
    baker = as_role("baker")
    for _ in range(5 * 16 - 1):  # a page every twelve minutes, to the end of a shift
        clock.move(minutes=12)
        assert baker.get("/run").status_code == 200
    clock.move(minutes=11, seconds=59)
    assert baker.get("/run").status_code == 200
    clock.move(seconds=2)
    assert baker.get("/run").status_code == 401


def test_a_secret_in_use_is_noted_every_minute(as_role, bench_store, clock, looked):
    baker = as_role("baker")

    def seen() -> str:
        with closing(sqlite3.connect(bench_store.place.path)) as connection:
            return connection.execute("SELECT max(seen_at) FROM bench_session WHERE kind = 'person'").fetchone()[0]

    first = seen()
    for _ in range(4):
        clock.move(seconds=14)
        baker.get("/run")
    assert seen() == first
    clock.move(seconds=5)
    baker.get("/run")
    assert seen() > first
    assert len(looked) == 2


def test_while_somebody_writes_the_record_is_asked(bench_store):
    with (
        closing(sqlite3.connect(bench_store.place.path, isolation_level=None)) as other,
        closing(Changes(bench_store)) as changes,
    ):
        before = changes.count()
        other.execute("BEGIN EXCLUSIVE")
        assert changes.count() is None
        other.execute("ROLLBACK")
        assert changes.count() == before
    add_person(bench_store, "Eva")
    with closing(Changes(bench_store)) as changes:
        first = changes.count()
        add_person(bench_store, "Finn")
        assert first is not None
        assert changes.count() != first
    assert changes.count() is None


def test_where_commits_are_not_counted_everybody_is_looked_up(app, as_role, looked):
    app.state.known.close()
    baker = as_role("baker")
    assert [baker.get("/run").status_code for _ in range(3)] == [200] * 3
    assert len(looked) == 3
