"""Do migrations make exactly the tables of the models, and guard every one of them?"""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, create_engine, event, inspect, text
from sqlalchemy.exc import DBAPIError
from sqlmodel import SQLModel

from tracker import models
from tracker.bench_tables import EXPIRING
from tracker.databases import Place, for_writing, place_of
from tracker.errors import Conflict, IntegrityError
from tracker.fingerprints import audit_head, content_hash
from tracker.migrations import FOLDER, NEWEST, VERSIONS, upgrade
from tracker.settings import APPLICATION_ID
from tracker.store import Store, open_kitchen
from tracker.taste_tables import EXPIRING_TOO
from tracker.workflow.checking import check_kitchen
from tracker.workflow.verifying import TABLES, verify_record

AT = "2026-11-25T09:00:00Z"
THE_LOGS = [table for table in TABLES.values() if table.__module__ != "tracker.models"]
ONLY_GROW = sorted(set(SQLModel.metadata.tables) - {"person_details", *EXPIRING, *EXPIRING_TOO})


def test_the_list_of_versions_is_alembics() -> None:
    script = ScriptDirectory(str(FOLDER))
    assert tuple(reversed([revision.revision for revision in script.walk_revisions()])) == VERSIONS
    assert script.get_current_head() == NEWEST


def test_migrated_tables_are_the_models(store: Store) -> None:
    with store.read() as session:
        context = MigrationContext.configure(session.connection(), opts={"compare_type": True})
        assert compare_metadata(context, SQLModel.metadata) == []


def test_constraints_are_the_models_too(store: Store) -> None:
    """Alembic compares no CHECKs: reflect both schemas and compare everything."""
    engine = create_engine("sqlite://" if store.place.path is not None else store.place.url or "")
    if store.place.url is not None:  # a second schema in the same database, which goes with it
        with engine.begin() as connection:
            connection.execute(text("CREATE SCHEMA modelled"))
        event.listen(engine, "connect", lambda raw, _: raw.execute("SET search_path TO modelled") and raw.commit())
        engine.dispose()
    with engine.begin() as fresh, store.read() as session:
        SQLModel.metadata.create_all(fresh)
        migrated, modelled = reflected(session.connection()), reflected(fresh)
    engine.dispose()
    assert migrated.keys() == modelled.keys() == set(SQLModel.metadata.tables)
    assert migrated == modelled
    assert any(constraint for parts in modelled.values() for constraint in parts["checks"])


def reflected(connection: Connection) -> dict[str, Any]:
    look = inspect(connection)
    return {
        name: {
            "columns": [(c["name"], str(c["type"]), c["nullable"]) for c in look.get_columns(name)],
            "key": look.get_pk_constraint(name)["constrained_columns"],
            "checks": sorted((str(c["name"]), c["sqltext"]) for c in look.get_check_constraints(name)),
            "uniques": sorted(tuple(c["column_names"]) for c in look.get_unique_constraints(name)),
            "indexes": sorted((str(c["name"]), tuple(c["column_names"])) for c in look.get_indexes(name)),
            "links": sorted(
                (tuple(c["constrained_columns"]), c["referred_table"], tuple(c["referred_columns"]))
                for c in look.get_foreign_keys(name)
            ),
        }
        for name in look.get_table_names()
        if name != "alembic_version"
    }


def fill_every_table(store: Store) -> None:
    """One real row in each table."""
    fill_the_first_tables(store)
    fill_the_daily_log(store)
    fill_the_bench(store)


