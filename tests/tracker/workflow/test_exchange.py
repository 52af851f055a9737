"""Do readings come in whole or not at all, and go out so that they come back the same?"""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlmodel import col, select

from tracker.errors import Conflict, InputError, NotFound, TrackerError, UsageError
from tracker.models import ImportFile, Outcome, Reading, Response, Run, TasteNote, Trial
from tracker.store import Store, open_kitchen
from tracker.workflow.analysing import analyse_trial
from tracker.workflow.exchange import import_readings
from tracker.workflow.exporting import export_table, export_trial, guarded
from tracker.workflow.import_rows import unguarded
from tracker.workflow.planning import plan_trial
from tracker.workflow.recording import add_note, record_run
from tracker.workflow.trial_import import Asked, import_trial, preview_trial

PUBLISHED = Path(__file__).parents[2] / "published"
GOOD = """run,piece,repeat,rise height (mm),crumb_score,split crust,outcome,reason,taste notes
101,1,1,"42,5",4,no,,,a little soapy
101,2,1,41.8,fine,,,,
102,,,40,,yes,,,
103,,,,,,failed,the oven went out,
104,,,,,,,,
"""


WEIGHED = """
title = "How much soda?"
name = "loaf"
flour_per_bake_g = 150

[formula]
name = "loaf"
[[formula.line]]
ingredient = "wheat flour"
bakers_percent = 100
flour = true

[[factor]]
name = "soda"
kind = "amount"
unit = "% flour"
values = [0.4, 0.8, 1.2]
ingredient = "baking soda"

[[response]]
name = "rise height"
unit = "mm"

[design]
kind = "dose ladder"
replicates = 2
seed = 11
"""


@dataclass
class Folder:
    """Writes files to import."""

    path: Path

    def file(self, text: str | bytes, name: str = "readings.csv") -> Path:
        path = self.path / name
        path.write_bytes(text.encode() if isinstance(text, str) else text)
        return path


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def kept(store: Store) -> list[tuple[str, str, float | None]]:
    with store.read() as session:
        rows = session.exec(select(Reading).order_by(col(Reading.id)))
        return [(row.response, str(row.repeat), row.value) for row in rows]


def test_a_file_comes_in_whole(soda: Store, folder: Folder) -> None:
    preview = import_readings(soda, "soda", folder.file(GOOD))
    assert preview.stored
    assert (preview.rows, preview.readings) == (5, 7)
    assert preview.missing == {"rise height": 2, "crumb score": 3, "split crust": 3}
    assert kept(soda) == [
        ("rise height", "1", 42.5),
        ("crumb score", "1", 4.0),
        ("split crust", "1", 0.0),
        ("rise height", "1", 41.8),
        ("crumb score", "1", 4.0),
        ("rise height", "1", 40.0),
        ("split crust", "1", 1.0),
    ]
    with soda.read() as session:
        file = session.exec(select(ImportFile)).one()
        assert (file.sha256, file.content) == (preview.sha256, GOOD.encode())
        states = session.exec(select(Outcome.state, Outcome.reason).order_by(col(Outcome.id))).all()
        assert states == [("done", ""), ("done", ""), ("failed", "the oven went out")]
        assert session.exec(select(TasteNote.words)).all() == ["a little soapy"]


def test_a_preview_changes_nothing(soda: Store, folder: Folder, unchanged: Callable[[], bool]) -> None:
    preview = import_readings(soda, "soda", folder.file(GOOD), dry_run=True)
    assert not preview.stored
    assert preview.errors == ()
    assert unchanged()


def test_the_same_file_twice_names_when_it_came(soda: Store, folder: Folder) -> None:
    import_readings(soda, "soda", folder.file(GOOD))
    before = kept(soda)
    with pytest.raises(Conflict, match=r"as readings\.csv on \d{4}-\d\d-\d\d at"):
        import_readings(soda, "soda", folder.file(GOOD, "another name.csv"))
    assert kept(soda) == before


def test_rows_may_name_the_bake_order_and_repeat_themselves(soda: Store, folder: Folder) -> None:
    import_readings(soda, "soda", folder.file("bake order;rise height\n1;40\n1;41,5\n2;39\n"))
    assert kept(soda) == [("rise height", "1", 40.0), ("rise height", "2", 41.5), ("rise height", "1", 39.0)]


