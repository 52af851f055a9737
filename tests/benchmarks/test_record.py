"""How fast and how sure is the record? The large forms of the tests beside the store.

Collected only with CRUMBWISE_LARGE=1. CRUMBWISE_KILLS (1000), CRUMBWISE_BACKUPS (200) and
CRUMBWISE_ENTRIES (200000) set the sizes. Figures are printed (pytest -s), ratios where a bare
equivalent exists; only what must never happen is asserted.
"""

from __future__ import annotations

import importlib.util
import os
import sqlite3
import time
from contextlib import closing
from pathlib import Path
from types import ModuleType

from tracker.models import Reading
from tracker.store import Store, open_kitchen
from tracker.workflow.verifying import verify_record

__test__ = os.environ.get("CRUMBWISE_LARGE") == "1"  # not collected otherwise: the small forms always run

TESTS = Path(__file__).parents[1]


def size(name: str, otherwise: int) -> int:
    return int(os.environ.get(name, otherwise))


def beside(path: str) -> ModuleType:
    """A test module whose small form is made large here."""
    spec = importlib.util.spec_from_file_location(Path(path).stem, TESTS / path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_kills(store: Store, kitchen_place: str) -> None:
    kills = size("CRUMBWISE_KILLS", 1000)
    acknowledged = beside("tracker/test_durability.py").kill_loop(store, kitchen_place, kills=kills, seed=1)
    print(f"\n{kills} kills, {acknowledged} deeds acknowledged, none lost")


def test_backup_drill(sqlite_kitchen: Path, tmp_path: Path) -> None:
    backups = size("CRUMBWISE_BACKUPS", 200)
    beside("tracker/workflow/test_keeping.py").drill(sqlite_kitchen, tmp_path, backups=backups)
    print(f"\n{backups} backups under load, each restored whole")


def test_speed(store: Store, tmp_path: Path) -> None:
    durability = beside("tracker/test_durability.py")
    durability.one_bake(store)
    single = timed(lambda: [record(store, [durability.reading(i)]) for i in range(200)]) / 200
    bare = timed(lambda: bare_commits(tmp_path / "bare.db", 200)) / 200
    print(f"\none reading, one durable transaction: {1e3 * single:.2f} ms; a bare durable insert: {1e3 * bare:.2f} ms")
    entries = size("CRUMBWISE_ENTRIES", 200_000)
    many = timed(lambda: record(store, [durability.reading(i) for i in range(entries)]))
    print(f"{entries} readings in one deed: {entries / many:.0f} a second")
    whole = timed(lambda: verify_record(store))
    print(f"verified: {entries / whole:.0f} entries and rows a second")
    if store.place.path is not None:
        opening = timed(lambda: open_kitchen(str(store.place.path)).close())
        print(f"opened in {1e3 * opening:.1f} ms")
    assert verify_record(store).entries == 2 + 3 + 200 + entries


def record(store: Store, rows: list[Reading]) -> None:
    with store.write(person=1, action="record") as deed:
        deed.add_many(rows)


def bare_commits(path: Path, times: int) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA journal_mode=TRUNCATE")
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("CREATE TABLE reading (id INTEGER PRIMARY KEY, value REAL)")
        for number in range(times):
            connection.execute("INSERT INTO reading (value) VALUES (?)", (number,))
            connection.commit()


def timed(work: object) -> float:
    start = time.perf_counter()
    work()  # type: ignore[operator]
    return time.perf_counter() - start