def fill_the_first_tables(store: Store) -> None:
    who: dict[str, Any] = {"person_id": 1, "at": AT}
    with store.write(person=1, action="fill") as deed:
        add = deed.add
        add(models.PersonDetails(person_id=1, name="Ada"))
        instrument = add(models.Instrument(name="ruler"))
        add(models.Ingredient(name="baking soda"))
        formula = add(models.Formula(name="loaf", version=1, made_at=AT))
        add(models.FormulaLine(formula_id=formula.id, position=1, ingredient="flour", bakers_percent=100, flour=True))
        trial = add(models.Trial(name="soda", title="Soda", formula_id=formula.id, made_at=AT))
        add(models.TrialState(trial_id=trial.id, state="planned", **who))
        add(models.Factor(trial_id=trial.id, position=1, name="soda", kind="amount"))
        response = add(models.Response(trial_id=trial.id, position=1, name="rise height"))
        add(models.Extension(trial_id=trial.id, number=1, kind="replicates", seed=7, **who))
        run = add(models.Run(trial_id=trial.id, place_in_design=1, bake_order=1, code="417", settings="{}"))
        product = add(models.Product(name="loaf", made_at=AT))
        add(models.Specification(product_id=product.id, response="rise height", lower=1, upper=2))
        lot = add(models.Lot(ingredient="baking soda", code="L7"))
        batch = add(models.Batch(product_id=product.id, number="B1", baked_at=AT))
        add(models.BatchLot(batch_id=batch.id, lot_id=lot.id))
        bake = add(models.Bake(run_id=run.id, made_at=AT))
        add(models.Outcome(bake_id=bake.id, state="done", **who))
        add(models.Weighing(bake_id=bake.id, ingredient="baking soda", grams=3, **who))
        piece = add(models.Piece(bake_id=bake.id, number=1))
        file = add(models.ImportFile(trial_id=trial.id, name="a.csv", sha256="0" * 64, content=b"a,b\n\x00", **who))
        add(
            models.Reading(
                bake_id=bake.id,
                piece_id=piece.id,
                response_id=response.id,
                response="rise height",
                value=41.5,
                instrument_id=instrument.id,
                import_file_id=file.id,
                **who,
            )
        )
        add(models.TasteNote(bake_id=bake.id, words="fine", **who))


def fill_the_daily_log(store: Store) -> None:
    who: dict[str, Any] = {"person_id": 1, "at": AT}
    one: dict[str, Any] = {"product_id": 1, "response": "rise height"}
    why: dict[str, Any] = {"reason": "typed wrong"}
    with store.write(person=1, action="fill") as deed:
        add = deed.add
        add(models.LoggedResponse(product_id=1, name="rise height", unit="mm", stands_for="rise", **who))
        add(models.Expectation(mean=44, sd=1.2, trial_id=1, content_hash="0" * 64, **one, **who))
        add(models.LotDates(lot_id=1, received_on="2026-11-01", opened_on="2026-11-20", **who))
        add(models.BatchChange(batch_id=1, detail="oven", value="lower", **why, **who))
        add(models.BatchLotChange(batch_id=1, ingredient="baking soda", lot_id=None, **why, **who))
        add(models.BatchFile(batch_id=1, import_file_id=1))
        add(models.ReadingSize(reading_id=1, size=40))
        phase = add(models.PhaseEntry(number=1, from_batch_id=1, kind="individuals", **why, **one, **who))
        add(
            models.PhaseLimits(
                phase_id=phase.id,
                chart="individuals",
                **{"lower": 40.0, "centre": 44.0, "upper": 48.0, "sd": 1.3},
                **{"method": "mean moving range", "batches": 20, "first_batch_id": 1, "last_batch_id": 1},
            )
        )
        found: dict[str, Any] = {
            "rule": "outside the limits",
            "batch_id": 1,
            "since_batch_id": 1,
            "value": 39.0,
            "side": "below",
        }
        alarm = add(models.AlarmEntry(number=1, chart="individuals", phase_id=phase.id, at=AT, **one, **found))
        add(models.AlarmAnswer(alarm_id=alarm.id, state="answered", cause="cold oven", action="waited", **who))
        add(models.AcceptanceRule(rule='{"by":"count"}', **one, **who))
        add(models.Disposition(batch_id=1, decision="hold", **why, **who))


