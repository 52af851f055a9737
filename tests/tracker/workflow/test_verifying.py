"""Is every change behind the program's back found?"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from sqlalchemy import Connection, text

from tracker.audit import canonical, entry_hash
from tracker.errors import IntegrityError, UsageError
from tracker.fingerprints import audit_head
from tracker.models import Bake, Person, PersonDetails, Reading, Run, Trial
from tracker.store import Store
from tracker.workflow.verifying import verify_record

AT = "2026-11-25T09:00:00Z"


@pytest.fixture
def filled(store: Store) -> Store:
    """Entries 1 and 2 found the kitchen; 3 to 5 are a trial, a run, a bake; 6 to 15 ten readings; 16 a correction."""
    with store.write(person=1, action="plan") as deed:
        trial = deed.add(Trial(name="soda", title="Soda", made_at=AT))
        run = deed.add(Run(trial_id=trial.id, place_in_design=1, bake_order=1, code="417", settings="{}"))
        bake = deed.add(Bake(run_id=run.id, made_at=AT))
        first = {"bake_id": bake.id, "response": "rise height", "person_id": 1, "at": AT}
        rows = deed.add_many([Reading(**first, repeat=i + 1, value=40.0 + i) for i in range(10)])
        deed.add(Reading(**first, repeat=1, value=41.0, replaces_id=rows[0].id, reason="digits swapped"))
    return store


def tamper(store: Store, change: Callable[[Connection], None]) -> None:
    """What somebody with the file (or the server) in hands could do: triggers and links off, then anything."""
    with store.engine.connect().execution_options(crumbwise_writes=True) as connection:
        if store.place.path is not None:
            connection.connection.execute("PRAGMA foreign_keys=OFF")  # type: ignore[attr-defined]
        with connection.begin():
            if store.place.path is not None:
                triggers = connection.execute(text("SELECT name FROM sqlite_master WHERE type = 'trigger'")).scalars()
                for trigger in triggers.all():
                    connection.execute(text(f"DROP TRIGGER {trigger}"))
            else:
                connection.execute(text("SET LOCAL session_replication_role = replica"))
            change(connection)


def sql(*statements: str) -> Callable[[Connection], None]:
    def run(connection: Connection) -> None:
        for statement in statements:
            assert connection.execute(text(statement)).rowcount > 0, statement  # the tampering took place

    return run


def rewrite_one(connection: Connection) -> None:
    """Change a reading and its entry, with a hash that fits the entry again."""
    connection.execute(text("UPDATE reading SET value = 99 WHERE id = 3"))
    row = dict(connection.execute(text("SELECT * FROM audit_entry WHERE sequence = 8")).mappings().one())
    row["new"] = row["new"].replace('"value":42.0', '"value":99.0')
    assert "99.0" in row["new"]
    connection.execute(
        text("UPDATE audit_entry SET new = :new, hash = :hash WHERE sequence = 8"),
        {"new": row["new"], "hash": entry_hash(row)},
    )


TAMPERINGS = {
    "a value": (sql("UPDATE reading SET value = 99 WHERE id = 3"), 8),
    "a value by the last digit": (sql("UPDATE reading SET value = 42.00000000000001 WHERE id = 3"), 8),
    "a value taken away": (sql("UPDATE reading SET value = NULL, void = (1 = 1) WHERE id = 11"), 16),
    "a reason": (sql("UPDATE reading SET reason = 'it looked better' WHERE id = 11"), 16),
    "who read it": (sql("UPDATE reading SET person_id = 2 WHERE id = 3"), 8),
    "a plan": (sql("UPDATE run SET settings = '[]'"), 4),
    "a row removed": (sql("DELETE FROM reading WHERE id = 5"), 10),
    "a row and its entry removed": (
        sql("DELETE FROM reading WHERE id = 5", "DELETE FROM audit_entry WHERE sequence = 10"),
        10,
    ),
    "the first entry removed": (sql("DELETE FROM audit_entry WHERE sequence = 1"), 1),
    "a row slipped in": (
        sql("INSERT INTO person (id, made_at) VALUES (77, 'x')"),
        "Row 77 of person has no entry",
    ),
    "two entries swapped": (
        sql(
            "UPDATE audit_entry SET sequence = 999 WHERE sequence = 7",
            "UPDATE audit_entry SET sequence = 7 WHERE sequence = 8",
            "UPDATE audit_entry SET sequence = 8 WHERE sequence = 999",
        ),
        7,
    ),
    "the moment of an entry": (sql("UPDATE audit_entry SET at = '2020-01-01T00:00:00Z' WHERE sequence = 6"), 6),
    "the person of an entry": (sql("UPDATE audit_entry SET person_id = 2 WHERE sequence = 6"), 6),
    "the reason of an entry": (sql("UPDATE audit_entry SET reason = '' WHERE sequence = 16"), 16),
    "the old row of a correction": (sql("UPDATE audit_entry SET old = NULL WHERE sequence = 16"), 16),
    "one entry with a hash that fits": (rewrite_one, 9),
    "everything removed": (sql("DELETE FROM audit_entry"), "The record has no entries"),
}


@pytest.mark.parametrize("what", TAMPERINGS)
def test_tampering_is_found_and_its_entry_named(filled: Store, what: str) -> None:
    change, named = TAMPERINGS[what]
    assert verify_record(filled).entries == 16
    tamper(filled, change)
    with pytest.raises(IntegrityError) as error:
        verify_record(filled)
    assert error.value.what.startswith(named if isinstance(named, str) else f"Entry {named} of the record ")
    assert error.value.exit_code == 6


def cut_tail(connection: Connection) -> None:
    connection.execute(text("DELETE FROM reading WHERE id = 11"))
    connection.execute(text("DELETE FROM audit_entry WHERE sequence = 16"))


def test_a_cut_tail_shows_against_a_noted_head_only(filled: Store) -> None:
    count, head = audit_head(filled)
    assert verify_record(filled, expect=head).expected_at == count == 16
    tamper(filled, cut_tail)
    assert verify_record(filled).entries == 15  # the chain alone cannot tell, and the answer says so
    assert "--expect" in verify_record(filled).summary()
    with pytest.raises(IntegrityError, match="cut off or rewritten"):
        verify_record(filled, expect=head)


def rebuild(connection: Connection) -> None:
    """What an owner can always do: change a reading, then compute the whole chain again."""
    connection.execute(text("UPDATE reading SET value = 99 WHERE id = 3"))
    entries = connection.execute(text("SELECT * FROM audit_entry ORDER BY sequence")).mappings().all()
    connection.execute(text("DELETE FROM audit_entry"))
    previous = "0" * 64
    for found in entries:
        entry = dict(found)
        if entry["sequence"] == 8:
            entry["new"] = entry["new"].replace('"value":42.0', '"value":99.0')
        entry["previous_hash"] = previous
        entry["hash"] = previous = entry_hash(entry)
        names = ", ".join(entry)
        connection.execute(text(f"INSERT INTO audit_entry ({names}) VALUES (:{', :'.join(entry)})"), entry)


def test_a_rebuilt_chain_shows_against_a_noted_head_only(filled: Store) -> None:
    _, head = audit_head(filled)
    tamper(filled, rebuild)
    assert verify_record(filled).entries == 16
    with pytest.raises(IntegrityError, match="cut off or rewritten"):
        verify_record(filled, expect=head)


def test_an_earlier_head_is_a_part_of_the_chain(filled: Store) -> None:
    count, head = audit_head(filled)
    with filled.write(person=1, action="add person") as deed:
        deed.add(Person(made_at=AT))
    verified = verify_record(filled, expect=head[:12].upper())
    assert (verified.expected_at, verified.entries) == (count, count + 1)


@pytest.mark.parametrize("head", ["", "abc", "g" * 64, "0" * 65])
def test_what_is_no_head_is_refused(store: Store, head: str) -> None:
    with pytest.raises(UsageError):
        verify_record(store, expect=head)


def test_an_erased_name_leaves_the_record_whole(store: Store) -> None:
    with store.write(person=1, action="add person") as deed:
        deed.add(PersonDetails(person_id=1, name="Ada"))
    with store.write(person=1, action="erase person") as deed:
        deed.erase_person(1)
    assert verify_record(store).entries == 4
    with store.write(person=1, action="name person") as deed:
        deed.add(PersonDetails(person_id=1, name="Grace"))
    assert verify_record(store).entries == 5
    tamper(store, sql("DELETE FROM person_details"))
    with pytest.raises(IntegrityError, match="Entry 5"):
        verify_record(store)


def test_canonical_text_is_one_text_for_one_content() -> None:
    assert canonical({"b": 1.0, "a": "größer 🍞", "c": [True, None]}) == '{"a":"größer 🍞","b":1.0,"c":[true,null]}'
    with pytest.raises(ValueError, match="JSON compliant"):
        canonical({"a": float("nan")})