@pytest.mark.parametrize(
    ("text", "words", "row"),
    [
        ("run,rise height\n101,40\n102,tall\n", "text in a number", 3),
        ("run,rise height\n101,NA\n", "text in a number", 2),
        ("run,rise height\n101,-\n", "text in a number", 2),
        ("run,rise height\n101,42 mm\n", '"mm" behind its number', 2),
        ('run,rise height\n101,"1,234"\n', "can be read as", 2),
        ("run,rise height\n101,-4\n", "impossible", 2),
        ("run,crumb score\n101,7\n", "no score", 2),
        ("run,rise height\n999,40\n", 'no run "999"', 2),
        ("run,rise height\n,40\n", "names no run", 2),
        ("run,rise height\n101,40\n101,40\n", "the same as row 2", 3),
        ("run,repeat,rise height\n101,1,40\n101,1,41\n", "Row 2 holds the same run", 3),
        ("run,bake order,rise height\n101,3,40\n", "baked as #8, not #3", 2),
        ("run,soda,rise height\n101,2,40\n", "planned with 0.5", 2),
        ("run,acid source,rise height\n101,lemon juice,40\n", 'planned with "yogurt"', 2),
        ("run,piece,rise height\n101,1.5,40\n", "1.5 is no piece", 2),
        ("run,outcome\n101,burnt\n", "no outcome", 2),
        ("run,outcome\n101,failed\n", "needs a reason", 2),
        ("run,repeat,rise height,outcome,reason\n101,1,40,done,\n101,2,41,failed,burnt\n", "is done in a row above", 3),
    ],
)
def test_one_bad_row_and_nothing_is_stored(
    soda: Store, folder: Folder, unchanged: Callable[[], bool], text: str, words: str, row: int
) -> None:
    path = folder.file(text)
    with pytest.raises(InputError) as caught:
        import_readings(soda, "soda", path)
    assert words in caught.value.what
    assert f"row {row}" in caught.value.what
    assert "nothing was stored" in caught.value.what
    assert caught.value.try_this
    assert unchanged()
    errors = import_readings(soda, "soda", path, dry_run=True).errors
    assert [error.row for error in errors] == [row]


@pytest.mark.parametrize(
    ("text", "error", "words"),
    [
        ("run,rise heigth\n101,40\n", InputError, "nothing this trial knows"),
        ("rise height\n40\n", InputError, "No column says which run"),
        ("run,piece\n101,1\n", InputError, "No column holds a response"),
        ("run,rise height\n", InputError, "no rows"),
        ("", InputError, "is empty"),
    ],
)
def test_columns_that_do_not_fit_are_refused(
    soda: Store,
    folder: Folder,
    unchanged: Callable[[], bool],
    text: str,
    error: type[TrackerError],
    words: str,
) -> None:
    with pytest.raises(error, match=words):
        import_readings(soda, "soda", folder.file(text))
    assert unchanged()


def test_every_bad_row_is_named(soda: Store, folder: Folder) -> None:
    rows = "".join(f"{101 + i % 8},{i + 1},x{i}\n" for i in range(30))
    preview = import_readings(soda, "soda", folder.file("run,repeat,rise height\n" + rows), dry_run=True)
    assert len(preview.errors) == 30
    with pytest.raises(InputError) as caught:
        preview.refuse_errors()
    assert "30 cells or rows" in caught.value.what
    assert "and 10 more" in caught.value.what


def test_a_reading_that_stands_there_is_a_conflict(soda: Store, folder: Folder) -> None:
    record_run(soda, "soda", "101", ["rise height=42"])
    with pytest.raises(Conflict, match="has a reading of rise height there already"):
        import_readings(soda, "soda", folder.file("run,rise height\n101,43\n102,40\n"))
    assert kept(soda) == [("rise height", "1", 42.0)]


def test_unlikely_values_are_kept_with_a_warning_and_a_reason(soda: Store, folder: Folder) -> None:
    preview = import_readings(soda, "soda", folder.file("run,rise height\n101,9\n"))
    assert "unlikely" in preview.warnings[0]
    with soda.read() as session:
        reading = session.exec(select(Reading)).one()
    assert reading.implausible
    assert reading.reason == "unlikely, but so in row 2 of readings.csv"


def test_a_spreadsheet_may_eat_the_zeros_of_a_code(soda: Store, folder: Folder) -> None:
    with soda.write(person=1, action="plan") as deed:
        trial = deed.add(Trial(name="short", title="Short", made_at=deed.at))
        deed.add(Response(trial_id=trial.id or 0, position=1, name="rise", unit="mm"))
        deed.add(Run(trial_id=trial.id or 0, place_in_design=1, bake_order=1, code="007", settings="{}"))
    import_readings(soda, "short", folder.file("run,rise\n7,40\n"))
    assert kept(soda) == [("rise", "1", 40.0)]