def fill_the_bench(store: Store) -> None:
    who: dict[str, Any] = {"person_id": 1, "at": AT}
    with store.write(person=1, action="fill") as deed:
        deed.add(models.Account(role="owner", **who))
        deed.add(models.BakeMoment(bake_id=1, what="begun", moment=AT, **who))
        tasting = deed.add(models.Tasting(trial_id=1, seed=7, responses="[1]", **who))
        deed.add(models.TastingState(tasting_id=tasting.id, state="open", **who))
        sample = deed.add(models.TastingSample(tasting_id=tasting.id, person_id=1, place=1, code="417", bake_id=1))
        deed.add(models.TastingConsent(tasting_id=tasting.id, words="I agree.", **who))
        deed.add(models.TastingAnswer(sample_id=sample.id, readings="[[1,1]]", **who))
        photo = deed.add(models.Photo(bake_id=1, width=4, height=3, sha256="ab" * 32, **who))
        deed.add(models.PhotoContent(photo_id=photo.id, content=b"\xff\xd8\x00\xff"))
        erased = deed.add(models.Photo(bake_id=1, width=4, height=3, sha256="cd" * 32, **who))
        deed.add(models.PhotoErasure(photo_id=erased.id, reason="a face", **who))


def test_what_expires_at_the_bench_can_be_changed_and_removed(store: Store) -> None:
    """And has no entry in the record: a hash of a PIN must not stay for ever."""
    run_raw(store, "INSERT INTO bench_secret VALUES (1, 'x', 'then')")
    run_raw(store, "UPDATE bench_secret SET pin_hash = 'y'")
    run_raw(store, f"INSERT INTO bench_key VALUES ('k', 'h', 1, '{AT}')")
    run_raw(store, f"INSERT INTO bench_guess VALUES ('a', 1, '{AT}')")
    run_raw(store, "INSERT INTO bench_guess_key VALUES ('k')")
    run_raw(store, f"INSERT INTO bench_session VALUES ('t', 'person', 1, '{AT}', '{AT}', '{AT}')")
    assert check_kitchen(store, full=True).wrong == ()
    for table in EXPIRING:
        run_raw(store, f"DELETE FROM {table}")
        with store.read() as session:
            assert session.connection().execute(text(f"SELECT count(*) FROM {table}")).scalar_one() == 0
    assert check_kitchen(store, full=True).wrong == ()


def test_every_table_has_a_row_that_can_be_neither_changed_nor_removed(store: Store) -> None:
    fill_every_table(store)
    before = dump(store)
    assert all(before[name] for name in TABLES)
    postgres = store.place.path is None
    for name in ONLY_GROW:
        column = next(iter(SQLModel.metadata.tables[name].columns)).name
        deeds = [f'UPDATE "{name}" SET {column} = {column}', f'DELETE FROM "{name}"']
        deeds += (
            [f'TRUNCATE "{name}" CASCADE'] if postgres else [f'INSERT OR REPLACE INTO "{name}" SELECT * FROM "{name}"']
        )
        for deed in deeds:
            with pytest.raises(DBAPIError, match=r"crumbwise: Rows of \w+ are never changed or removed"):
                run_raw(store, deed)
    assert dump(store) == before
    assert check_kitchen(store, full=True).wrong == ()


def run_raw(store: Store, statement: str) -> None:
    with for_writing(store.engine.connect()) as connection, connection.begin():
        connection.execute(text(statement))


def dump_one(store: Store, name: str) -> list[Any]:
    with store.read() as session:
        rows = session.connection().execute(SQLModel.metadata.tables[name].select()).all()
    return sorted(map(tuple, rows), key=repr)


def dump(store: Store) -> dict[str, list[Any]]:
    with store.read() as session:
        rows = {name: session.connection().execute(SQLModel.metadata.tables[name].select()).all() for name in TABLES}
    return {name: sorted(map(tuple, found), key=repr) for name, found in rows.items()}


def test_details_of_a_person_can_be_erased(store: Store) -> None:
    fill_every_table(store)
    run_raw(store, "UPDATE person_details SET name = 'Grace'")
    run_raw(store, "DELETE FROM person_details")
    assert dump(store)["person_details"] == []


