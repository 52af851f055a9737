"""Does a guess wait as long after the bench was killed and started anew, and is nobody's address kept in clear?"""

from __future__ import annotations

import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import urllib.error
import urllib.parse
import urllib.request
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from tracker.bench.app import make_app
from tracker.bench.delays import Delays
from tracker.bench.settings import BenchSettings, hosts_for
from tracker.bench_tables import guess_keys, guesses
from tracker.store import open_kitchen
from tracker.workflow import guesses as counted
from tracker.workflow.guesses import forget_old_guesses
from tracker.workflow.keeping import back_up, restore
from tracker.workflow.verifying import verify_record

HOST = "127.0.0.1:8030"
ADDRESS = "192.168.1.77"


@pytest.fixture
def delays(store):
    """Over SQLite and PostgreSQL, with a clock that moves when told."""
    moment = [datetime(2026, 11, 26, 5, 0, tzinfo=UTC)]
    store.now = lambda: moment[0]
    made = Delays(store)
    made.move = lambda **by: moment.__setitem__(0, moment[0] + timedelta(**by))
    return made


def rows(store, table=guesses):
    with store.read() as session:
        return session.connection().execute(select(table)).all()


def test_waits_double_and_outlast_whoever_counts(store, delays):
    assert [delays.take("3", ADDRESS) for _ in range(6)] == [0] * 5 + [31]
    anew = Delays(store)
    assert anew.take("3", ADDRESS) == 31
    assert anew.take("4", ADDRESS) == 0
    delays.move(seconds=31)
    assert anew.take("3", ADDRESS) == 0
    assert Delays(store).take("3", ADDRESS) == 61
    delays.move(hours=1)
    assert anew.take("3", ADDRESS) == 0
    for _ in range(12):
        delays.move(hours=1, seconds=1)
        assert anew.take("3", ADDRESS) == 0
    assert anew.take("3", ADDRESS) == 3601


def test_who_was_right_starts_anew_and_their_address_has_this_try_back(store, delays):
    for _ in range(4):
        delays.take("3", ADDRESS)
    delays.right("3", ADDRESS)
    assert sorted(row.wrong for row in rows(store)) == [3]  # of the address
    for person in ("4", "5", "6"):
        delays.take(person, ADDRESS)
        delays.right(person, ADDRESS)
    assert [row.wrong for row in rows(store)] == [3]


def test_what_is_over_is_deleted_with_its_key(store, delays):
    delays.take("3", ADDRESS)
    first = rows(store, guess_keys)
    delays.move(hours=23)
    forget_old_guesses(store)
    assert len(rows(store)) == 2
    delays.move(hours=2)
    forget_old_guesses(store)
    assert rows(store) == rows(store, guess_keys) == []
    delays.take("3", ADDRESS)
    assert rows(store, guess_keys) != first


def test_of_too_many_the_oldest_are_forgotten(store, delays, monkeypatch):
    monkeypatch.setattr(counted, "MOST", 20)
    for at in range(40):
        delays.move(seconds=1)
        delays.take(f"nobody {at}", f"address {at}")
    assert len(rows(store)) <= 20 + 2
    assert [delays.take("nobody 39", "another") for _ in range(5)] == [0] * 4 + [31]  # the newest is still counted


def test_neither_address_nor_name_is_kept_and_nothing_of_it_is_in_the_record(store, delays):
    before = verify_record(store)
    delays.take("nobody zoe 4711", ADDRESS)
    kept = str(rows(store))
    assert ADDRESS not in kept
    assert "zoe" not in kept
    assert all(len(row.about) == 64 for row in rows(store))
    assert verify_record(store, expect=before.head).entries == before.entries


def test_a_copy_holds_no_key(sqlite_kitchen, tmp_path):
    with open_kitchen(str(sqlite_kitchen)) as store:
        Delays(store).take("3", ADDRESS)
        key = rows(store, guess_keys)[0].key
        back_up(store, tmp_path / "copy.db")
    assert key.encode() in sqlite_kitchen.read_bytes()
    assert key.encode() not in (tmp_path / "copy.db").read_bytes()
    restore(tmp_path / "copy.db", tmp_path / "again.db")
    with open_kitchen(str(tmp_path / "again.db")) as again:
        assert len(rows(again)) == 2
        assert Delays(again).take("3", ADDRESS) == 0
        assert rows(again, guess_keys)[0].key != key


def test_the_pages_wait_as_long_over_a_bench_that_was_started_anew(bench_store, monkeypatch):
    monkeypatch.setattr("tracker.bench.pages.signing.pin_is_right", lambda store, person, pin: False)

    def guess():
        app = make_app(bench_store, BenchSettings(hosts=hosts_for(8030)))
        with TestClient(app, base_url=f"http://{HOST}", headers={"origin": f"http://{HOST}"}) as tablet:
            return tablet.post("/sign-in", data={"name": "Bo", "pin": "0000"}).status_code

    assert [guess() for _ in range(7)] == [401] * 5 + [429] * 2


@contextmanager
def bench_process(path):
    """The command itself; killed without a warning."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [shutil.which("crumbwise", path=str(Path(sys.executable).parent)), "--kitchen", str(path)]
    running = subprocess.Popen([*command, "bench", "--port", str(port)], stderr=subprocess.PIPE)
    try:
        assert b"The bench" in running.stderr.readline()
        yield f"http://127.0.0.1:{port}"
    finally:
        running.send_signal(signal.SIGKILL)
        running.communicate(timeout=20)


def sign_in(address, pin):
    data = urllib.parse.urlencode({"name": "Bo", "pin": pin}).encode()
    asked = urllib.request.Request(f"{address}/sign-in", data=data, headers={"origin": address})
    try:
        with urllib.request.urlopen(asked, timeout=10) as answer:
            return answer.status, 0
    except urllib.error.HTTPError as refused:
        with refused:
            return refused.code, int(refused.headers.get("retry-after", 0))


def test_a_bench_that_was_killed_has_forgotten_no_guess(bench_template, tmp_path):
    path = tmp_path / "kitchen.db"
    shutil.copyfile(bench_template, path)
    path.chmod(0o600)
    with bench_process(path) as address:
        assert [sign_in(address, "0000")[0] for _ in range(5)] == [401] * 5
    with bench_process(path) as address:
        status, wait = sign_in(address, "8305")  # the right one waits too
        assert status == 429
        assert 0 < wait <= 31
    with closing(sqlite3.connect(path)) as raw:
        assert raw.execute("SELECT max(wrong) FROM bench_guess").fetchone() == (5,)
