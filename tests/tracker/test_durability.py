"""Does what was acknowledged stand, whoever else writes and whatever happens to the program?

The large form of the kill loop is in ``tests/benchmarks/test_record.py``.
"""

from __future__ import annotations

import random
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlmodel import select

from tracker.errors import Conflict, TrackerError
from tracker.models import AuditEntry, Bake, Person, Reading, Run, Trial
from tracker.store import Store, open_kitchen
from tracker.workflow.verifying import verify_record

AT = "2026-11-25T09:00:00Z"

# Writes readings one by one; says the number of each only after its deed has ended.
WRITER = """
import sys
from tracker.models import Reading
from tracker.store import open_kitchen
where, writer, times = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
with open_kitchen(where) as store:
    for i in range(times):
        with store.write(person=1, action=f"writer {writer}") as deed:
            row = deed.add(Reading(bake_id=1, response=f"w{writer}", value=i, repeat=i + 1, person_id=1, at=deed.at))
            more = deed.add(Reading(bake_id=1, response="pair", value=row.id, person_id=1, at=deed.at))
        print(row.id, flush=True)
"""


def one_bake(store: Store) -> None:
    with store.write(person=1, action="plan") as deed:
        trial = deed.add(Trial(name="soda", title="Soda", made_at=AT))
        run = deed.add(Run(trial_id=trial.id, place_in_design=1, bake_order=1, code="417", settings="{}"))
        assert deed.add(Bake(run_id=run.id, made_at=AT)).id == 1