IMPOSSIBLE = [
    ("reading", "value", "'NaN'"),
    ("reading", "value", "9e999"),
    ("reading", "value", "-9e999"),
    ("reading", "value", "NULL"),  # a void replaces something
    ("reading", "repeat", "0"),
    ("weighing", "grams", "-0.001"),
    ("weighing", "grams", "1000001"),
    ("weighing", "grams", "'NaN'"),
    ("weighing", "grams", "NULL"),
    ("outcome", "state", "'burnt'"),
    ("outcome", "state", "'failed'"),  # without a reason
    ("outcome", "oven_temperature_c", "9e999"),
    ("factor", "kind", "'colour'"),
    ("response", "matters", "0"),
    ("response", "matters", "9e999"),
    ("response", "target", "'NaN'"),
    ("response", "scale", "'stars'"),
    ("response", "goal", "'win'"),
    ("response", "importance", "0"),
    ("response", "accept_low", "9e999"),
    ("ingredient", "water_share", "1.01"),
    ("ingredient", "neutralising_value", "-1"),
    ("ingredient", "price_per_kg", "9e999"),
    ("formula_line", "bakers_percent", "10001"),
    ("formula_line", "bakers_percent", "'NaN'"),
    ("trial", "flour_per_bake_g", "0"),
    ("specification", "lower", "3"),  # above the upper limit
    ("piece", "number", "0"),
    ("bake", "batch_id", "1"),  # of a run and of a batch
    ("import_file", "product_id", "1"),  # into a trial and into a product
    ("trial_state", "state", "'eaten'"),
    ("audit_entry", "sequence", "0"),
    ("logged_response", "scale", "'stars'"),
    ("logged_response", "stands_for", "'luck'"),
    ("expectation", "sd", "0"),
    ("expectation", "mean", "9e999"),
    ("lot_dates", "opened_on", "'2026-10-31'"),  # before it came in
    ("batch_change", "detail", "'number'"),
    ("batch_change", "reason", "''"),
    ("batch_lot_change", "reason", "''"),
    ("reading_size", "size", "0"),
    ("phase", "reason", "''"),
    ("phase", "number", "0"),
    ("phase_limits", "lower", "48.1"),  # above the upper one
    ("phase_limits", "sd", "-1"),
    ("phase_limits", "centre", "9e999"),
    ("alarm", "side", "'left'"),
    ("alarm", "value", "'NaN'"),
    ("alarm_answer", "cause", "''"),
    ("alarm_answer", "state", "'forgotten'"),
    ("acceptance_rule", "version", "0"),
    ("acceptance_rule", "version", "2"),  # without a reason
    ("disposition", "decision", "'eat'"),
    ("disposition", "reason", "''"),
    ("account", "role", "'king'"),
    ("bake_moment", "what", "'eaten'"),
    ("bake_moment", "void", "true"),  # replaces nothing
    ("photo", "width", "0"),
    ("photo", "sha256", "'short'"),
    ("photo", "void", "true"),  # replaces nothing
    ("photo_erasure", "reason", "''"),
    ("tasting", "rest_s", "3601"),
    ("tasting_state", "state", "'eaten'"),
    ("tasting_state", "state", "'closed'"),  # without a reason
    ("tasting_sample", "place", "0"),
    ("tasting_sample", "code", "'41'"),
    ("tasting_consent", "words", "''"),
]


def test_the_database_itself_refuses_what_cannot_be(store: Store) -> None:
    fill_every_table(store)
    before = dump(store)
    for table, column, value in IMPOSSIBLE:
        statement = one_more(table, column, value, postgres=store.place.path is None)
        with pytest.raises(DBAPIError, match=r"CHECK constraint failed|NOT NULL|check constraint|not-null"):
            run_raw(store, statement)
    assert dump(store) == before
    run_raw(store, one_more("reading", "value", "1.5", postgres=store.place.path is None))  # the form itself is fine
    assert dump(store) != before