def test_the_export_is_tidy_and_described(soda: Store) -> None:
    record_run(soda, "soda", "101", ["rise height=42.5 41", "crumb score=3 4"], deviations="=less milk")
    record_run(soda, "soda", "102", outcome="skipped", reason="no flour left")
    add_note(soda, "soda", "101", "-soapy", tags=["bitter"])
    table = export_table(soda, "soda")
    rows = list(csv.DictReader(io.StringIO(table.csv())))
    first = [row for row in rows if row["run"] == "101"]
    assert [(row["piece"], row["repeat"], row["rise_height_mm"], row["crumb_score"]) for row in first] == [
        ("", "1", "42.5", ""),
        ("", "2", "41", ""),
        ("1", "1", "", "3"),
        ("2", "1", "", "4"),
    ]
    assert first[0]["soda_pct_flour"] == "0.5"
    assert first[0]["deviations"] == "'=less milk"
    assert first[0]["taste_notes"] == "'-soapy [bitter]"
    assert [row["reason"] for row in rows if row["run"] == "102"] == ["no flour left"]
    assert len({row["run"] for row in rows}) == 8
    described = {row["column"]: row for row in csv.DictReader(io.StringIO(table.dictionary_csv()))}
    assert list(described) == list(rows[0])
    assert described["rise_height_mm"]["unit"] == "mm"
    assert described["crumb_score"]["levels"].startswith("1 gummy | 2 coarse")
    assert described["acid_source"]["levels"] == "yogurt | lemon juice"


def test_what_was_weighed_and_what_was_analysed_for_it_stand_in_the_export(store: Store, tmp_path: Path) -> None:
    """1.3 g of soda on 150 g of flour are 0.866667 %, where 0.8 % was planned."""
    plan_trial(store, WEIGHED)
    planned = [(row["run"], row["soda_pct_flour"]) for row in table_of(store, "loaf")]
    code = next(run for run, soda in planned if soda == "0.8")
    assert "soda_pct_flour_used" not in table_of(store, "loaf")[0]  # as planned, all of it
    record_run(store, "loaf", code, ["rise height=40"], weighed=["baking soda=1.3 g"])
    rows = {row["run"]: row for row in table_of(store, "loaf")}
    assert (rows[code]["soda_pct_flour"], rows[code]["soda_pct_flour_used"]) == ("0.8", "0.867")
    assert rows[code]["weighed"] == "baking soda 1.3"
    assert {row["weighed"] for run, row in rows.items() if run != code} == {""}
    assert all(row["soda_pct_flour_used"] == row["soda_pct_flour"] for run, row in rows.items() if run != code)
    described = csv.DictReader(io.StringIO(export_table(store, "loaf").dictionary_csv()))
    (line,) = [row for row in described if row["column"] == "soda_pct_flour_used"]
    assert "as measured at the bench and analysed" in line["meaning"]
    assert line["unit"] == "% flour"
    for run in set(rows) - {code}:
        record_run(store, "loaf", run, [f"rise height={40 + int(run) % 7}"])
    said = " ".join(analyse_trial(store, "loaf").remarks)
    assert "0.867 % flour" in said
    assert "0.866667" not in said
    (path, _) = export_trial(store, "loaf", tmp_path / "loaf.csv")
    with pytest.raises(Conflict, match="there already"):  # its columns are all known: what stands is refused
        import_readings(store, "loaf", path)


def table_of(store: Store, trial: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(export_table(store, trial).csv())))


def test_workbooks_never_hold_formulas(soda: Store, tmp_path: Path) -> None:
    record_run(soda, "soda", "101", ["rise height=42.5"], deviations='=HYPERLINK("x")')
    (path,) = export_trial(soda, "soda", tmp_path / "soda.xlsx")
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == ["data", "dictionary"]
    assert book["data"].freeze_panes == "A2"
    kinds = {cell.data_type for row in book["data"].iter_rows() for cell in row}
    assert kinds <= {"s", "n"}
    assert '=HYPERLINK("x")' in {cell.value for row in book["data"].iter_rows() for cell in row}


