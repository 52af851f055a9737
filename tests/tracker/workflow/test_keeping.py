"""Does a backup hold a whole state of the record, and does only a sound one come back?"""

from __future__ import annotations

import json
import random
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from sqlmodel import func, select

from tracker.errors import Conflict, IntegrityError, NotFound, UsageError
from tracker.fingerprints import audit_head
from tracker.models import AuditEntry, Person
from tracker.store import Store, open_kitchen
from tracker.workflow.keeping import back_up, manifest_of, restore
from tracker.workflow.verifying import verify_record

# Adds people in pairs, one deed each, until its input is closed; says how many entries it knows to stand.
WRITER = """
import sys, threading
from tracker.models import Person
from tracker.store import open_kitchen
stop = threading.Event()
threading.Thread(target=lambda: (sys.stdin.read(), stop.set()), daemon=True).start()
done = 2
with open_kitchen(sys.argv[1]) as store:
    while not stop.is_set():
        with store.write(person=1, action="add people") as deed:
            deed.add_many([Person(made_at=deed.at), Person(made_at=deed.at)])
        done += 2
        print(done, flush=True)
"""


def add_people(store: Store, number: int) -> None:
    with store.write(person=1, action="add people") as deed:
        deed.add_many([Person(made_at=deed.at) for _ in range(number)])


@pytest.fixture
def kitchen(sqlite_kitchen: Path) -> Path:
    with open_kitchen(str(sqlite_kitchen)) as store:
        add_people(store, 200)
    return sqlite_kitchen


def test_a_backup_comes_back_whole(kitchen: Path, tmp_path: Path) -> None:
    with open_kitchen(str(kitchen)) as store:
        backup = back_up(store, tmp_path / "copy.db")
        head = audit_head(store)
        add_people(store, 5)
    assert (backup.entries, backup.head) == head
    assert backup.rows["person"] == 201
    assert json.loads(backup.manifest.read_text(encoding="utf-8")) == backup.to_json()
    assert sorted(path.name for path in tmp_path.iterdir() if path.name.startswith((".", "copy"))) == [
        "copy.db",
        "copy.db.manifest.json",
    ]
    assert stat.S_IMODE(backup.path.stat().st_mode) == stat.S_IMODE(backup.manifest.stat().st_mode) == 0o600
    restored = restore(backup.path, tmp_path / "again.db")
    assert (restored.entries, restored.head) == head
    assert restored.by_manifest
    with open_kitchen(str(tmp_path / "again.db")) as again:
        assert verify_record(again, expect=head[1]).rows == 202
        add_people(again, 1)  # it is a kitchen to work in


def test_a_backup_without_a_name_lies_beside_the_kitchen(kitchen: Path) -> None:
    with open_kitchen(str(kitchen)) as store:
        backup = back_up(store)
    assert backup.path.parent == kitchen.parent
    assert backup.path.name.startswith("kitchen-2")
    assert backup.path.exists()


@pytest.mark.parametrize("taken", ["copy.db", "copy.db.manifest.json"])
def test_nothing_is_overwritten(kitchen: Path, tmp_path: Path, taken: str) -> None:
    (tmp_path / taken).write_text("mine")
    with open_kitchen(str(kitchen)) as store, pytest.raises(Conflict, match="stands there already"):
        back_up(store, tmp_path / "copy.db")
    assert (tmp_path / taken).read_text() == "mine"
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]
    with pytest.raises(Conflict, match="nothing is overwritten"):
        restore(kitchen, tmp_path / taken)
    assert (tmp_path / taken).read_text() == "mine"


def test_every_flipped_byte_is_refused(kitchen: Path, tmp_path: Path) -> None:
    with open_kitchen(str(kitchen)) as store:
        backup = back_up(store, tmp_path / "copy.db")
    sound = backup.path.read_bytes()
    chance = random.Random(3)
    for _ in range(40):
        place = chance.randrange(len(sound))
        damaged = bytearray(sound)
        damaged[place] ^= 1 << chance.randrange(8)
        backup.path.write_bytes(damaged)
        with pytest.raises((IntegrityError, Conflict)):  # Conflict: the head of the file no longer says it is ours
            restore(backup.path, tmp_path / "again.db")
    assert not (tmp_path / "again.db").exists()
    backup.path.write_bytes(sound)
    assert restore(backup.path, tmp_path / "again.db").entries == backup.entries