def one_more(table: str, column: str, value: str, *, postgres: bool) -> str:
    """One more row like the one that stands, but for one column and whatever must be unique."""
    names = [each.name for each in SQLModel.metadata.tables[table].columns]
    if postgres and "9e999" in value:
        value = f"'{'-' if value[0] == '-' else ''}Infinity'"
    other = {"id": "99", "code": "'999'", "place_in_design": "99", "bake_order": "99", "version": "99"}
    other |= {"position": "99", "hash": "'h'", "previous_hash": "'p'", "sequence": "99", "sha256": "'s'"}
    other |= {"name": "'other'", "number": "99", "run_id": "NULL", "ingredient": "'other'", column: value}
    if table == "bake":
        other["run_id"] = "1"
    taken = ", ".join(other.get(name, name) for name in names)
    return f'INSERT INTO "{table}" ({", ".join(names)}) SELECT {taken} FROM "{table}" LIMIT 1'


def later_versions(tmp_path: Path, deed: str) -> Path:
    """Our migrations with one more behind them."""
    folder = tmp_path / "migrations"
    shutil.copytree(FOLDER, folder, ignore=shutil.ignore_patterns("__pycache__"))
    (folder / "versions" / "9999_more.py").write_text(
        f"from alembic import op\nimport sqlalchemy as sa\n\nrevision = '9999'\ndown_revision = '{NEWEST}'\n\n\n"
        f"def upgrade():\n    {deed}\n",
        encoding="utf-8",
    )
    return folder


MORE = "op.create_table('shelf', sa.Column('id', sa.Integer(), primary_key=True))"


def test_a_filled_kitchen_is_migrated_whole_after_a_backup(store: Store, tmp_path: Path) -> None:
    fill_every_table(store)
    before, head = dump(store), verify_record(store).head
    store.close()
    backup = upgrade(store.place, folder=later_versions(tmp_path, MORE), versions=(*VERSIONS, "9999"))
    assert dump(store) == before
    assert verify_record(store, expect=head).head == head
    with store.read() as session:
        assert "shelf" in inspect(session.connection()).get_table_names()
        count = sum(
            check.found in (f"{kinds * len(ONLY_GROW)} of {kinds * len(ONLY_GROW)}" for kinds in (2, 3))
            for check in check_kitchen(store).checks
        )
    assert count == 1  # the triggers stand as before
    if store.place.path is None:
        assert backup is None
        return
    assert backup is not None
    with open_kitchen(str(backup)) as old:
        assert dump(old) == before


def kitchen_of_version_one(where: str, tmp_path: Path) -> Place:
    """A kitchen as it was before the daily log, with a real row in each of its tables."""
    place, folder = place_of(where), tmp_path / "as-it-was"
    later = [f"{version}_*" for version in VERSIONS[1:]]
    shutil.copytree(FOLDER, folder, ignore=shutil.ignore_patterns("__pycache__", *later))
    if place.path is not None:
        with closing(sqlite3.connect(place.path)) as connection:
            connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
    upgrade(place, folder=folder, versions=VERSIONS[:1])
    with Store(place) as store:
        with store.write(person=None, action="found the kitchen") as deed:
            deed.add_many([models.Kitchen(name="old", made_at=AT, made_with="0.1.0"), models.Person(made_at=AT)])
        fill_the_first_tables(store)
    return place


def test_a_kitchen_of_version_one_keeps_every_row_and_every_hash(empty_place: str, tmp_path: Path) -> None:
    place = kitchen_of_version_one(empty_place, tmp_path)
    first = sorted(set(TABLES) - {table.__tablename__ for table in THE_LOGS})
    with Store(place) as old:
        rows = {name: dump_one(old, name) for name in first}
        head = audit_head(old)
        # What stands of a trial is asked of every table; of one that is not there yet nothing stands.
        photos = SQLModel.metadata.tables["photo"]
        with for_writing(old.engine.connect()) as connection, connection.begin():
            photos.create(connection)
        content = content_hash(old, "soda")
        with for_writing(old.engine.connect()) as connection, connection.begin():
            photos.drop(connection)
    with open_kitchen(empty_place) as store:  # brings the tables to the newest version
        assert {name: dump_one(store, name) for name in first} == rows
        assert all(rows.values())
        assert (audit_head(store), content_hash(store, "soda")) == (head, content)
        assert verify_record(store, expect=head[1]).entries == head[0]
        assert check_kitchen(store, full=True).wrong == ()
        fill_the_daily_log(store)
        fill_the_bench(store)
        assert verify_record(store, expect=head[1]).entries == head[0] + len(THE_LOGS) + 1  # two photos
        for table in THE_LOGS:
            for deed in ("UPDATE {0} SET id = id", "DELETE FROM {0}"):
                with pytest.raises(DBAPIError, match=r"crumbwise: Rows of \w+ are never changed or removed"):
                    run_raw(store, deed.format(table.__tablename__))