def test_an_export_never_writes_over_a_file(soda: Store, tmp_path: Path) -> None:
    files = export_trial(soda, "soda", tmp_path / "soda.csv")
    assert [file.name for file in files] == ["soda.csv", "soda_dictionary.csv"]
    with pytest.raises(Conflict, match="there already"):
        export_trial(soda, "soda", tmp_path / "soda.csv")
    export_trial(soda, "soda", tmp_path / "soda.csv", replace=True)
    with pytest.raises(UsageError, match="neither"):
        export_trial(soda, "soda", tmp_path / "soda.txt")


def test_the_blank_form_is_blind_and_comes_back_filled(soda: Store, tmp_path: Path) -> None:
    (path, _) = export_trial(soda, "soda", tmp_path / "bench.csv", blank=True)
    rows = list(csv.DictReader(path.read_text("utf-8-sig").splitlines()))
    assert [row["run"] for row in rows[::2]] == [str(108 - i) for i in range(8)]
    assert "soda_pct_flour" not in rows[0]
    assert [row["piece"] for row in rows[:2]] == ["1", "2"]
    for row in rows:
        row["rise_height_mm"] = "40"
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    assert import_readings(soda, "soda", path).readings == 16


READINGS = st.lists(
    st.tuples(
        st.integers(1, 8),
        st.sampled_from([None, 1, 2]),
        st.floats(10, 120, allow_nan=False),
        st.integers(1, 5),
        st.booleans(),
    ),
    min_size=1,
    max_size=4,
    unique_by=lambda row: row[:2],
)


def same(one: Any, other: Any) -> bool:
    return math.isclose(one, other, rel_tol=1e-15) if isinstance(one, float) else one == other


REASONS = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=8)


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(readings=READINGS, reason=REASONS)
def test_an_export_comes_back_with_the_same_values(
    soda_path: Path, tmp_path_factory: pytest.TempPathFactory, ending: str, readings: list[Any], reason: str
) -> None:
    folder = tmp_path_factory.mktemp("trip")
    tables = []
    for name in ("from.db", "to.db"):
        (folder / name).write_bytes(soda_path.read_bytes())
    with open_kitchen(str(folder / "from.db")) as store:
        for run, piece, rise, score, split in readings:
            said = [f"rise height={rise!r}", f"crumb score={score}", f"split crust={'yes' if split else 'no'}"]
            record_run(store, "soda", f"#{run}", said, piece=piece, again=piece is None)  # beside the pieces
        for free in sorted({*range(1, 9)} - {row[0] for row in readings})[:1]:
            record_run(store, "soda", f"#{free}", outcome="skipped", reason=reason)
        tables.append(export_table(store, "soda"))
        files = export_trial(store, "soda", folder / f"out{ending}")
    with open_kitchen(str(folder / "to.db")) as store:
        import_readings(store, "soda", files[0])
        tables.append(export_table(store, "soda"))
    if ending == ".csv":
        assert tables[0].rows == tables[1].rows
    else:  # workbooks keep about 16 digits
        for one, other in zip(tables[0].rows, tables[1].rows, strict=True):
            assert all(same(*cells) for cells in zip(one, other, strict=True))


@given(st.text(max_size=20))
def test_guarding_a_text_is_undone_and_leaves_no_formula(text: str) -> None:
    assert unguarded(guarded(text)) == text
    assert not guarded(text).startswith(("=", "+", "-", "@", "\t", "\r"))


CAKE = Asked(
    factors=("recipe:category", "temperature:category"),
    responses=("angle",),
    block="replicate",
    group=("replicate", "recipe"),
)


def test_a_finished_trial_comes_in_whole(soda: Store) -> None:
    # Chocolate cake, breaking angle: Cook 1938; Cochran and Cox 1957, p. 300.
    path = PUBLISHED / "mixed_split_plot" / "cake_split_plot.csv"
    preview = import_trial(soda, "cake", path, CAKE)
    assert (preview.rows, preview.runs, preview.readings) == (270, 270, 270)
    with soda.read() as session:
        trial = session.exec(select(Trial).where(Trial.name == "cake")).one()
        runs = session.exec(select(Run).where(Run.trial_id == trial.id).order_by(col(Run.bake_order))).all()
        total = session.exec(select(Reading.value).where(Reading.response == "angle")).all()
    source = list(csv.DictReader(path.read_text().splitlines()))
    assert [run.block for run in runs] == [row["replicate"] for row in source]
    assert [json.loads(run.settings)["recipe"] for run in runs] == [row["recipe"] for row in source]
    assert total == [float(row["angle"]) for row in source]
    with pytest.raises(Conflict, match='a trial "cake" already'):
        import_trial(soda, "cake", path, CAKE)
    with pytest.raises(Conflict, match="came in already"):
        import_trial(soda, "cake again", path, CAKE)