def writer(where: str, number: int, times: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, where, str(number), str(times)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_eight_programs_write_at_once(store: Store, kitchen_place: str) -> None:
    one_bake(store)
    store.close()
    writers = [writer(kitchen_place, number, 25) for number in range(8)]
    said = [process.communicate(timeout=120) for process in writers]
    assert [process.returncode for process in writers] == [0] * 8, [err for _, err in said]
    acknowledged = [int(line) for out, _ in said for line in out.split()]
    with store.read() as session:
        stored = session.exec(select(Reading.id).where(Reading.response != "pair")).all()
    assert len(stored) == 8 * 25
    assert sorted(acknowledged) == sorted(stored)
    assert verify_record(store).entries == 2 + 3 + 2 * 8 * 25


def test_nothing_acknowledged_is_lost_to_a_kill(store: Store, kitchen_place: str) -> None:
    kill_loop(store, kitchen_place, kills=20, seed=20261125)


def kill_loop(store: Store, place: str, *, kills: int, seed: int) -> int:
    """Kill a writer at a random moment ``kills`` times; returns how many deeds were acknowledged."""
    chance = random.Random(seed)
    one_bake(store)
    store.close()
    acknowledged: list[int] = []
    for turn in range(kills):
        process = writer(place, turn, 10_000)
        assert process.stdout is not None
        acknowledged.append(int(process.stdout.readline()))  # it works; now any moment will do
        time.sleep(chance.uniform(0, 0.05))
        process.send_signal(signal.SIGKILL)
        out, _ = process.communicate(timeout=30)
        # A line cut in the middle by the kill was not said.
        acknowledged += [int(line) for line in out.splitlines(keepends=True) if line.endswith("\n")]
        assert process.returncode == -signal.SIGKILL
    with store.write(person=1, action="wait for the last killed writer's turn to end"):
        pass
    verified = verify_record(store)
    with store.read() as session:
        stored = set(session.exec(select(Reading.id).where(Reading.response != "pair")))
        pairs = set(session.exec(select(Reading.value).where(Reading.response == "pair")))
    assert set(acknowledged) <= stored
    assert pairs == stored  # a deed stands whole or not at all
    assert verified.entries == 2 + 3 + 2 * len(stored)
    return len(acknowledged)


def test_a_kitchen_is_whole_or_not_there_when_its_making_is_killed(tmp_path: Path) -> None:
    chance = random.Random(7)
    place = tmp_path / "kitchen.db"
    code = (
        "import sys, tracker.store, alembic.command; print('ready', flush=True); "
        f"tracker.store.open_kitchen({str(place)!r}, create=True).close()"
    )
    for _ in range(8):
        process = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        time.sleep(chance.uniform(0, 0.25))
        process.kill()
        process.communicate(timeout=30)
        if place.exists():
            with open_kitchen(str(place)) as store:
                assert verify_record(store).entries == 2
            place.unlink()
            Path(f"{place}-journal").unlink(missing_ok=True)
    with open_kitchen(str(place), create=True) as store:  # what the kills left behind is in nobody's way
        assert verify_record(store).entries == 2


def test_a_full_disk_stores_nothing_and_harms_nothing(sqlite_kitchen: Path) -> None:
    with open_kitchen(str(sqlite_kitchen)) as store:
        one_bake(store)
        before = verify_record(store)
        limit_pages(store, 2)
        with pytest.raises(TrackerError, match="The disk is full") as error, store.write(person=1, action="x") as deed:
            deed.add_many([reading(i) for i in range(5000)])
        assert error.value.try_this
        assert verify_record(store) == before
        limit_pages(store, 10_000)
        with store.write(person=1, action="x") as deed:
            deed.add_many([reading(i) for i in range(5000)])
        assert verify_record(store).entries == before.entries + 5000


def limit_pages(store: Store, more: int) -> None:
    """SQLite behaves as on a full disk beyond so many pages (on this connection, the pool's only one)."""
    with store.engine.connect() as connection:
        pages = connection.execute(text("PRAGMA page_count")).scalar_one()
        connection.execute(text(f"PRAGMA max_page_count = {pages + more}"))


def reading(number: int) -> Reading:
    return Reading(bake_id=1, response="rise height", value=number, repeat=number + 1, person_id=1, at=AT)


def test_a_locked_kitchen_says_so_after_its_patience(sqlite_kitchen: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tracker.settings.BUSY_SECONDS", 0)
    monkeypatch.setattr("tracker.databases.BUSY_SECONDS", 0)
    with open_kitchen(str(sqlite_kitchen)) as store, closing(sqlite3.connect(sqlite_kitchen)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(Conflict, match="locked") as error, store.write(person=1, action="x") as deed:
            deed.add(Person(made_at=AT))
        assert error.value.exit_code == 5
        other.rollback()
        with store.write(person=1, action="x") as deed:
            deed.add(Person(made_at=AT))


@pytest.mark.postgres
def test_a_locked_postgres_kitchen_says_so_too(postgres, monkeypatch: pytest.MonkeyPatch) -> None:  # type: ignore[no-untyped-def]
    import psycopg

    from tracker.settings import APPLICATION_ID

    monkeypatch.setattr("tracker.databases.BUSY_SECONDS", 1)
    name = postgres.kitchen()
    with psycopg.connect(postgres.address(name)) as other, open_kitchen(postgres.address(name)) as store:
        other.execute("SELECT pg_advisory_xact_lock(%s)", (APPLICATION_ID,))
        with pytest.raises(Conflict, match="locked"), store.write(person=1, action="x") as deed:
            deed.add(Person(made_at=AT))
        other.rollback()
        with store.write(person=1, action="x") as deed:
            deed.add(Person(made_at=AT))
    postgres.drop(name)


def test_a_damaged_file_is_named_as_damaged(sqlite_kitchen: Path) -> None:
    content = bytearray(sqlite_kitchen.read_bytes())
    content[4096 : len(content)] = b"\xff" * (len(content) - 4096)
    sqlite_kitchen.write_bytes(content)
    with pytest.raises(TrackerError, match="damaged") as error:
        open_kitchen(str(sqlite_kitchen)).close()
    assert error.value.exit_code == 6


def test_the_chain_cannot_fork(store: Store) -> None:
    """Even without taking turns, the second entry after the same one is refused by the database."""
    from sqlalchemy import insert
    from sqlalchemy.exc import IntegrityError

    from tracker.databases import for_writing

    with store.read() as session:
        last = session.exec(select(AuditEntry).order_by(AuditEntry.sequence.desc())).first()
    assert last is not None
    fork = {**last.model_dump(), "sequence": 99, "hash": "f" * 64}
    with (
        for_writing(store.engine.connect()) as connection,
        pytest.raises(IntegrityError),
        connection.begin(),
    ):
        connection.execute(insert(AuditEntry), [fork])