def test_a_backup_without_its_manifest_is_checked_by_its_chain(kitchen: Path, tmp_path: Path) -> None:
    import sqlite3
    from contextlib import closing

    with open_kitchen(str(kitchen)) as store:
        backup = back_up(store, tmp_path / "copy.db")
    backup.manifest.unlink()
    restored = restore(backup.path, tmp_path / "again.db")
    assert not restored.by_manifest
    assert "no manifest" in restored.summary()
    with closing(sqlite3.connect(backup.path)) as connection:
        connection.execute("DROP TRIGGER person_no_update")
        connection.execute("UPDATE person SET made_at = 'x' WHERE id = 7")
        connection.commit()
    with pytest.raises(IntegrityError, match="Entry 8"):
        restore(backup.path, tmp_path / "third.db")
    assert not (tmp_path / "third.db").exists()


@pytest.mark.parametrize("words", ["", "{}", "[]", "null", '{"sha256": "0"', "\x00"])
def test_a_spoilt_manifest_is_refused(kitchen: Path, tmp_path: Path, words: str) -> None:
    with open_kitchen(str(kitchen)) as store:
        backup = back_up(store, tmp_path / "copy.db")
    backup.manifest.write_text(words)
    with pytest.raises(IntegrityError):
        restore(backup.path, tmp_path / "again.db")


def test_what_is_no_backup_is_refused(kitchen: Path, tmp_path: Path) -> None:
    with pytest.raises(NotFound):
        restore(tmp_path / "missing.db", tmp_path / "again.db")
    (tmp_path / "notes.txt").write_text("soda " * 100)
    with pytest.raises(Conflict):
        restore(tmp_path / "notes.txt", tmp_path / "again.db")
    with pytest.raises(NotFound, match="no folder"):
        restore(kitchen, tmp_path / "missing" / "again.db")
    with pytest.raises(UsageError):
        restore("postgresql://host/base", tmp_path / "again.db")


@pytest.mark.postgres
def test_a_kitchen_on_a_server_is_backed_up_by_its_server(postgres) -> None:  # type: ignore[no-untyped-def]
    name = postgres.kitchen()
    with open_kitchen(postgres.address(name)) as store, pytest.raises(UsageError) as error:
        back_up(store, "copy.db")
    assert error.value.try_this.startswith("pg_dump")
    postgres.drop(name)


def test_backups_under_load_are_whole_states(sqlite_kitchen: Path, tmp_path: Path) -> None:
    drill(sqlite_kitchen, tmp_path, backups=8)


def drill(kitchen: Path, folder: Path, *, backups: int) -> None:
    """Take and restore backups while another program writes; each holds what was acknowledged before it began."""
    process = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(kitchen)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdin is not None
    try:
        for number in range(backups):
            acknowledged = int(process.stdout.readline())
            with open_kitchen(str(kitchen)) as store:
                backup = back_up(store, folder / f"copy-{number}.db")
            assert backup.entries >= acknowledged
            assert backup.entries % 2 == 0  # no half deed
            restored = restore(backup.path, folder / f"again-{number}.db")
            assert restored.entries == backup.entries
            assert restored.rows == backup.entries
    finally:
        process.stdin.close()
        process.stdout.read()
        process.stdout.close()
        process.wait(timeout=30)
    assert process.returncode == 0
    with open_kitchen(str(kitchen)) as store:  # and every copy is a beginning of what stands now
        for number in range(backups):
            head = json.loads(manifest_of(folder / f"copy-{number}.db").read_text(encoding="utf-8"))["head"]
            assert verify_record(store, expect=head).expected == head
        with store.read() as session:
            assert session.exec(select(func.count()).select_from(AuditEntry)).one() % 2 == 0