@pytest.mark.parametrize(
    "deed",
    [
        "op.drop_table('shelf')",
        f"{MORE}; op.execute('DROP TABLE taste_note')",
        f"{MORE}; raise RuntimeError('power cut')",
    ],
)
def test_a_migration_that_fails_or_loses_rows_is_undone(store: Store, tmp_path: Path, deed: str) -> None:
    fill_every_table(store)
    before = dump(store)
    with pytest.raises((DBAPIError, IntegrityError, RuntimeError)):
        upgrade(store.place, folder=later_versions(tmp_path, deed), versions=(*VERSIONS, "9999"))
    assert dump(store) == before
    assert check_kitchen(store).wrong == ()


def test_tables_of_a_newer_program_are_refused_and_not_touched(kitchen_place: str, tmp_path: Path) -> None:
    place = place_of(kitchen_place)
    upgrade(place, folder=later_versions(tmp_path, MORE), versions=(*VERSIONS, "9999"))
    before = place.path.read_bytes() if place.path is not None else b""
    for create in (False, True):
        with pytest.raises(Conflict, match="newer Crumbwise"):
            open_kitchen(kitchen_place, create=create)
    assert before == (place.path.read_bytes() if place.path is not None else b"")


def test_upgrading_the_newest_does_nothing(sqlite_kitchen: Path) -> None:
    before = sqlite_kitchen.read_bytes()
    assert upgrade(place_of(str(sqlite_kitchen))) is None
    assert sqlite_kitchen.read_bytes() == before


def test_settings_are_really_set(sqlite_kitchen: Path) -> None:
    with open_kitchen(str(sqlite_kitchen)) as store, store.read() as session:
        raw = session.connection().connection
        answers = {name: raw.execute(f"PRAGMA {name}").fetchone()[0] for name in ("synchronous", "foreign_keys")}  # type: ignore[attr-defined]
        answers |= {
            name: raw.execute(f"PRAGMA {name}").fetchone()[0]  # type: ignore[attr-defined]
            for name in ("busy_timeout", "trusted_schema", "cell_size_check", "secure_delete", "recursive_triggers")
        }
        mode = raw.execute("PRAGMA journal_mode").fetchone()[0]  # type: ignore[attr-defined]
    assert answers == {
        "synchronous": 2,
        "foreign_keys": 1,
        "busy_timeout": 5000,
        "trusted_schema": 0,
        "cell_size_check": 1,
        "secure_delete": 1,
        "recursive_triggers": 1,
    }
    assert mode == ("wal" if sqlite3.sqlite_version_info >= (3, 51, 3) else "truncate")


def test_the_log_is_chosen_by_the_version_of_sqlite() -> None:
    from tracker.settings import journal_mode

    assert journal_mode((3, 51, 2)).value == "truncate"
    assert journal_mode((3, 40, 1)).value == "truncate"
    assert journal_mode((3, 51, 3)).value == "wal"
    assert journal_mode((4, 0, 0)).value == "wal"


def test_a_kitchen_left_in_the_other_journal_mode_is_brought_back(sqlite_kitchen: Path) -> None:
    other = "delete" if sqlite3.sqlite_version_info >= (3, 51, 3) else "wal"
    with closing(sqlite3.connect(sqlite_kitchen)) as connection:
        connection.execute(f"PRAGMA journal_mode={other}")
    with open_kitchen(str(sqlite_kitchen)) as store:
        assert check_kitchen(store).wrong == ()
        fill_every_table(store)
        assert verify_record(store).rows > 20
