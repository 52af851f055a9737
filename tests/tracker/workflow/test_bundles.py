"""Does a trial go from one kitchen to another whole, unchanged, and with nobody's name?"""

from __future__ import annotations

import io
import json
import shutil
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pandas as pd
import pytest
from sqlmodel import func, select

from tracker.errors import Conflict, InputError, IntegrityError, NotFound, UsageError
from tracker.fingerprints import content_hash
from tracker.intake import bundle_file
from tracker.models import Ingredient, Person, PersonDetails, Reading, TasteNote
from tracker.store import Store, open_kitchen
from tracker.workflow.bundled import BY_NAME, TABLES
from tracker.workflow.bundling import bundle_bytes, bundle_trial
from tracker.workflow.exchange import import_readings
from tracker.workflow.exporting import export_table
from tracker.workflow.ingredients import keep_measured
from tracker.workflow.people import add_person
from tracker.workflow.planning import plan_trial
from tracker.workflow.recording import add_note, record_run
from tracker.workflow.unpacking import unpack_trial
from tracker.workflow.verifying import verify_record

PLAN = """
title = "Soda against two acids"
name = "soda"
question = "How much soda?"
flour_per_bake_g = 300

[formula]
name = "hut loaf"

[[formula.line]]
ingredient = "wheat flour"
bakers_percent = 100
flour = true

[[formula.line]]
ingredient = "water"
bakers_percent = 60

[[formula.line]]
ingredient = "baking soda"
bakers_percent = 1

[[formula.line]]
ingredient = "yogurt"
bakers_percent = 20

[[factor]]
name = "soda"
kind = "amount"
unit = "% flour"
values = [0.5, 1, 1.5, 2]
ingredient = "baking soda"

[[response]]
name = "rise height"
unit = "mm"
goal = "maximise"
matters = 3
spread = 2

[[response]]
name = "crumb score"
scale = "score"
anchors = ["gummy", "coarse", "fine"]

[design]
kind = "dose ladder"
replicates = 2
block = "bake day"
seed = 11
"""


def fill(store: Store) -> tuple[list[str], str]:
    """A trial with a correction, a failed run, two tasters, an import, a measured yogurt and a note."""
    keep_measured(store, "yogurt", neutralises_g=1.2, ph=4.2)
    taster = add_person(store, "Ida").number
    plan_trial(store, PLAN)
    codes = [str(run[0]) for run in export_table(store, "soda").rows]
    for at, code in enumerate(codes[:-3]):
        record_run(store, "soda", code, [f"rise height={40 + 3 * at}", "crumb score=2"], person=1)
    record_run(store, "soda", codes[0], ["rise height=44.25"], correct=True, reason="misread", person=taster)
    record_run(store, "soda", codes[-3], [], outcome="failed", reason="oven door stood open")
    add_note(store, "soda", codes[1], "soapy at the rim, =1+1", tags=["soapy"], person=taster)
    sheet = io.StringIO()
    pd.DataFrame({"run": codes[-2:], "rise height": [50.125, 51]}).to_csv(sheet, index=False)
    return codes, sheet.getvalue()


