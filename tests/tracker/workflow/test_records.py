"""Do checks, history and people say what is there?"""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import text

from tracker.errors import Conflict, InputError, IntegrityError, NotFound, UsageError
from tracker.migrations import NEWEST
from tracker.models import AuditEntry, Bake, Outcome, Reading, Run, Trial
from tracker.store import Store, open_kitchen
from tracker.workflow.records import add_person, check_kitchen, erase_person, history, list_people, verify_record
from tracker.workflow.verifying import TABLES

AT = "2026-11-25T09:00:00Z"


def fill(store: Store) -> None:
    """Two trials of two runs; the first run of the first is baked, read, corrected by person 2."""
    add_person(store, "Ada")
    for name in ("soda", "powder"):
        with store.write(person=1, action="plan") as deed:
            trial = deed.add(Trial(name=name, title=name, made_at=AT))
            runs = deed.add_many(
                [
                    Run(trial_id=trial.id, place_in_design=i, bake_order=3 - i, code=f"{410 + i}", settings="{}")
                    for i in (1, 2)
                ]
            )
            bake = deed.add(Bake(run_id=runs[0].id, made_at=AT))
            rise = {"bake_id": bake.id, "response": "rise height", "at": AT}
            old = deed.add(Reading(**rise, value=14.5, person_id=1))
        with store.write(person=2, action="correct reading", reason="digits swapped") as deed:
            deed.add(Reading(**rise, value=41.5, person_id=2, replaces_id=old.id, reason="digits swapped"))


def test_a_fresh_kitchen_is_sound(store: Store) -> None:
    for full in (False, True):
        report = check_kitchen(store, full=full)
        assert report.wrong == ()
        found = {check.name: check.found for check in report.checks}
        assert found["version of the tables"] == NEWEST
        if store.place.path is not None:
            assert report.database.startswith("SQLite 3")
            assert found["integrity_check" if full else "quick_check"] == "ok"
            assert "journal_mode" in found
        else:
            assert report.database.startswith("PostgreSQL ")
            assert found["triggers against change"] == f"{3 * (len(TABLES) - 1)} of {3 * (len(TABLES) - 1)}"
        assert report.to_json()["sound"] is True
        report.require_sound()


def test_a_missing_trigger_is_wrong(store: Store) -> None:
    drop = "DROP TRIGGER reading_no_update" + ("" if store.place.path is not None else " ON reading")
    with store.engine.connect().execution_options(crumbwise_writes=True) as connection, connection.begin():
        connection.execute(text(drop))
    report = check_kitchen(store)
    assert [check.name for check in report.wrong] == ["triggers against change"]
    with pytest.raises(IntegrityError, match="triggers against change"):
        report.require_sound()


def test_rows_that_point_at_nothing_are_wrong(sqlite_kitchen: Path) -> None:
    import sqlite3
    from contextlib import closing

    with closing(sqlite3.connect(sqlite_kitchen)) as connection:  # links are not checked unless asked
        connection.execute("INSERT INTO piece (bake_id, number) VALUES (7, 1)")
        connection.commit()
    sqlite_kitchen.chmod(0o644)
    with open_kitchen(str(sqlite_kitchen)) as store:
        report = check_kitchen(store)
    assert [check.name for check in report.wrong] == ["rows that point at nothing"]
    assert [check.name for check in report.checks if check.verdict == "look here"] == ["file mode"]


def test_history_is_of_what_was_asked_newest_first(store: Store) -> None:
    fill(store)
    everything = history(store)
    assert [line.sequence for line in everything] == list(range(len(everything), 0, -1))
    assert [line.sequence for line in history(store, limit=3)] == [line.sequence for line in everything[:3]]
    of_trial = history(store, trial="soda")
    assert [(line.table, line.action) for line in of_trial] == [
        ("reading", "correct reading"),
        ("reading", "plan"),
        ("bake", "plan"),
        ("run", "plan"),
        ("run", "plan"),
        ("trial", "plan"),
    ]
    assert [line.table for line in history(store, trial="soda", run="411")] == ["reading", "reading", "bake", "run"]
    assert [line.table for line in history(store, trial="soda", run="#1")] == ["run"]  # 412 is baked first
    assert {line.person for line in history(store, person=2)} == {2}
    assert len(history(store, trial="powder", person=2)) == 1


def test_history_says_what_it_was_and_why(store: Store) -> None:
    fill(store)
    line = history(store, trial="soda")[0]
    assert "person 2, correct reading: reading 2, rise height 41.5 1 (was rise height 14.5 1)" in line.words()
    assert line.words().endswith('because "digits swapped"')
    assert line.to_json()["old"]["value"] == 14.5


def test_history_refuses_what_it_cannot_answer(store: Store) -> None:
    fill(store)
    with pytest.raises(NotFound):
        history(store, trial="sodda")
    with pytest.raises(NotFound):
        history(store, trial="soda", run="999")
    with pytest.raises(UsageError):
        history(store, run="411")
    with pytest.raises(UsageError):
        history(store, limit=0)


def test_people_are_added_named_listed_and_forgotten(store: Store) -> None:
    ada = add_person(store, "  Ada   Quill ", allergens="hazelnut")
    assert (ada.number, ada.name, ada.allergens) == (2, "Ada Quill", "hazelnut")
    assert add_person(store, "Me", number=1).number == 1
    assert [(line.number, line.name) for line in list_people(store)] == [(1, "Me"), (2, "Ada Quill")]
    assert erase_person(store, 2, reason="asked for it").name is None
    assert [(line.number, line.name) for line in list_people(store)] == [(1, "Me"), (2, None)]
    assert verify_record(store).entries == 6
    with store.read() as session:
        kept = " ".join(str(row) for row in session.connection().execute(AuditEntry.__table__.select()))  # type: ignore[attr-defined]
    assert "Quill" not in kept
    assert "asked for it" in kept


def test_people_are_refused_in_words(store: Store) -> None:
    add_person(store, "Ada")
    before = verify_record(store)
    with pytest.raises(Conflict):
        add_person(store, "Ada")
    with pytest.raises(InputError):
        add_person(store, "  ")
    with pytest.raises(NotFound):
        add_person(store, "Grace", number=9)
    with pytest.raises(Conflict):
        add_person(store, "Grace", number=2)
    with pytest.raises(InputError, match="needs a reason"):
        erase_person(store, 2, reason=" ")
    with pytest.raises(InputError, match="holds the name"):
        erase_person(store, 2, reason="ada left")
    with pytest.raises(NotFound):
        erase_person(store, 1, reason="asked for it")
    with pytest.raises(NotFound):
        erase_person(store, 2, reason="asked for it", person=9)
    assert verify_record(store) == before


def test_a_reason_is_asked_for_by_the_database_too(store: Store) -> None:
    fill(store)
    with pytest.raises(InputError), store.write(person=1, action="x") as deed:
        deed.add(Outcome(bake_id=1, state="failed", person_id=1, at=AT))