def test_readings_of_one_bake_share_a_run(soda: Store, folder: Folder) -> None:
    text = "day,loaf,soda,rise (mm),fine\n1,a,0.5,40,yes\n1,a,0.5,41,no\n1,b,1,44,yes\n2,a,0.5,39,\n"
    asked = Asked(factors=("soda",), responses=("rise", "fine:yes-no"), block="day", bake=("day", "loaf"))
    preview = import_trial(soda, "new", folder.file(text), asked)
    assert (preview.runs, preview.readings, preview.missing) == (3, 7, {"rise": 0, "fine": 1})
    assert preview.kinds == {"soda": "amount (guessed)"}
    rows = export_table(soda, "new").rows
    assert [row[0] for row in rows] == ["001", "001", "002", "003"]


SODA = Asked(factors=("soda",), responses=("rise",))


@pytest.mark.parametrize(
    ("text", "asked", "error", "words"),
    [
        ("soda,rise\nStrong,1\nstrong ,2\n", SODA, InputError, "capitals or blanks"),
        ("soda,rise\n1,2\n,3\n", SODA, InputError, "soda is empty"),
        ("soda,rise\n1,2\n2,x\n", SODA, InputError, "cannot be read as numbers"),
        ("soda,rise\n1,2\n", Asked(factors=("sodda",), responses=("rise",)), InputError, 'no column "sodda"'),
        ("soda,rise\n1,2\n", Asked(factors=("soda:amout",), responses=("rise",)), UsageError, "is none of amount"),
        ("soda,rise\n1,2\n", Asked(factors=(), responses=("rise",)), UsageError, "No factor was named"),
        ("soda,rise\n1,2\n", Asked(factors=("soda",), responses=()), UsageError, "No response was named"),
        (
            "loaf,soda,rise\na,1,2\na,2,3\n",
            Asked(factors=("soda",), responses=("rise",), bake=("loaf",)),
            InputError,
            "differs within one bake",
        ),
        (
            "oven,soda,rise\na,1,2\nb,2,3\n",
            Asked(factors=("soda",), responses=("rise",), group=("oven",)),
            InputError,
            "neither a factor nor the block",
        ),
    ],
)
def test_a_trial_that_does_not_fit_is_refused_whole(
    soda: Store,
    folder: Folder,
    unchanged: Callable[[], bool],
    text: str,
    asked: Asked,
    error: type[TrackerError],
    words: str,
) -> None:
    path = folder.file(text)
    with pytest.raises(error) as caught:
        import_trial(soda, "new", path, asked)
    assert words in caught.value.what
    assert caught.value.try_this
    assert unchanged()


def test_a_preview_of_a_new_trial_needs_no_kitchen(folder: Folder) -> None:
    asked = Asked(factors=("soda",), responses=("rise",))
    preview = preview_trial(None, "new", folder.file("soda,rise,weather\n1,2,wet\n2,3,dry\n"), asked)
    assert (preview.runs, preview.left_out, preview.stored) == (2, ("weather",), False)


def test_a_missing_file_and_sheet_are_named(soda: Store, tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="no file"):
        import_readings(soda, "soda", tmp_path / "none.csv")


def test_both_databases_keep_and_give_back_the_same(soda_anywhere: Store, folder: Folder) -> None:
    store = soda_anywhere
    import_readings(store, "soda", folder.file(GOOD))
    record_run(store, "soda", "104", ["rise height=44,5"], oven_temperature_c=181)
    record_run(store, "soda", "104", ["rise height=45"], correct=True, reason="misread")
    with pytest.raises(Conflict, match="came into"):
        import_readings(store, "soda", folder.file(GOOD))
    import_trial(store, "cake", PUBLISHED / "mixed_split_plot" / "cake_split_plot.csv", CAKE)
    rows = {row[0]: row for row in export_table(store, "soda").rows}
    names = [column.name for column in export_table(store, "soda").columns]
    last = dict(zip(names, rows["104"], strict=True))
    assert (last["rise_height_mm"], last["oven_temperature_c"], last["outcome"]) == (45.0, 181.0, "done")
    assert len(export_table(store, "cake").rows) == 270