def bake_all(store: Store, folder: Path) -> None:
    _, text = fill(store)
    (folder / "late.csv").write_text(text, encoding="utf-8")
    import_readings(store, "soda", folder / "late.csv")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a kitchen and the bundle of its trial."""
    folder = tmp_path_factory.mktemp("made")
    with open_kitchen(str(folder / "kitchen.db"), create=True) as store:
        bake_all(store, folder)
        bundle_trial(store, "soda", folder / "soda.zip")
    return folder


@pytest.fixture
def baked(made: Path) -> Iterator[Store]:
    """Nothing is written into it by these tests."""
    with open_kitchen(str(made / "kitchen.db")) as store:
        yield store


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Store]:
    with open_kitchen(str(tmp_path / "other.db"), create=True) as opened:
        yield opened


@pytest.fixture
def bundle(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(made / "soda.zip", tmp_path / "soda.zip"))


def members(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def rewritten(path: Path, change: Callable[[dict[str, bytes]], None]) -> Path:
    files = members(path)
    change(files)
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return path


def with_record(path: Path, change: Callable[[dict], None]) -> Path:
    """The record changed, and its hash with it: what a careful forger would do."""

    def both(files: dict[str, bytes]) -> None:
        import hashlib

        record, about = json.loads(files["record.json"]), json.loads(files["datapackage.json"])
        change(record)
        files["record.json"] = json.dumps(record).encode()
        about["crumbwise"]["files"]["record.json"] = hashlib.sha256(files["record.json"]).hexdigest()
        files["datapackage.json"] = json.dumps(about).encode()

    return rewritten(path, both)


def count(store: Store, table: type) -> int:
    with store.read() as session:
        return session.exec(select(func.count()).select_from(table)).one()


def test_another_kitchen_holds_the_same_content(baked, other, bundle):
    unpacked = unpack_trial(other, bundle)
    assert unpacked.content_sha256 == content_hash(baked, "soda") == content_hash(other, "soda")
    assert verify_record(other).entries == verify_record(other).rows > 50
    # With what was corrected, and why.
    with other.read() as session:
        corrected = session.exec(select(Reading).where(Reading.reason == "misread")).one()
        assert session.get(Reading, corrected.replaces_id).value == 40
        assert session.exec(select(Ingredient.ph).where(Ingredient.name == "yogurt")).one() == 4.2
    assert unpacked.rows["import_file"] == 1


def test_both_databases_give_and_take_the_same_content(store, other, tmp_path):
    bake_all(store, tmp_path)
    unpack_trial(other, bundle_trial(store, "soda", tmp_path / "there.zip"))
    assert content_hash(other, "soda") == content_hash(store, "soda")


def test_a_bundle_comes_into_either_database(store, bundle):
    assert unpack_trial(store, bundle).content_sha256 == content_hash(store, "soda")
    with pytest.raises(Conflict):
        unpack_trial(store, bundle)


def test_a_trial_that_came_in_goes_out_as_it_came(baked, other, bundle, tmp_path):
    unpack_trial(other, bundle)
    first, second = members(bundle), members(bundle_trial(other, "soda", tmp_path / "again.zip"))
    for name in ("readings.csv", "readings.parquet", "plan.toml", "formula.csv"):
        assert first[name] == second[name], name
    with open_kitchen(str(tmp_path / "third.db"), create=True) as third:
        assert unpack_trial(third, tmp_path / "again.zip").content_sha256 == content_hash(baked, "soda")


def test_the_answer_is_the_same_in_the_other_kitchen(baked, other, bundle):
    from tracker.workflow.analysing import analyse_trial

    unpack_trial(other, bundle)
    one, two = (analyse_trial(each, "soda").to_json() for each in (baked, other))
    for answer in (one, two):
        del answer["provenance"]
    assert one == two


def test_tasters_stay_apart_and_nobody_is_named(baked, other, bundle):
    assert b"Ida" not in b"".join(members(bundle).values())
    unpack_trial(other, bundle)
    assert count(other, Person) == 1 + 2
    with other.read() as session:
        assert len(set(session.exec(select(Reading.person_id)))) == 2
        assert not session.exec(select(PersonDetails).where(PersonDetails.name == "Ida")).all()


def test_same_record_same_bytes(baked):
    assert bundle_bytes(baked, "soda") == bundle_bytes(baked, "soda")


def test_the_tables_say_what_they_hold(bundle):
    files = members(bundle)
    about = json.loads(files["datapackage.json"])
    readings, parquet = about["resources"][:2]
    table = pd.read_csv(io.BytesIO(files["readings.csv"]), dtype={"run": str})
    assert [field["name"] for field in readings["schema"]["fields"]] == list(table.columns)
    exact = pd.read_parquet(io.BytesIO(files["readings.parquet"]))
    assert list(exact.columns) == list(table.columns)
    assert exact["rise_height_mm"].dropna().tolist() == table["rise_height_mm"].dropna().tolist()
    assert 50.125 in exact["rise_height_mm"].dropna().tolist()
    assert exact["outcome"].dtype.ordered
    by_path = {each["path"]: each for each in about["resources"]}
    assert set(files) == {*by_path, "README.txt", "datapackage.json"}
    assert all(each["bytes"] == len(files[path]) for path, each in by_path.items() if each is not parquet)
    assert parquet["format"] == "parquet"
    assert b"<title>" in files["report.html"]


def test_a_trial_without_readings_travels_without_a_report(store, other, tmp_path):
    plan_trial(store, PLAN)
    path = bundle_trial(store, "soda", tmp_path / "soda.zip")
    assert "report.html" not in members(path)
    assert "no readings" in json.loads(members(path)["datapackage.json"])["crumbwise"]["no_report"]
    unpack_trial(other, path)
    assert content_hash(other, "soda") == content_hash(store, "soda")


def test_the_same_trial_is_not_taken_in_twice(other, bundle):
    unpack_trial(other, bundle)
    rows = count(other, Reading)
    with pytest.raises(Conflict, match="its content is the same"):
        unpack_trial(other, bundle)
    assert count(other, Reading) == rows


def test_another_formula_of_that_name_is_not_mixed_up(other, bundle):
    plan_trial(other, PLAN.replace("percent = 20", "percent = 25"), name="mine")
    with pytest.raises(Conflict, match="hut loaf"):
        unpack_trial(other, bundle)


def test_the_same_formula_is_used(baked, other, bundle):
    plan_trial(other, PLAN, name="mine")
    unpack_trial(other, bundle)
    assert content_hash(other, "soda") == content_hash(baked, "soda")


def test_a_kitchen_keeps_what_it_measured_itself(baked, other, bundle):
    keep_measured(other, "yogurt", neutralises_g=1.5, ph=4.6)
    unpacked = unpack_trial(other, bundle)
    assert any("yogurt" in remark for remark in unpacked.remarks)
    assert content_hash(other, "soda") == content_hash(baked, "soda")


def test_a_changed_file_is_refused_and_named(other, bundle):
    rewritten(bundle, lambda files: files.update({"plan.toml": files["plan.toml"] + b"#"}))
    with pytest.raises(IntegrityError, match=r"plan\.toml"):
        unpack_trial(other, bundle)


def test_a_missing_file_is_refused_and_named(other, bundle):
    rewritten(bundle, lambda files: files.pop("formula.csv"))
    with pytest.raises(IntegrityError, match=r"formula\.csv is missing"):
        unpack_trial(other, bundle)


def test_a_changed_reading_is_found_though_its_hash_was_changed_too(other, bundle):
    with_record(bundle, lambda record: record["reading"][1].update(value=99.0))
    with pytest.raises(IntegrityError, match="content hash differs"):
        unpack_trial(other, bundle)
    assert count(other, Reading) == 0
    assert count(other, TasteNote) == 0


HOSTILE = {
    "a word for a number": lambda record: record["reading"][0].update(value="hot"),
    "a column too many": lambda record: record["reading"][0].update(spell="1"),
    "a column too few": lambda record: record["run"][0].pop("code"),
    "a row that is none": lambda record: record["run"].append([1, 2]),
    "a table too few": lambda record: record.pop("run"),
    "a file that is no base64": lambda record: record["import_file"][0].update(content="§"),
}


@pytest.mark.parametrize("change", HOSTILE.values(), ids=HOSTILE)
def test_a_record_that_is_none_is_refused_in_words(other, bundle, change):
    with_record(bundle, change)
    with pytest.raises(InputError) as refused:
        unpack_trial(other, bundle)
    assert refused.value.try_this
    assert count(other, Reading) == 0


def test_a_row_that_refers_to_nothing_is_refused(other, bundle):
    with_record(bundle, lambda record: record["reading"][0].update(bake_id=999))
    with pytest.raises(IntegrityError, match="refers to one that is not in the bundle"):
        unpack_trial(other, bundle)


def test_no_zip_another_zip_and_no_file_are_refused(other, tmp_path):
    (tmp_path / "text.zip").write_text("flour", encoding="utf-8")
    with zipfile.ZipFile(tmp_path / "photos.zip", "w") as archive:
        archive.writestr("a.txt", "a")
    for name, error in (("text.zip", InputError), ("photos.zip", InputError), ("none.zip", NotFound)):
        with pytest.raises(error):
            unpack_trial(other, tmp_path / name)


def test_a_bomb_is_refused_before_it_goes_off(other, tmp_path, monkeypatch):
    monkeypatch.setattr(bundle_file, "MAX_UNPACKED", 1_000_000)
    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("datapackage.json", b" " * 5_000_000)
    with pytest.raises(InputError, match="would unpack to"):
        unpack_trial(other, tmp_path / "bomb.zip")


def test_a_newer_format_is_refused(other, bundle):
    def newer(files):
        about = json.loads(files["datapackage.json"])
        about["crumbwise"]["format_version"] = 99
        files["datapackage.json"] = json.dumps(about).encode()

    rewritten(bundle, newer)
    with pytest.raises(InputError, match="newer"):
        unpack_trial(other, bundle)


def test_a_file_that_is_there_is_left_alone(baked, bundle):
    before = bundle.read_bytes()
    with pytest.raises(Conflict):
        bundle_trial(baked, "soda", bundle)
    assert bundle.read_bytes() == before
    bundle_trial(baked, "soda", bundle, replace=True)
    with pytest.raises(UsageError):
        bundle_trial(baked, "soda", bundle.with_suffix(".tar"))


def test_every_table_that_hangs_on_a_trial_travels():
    from tracker import models

    trials_own = {"trial", "run", "bake", "formula", "extension", "response", "piece"}
    for table in vars(models).values():
        columns = getattr(getattr(table, "__table__", None), "foreign_keys", ())
        if {str(key.column.table.name) for key in columns} & trials_own:
            # A product and what hangs on it is the daily log's, the promise of its trial included.
            assert table in TABLES or table.__tablename__ in {"product", "batch", "expectation"}, table
    assert list(BY_NAME) == [table.__tablename__ for table in TABLES]
