"""Does a season's spreadsheet come into the log whole or not at all, and go out again without a trace lost?"""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from sqlmodel import select

from analysis.control.charts import chart_batches
from tracker.errors import Conflict, InputError, NotFound
from tracker.models import BatchFile, ImportFile, Reading
from tracker.workflow.alarms import list_alarms
from tracker.workflow.batch_import import import_batches, undo_import
from tracker.workflow.batch_series import product_series
from tracker.workflow.batches import batch_table, list_batches, show_batch
from tracker.workflow.phases import freeze_limits
from tracker.workflow.products import add_product
from tracker.workflow.verifying import verify_record

SEASON = """Batch;Date;Time;Oven;flour lot;rise height (mm);split;weather
1;2026-05-01;05:30;upper;F-1;42,1;2/40;sunny
1;2026-05-01;05:30;upper;F-1;43,1;;
2;2026-05-01;14:30;upper;F-1;41,1;1/40;
3;2026-05-02;05:30;upper;F-1;;0/40;
3;2026-05-02;05:30;upper;F-1;42.5;;
"""


@pytest.fixture
def write(tmp_path):
    def to(text: str, name: str = "season.csv") -> Path:
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return to


def scones(store):
    add_product(store, "scones", responses=["rise height:unit=mm", "split:scale=share"])
    return store


def test_a_season_comes_in_whole(store, write):
    path = write(SEASON)
    preview = import_batches(scones(store), "scones", path)
    assert (preview.stored, preview.rows, preview.batches, preview.readings) == (True, 5, 3, 7)
    assert preview.columns == {
        "batch": "Batch",
        "date": "Date",
        "time": "Time",
        "oven": "Oven",
        "rise height": "rise height (mm)",
        "split": "split",
        "lot of flour": "flour lot",
    }
    assert preview.unknown == ("weather",)
    assert 'column "weather" is left out: nothing this product knows' in preview.summary()
    assert any("Lot F-1 of flour is new" in notice for notice in preview.notices)
    first, _, third = list_batches(store, "scones")
    assert first.values == {"rise height": (42.1, 43.1), "split": (2.0,)}
    assert first.sizes == {"split": (40.0,)}
    assert (first.baked_at, first.oven, first.lots) == ("2026-05-01T05:30:00Z", "upper", {"flour": "F-1"})
    assert third.values["rise height"] == (42.5,)
    with store.read() as session:
        file = session.exec(select(ImportFile)).one()
        assert (file.name, file.content, file.sha256) == ("season.csv", path.read_bytes(), preview.sha256)
        assert set(session.exec(select(Reading.import_file_id))) == {file.id}
        assert len(session.exec(select(BatchFile)).all()) == 3
    assert verify_record(store)


def test_a_dry_run_tells_the_same_and_writes_nothing(lite, write):
    path = write(SEASON)
    before = verify_record(scones(lite)).entries
    dry = import_batches(lite, "scones", path, dry_run=True)
    assert verify_record(lite).entries == before
    wet = import_batches(lite, "scones", path)
    assert (dry.columns, dry.batches, dry.readings, dry.notices) == (
        wet.columns,
        wet.batches,
        wet.readings,
        wet.notices,
    )
    assert (dry.stored, wet.stored) == (False, True)


def test_an_export_comes_back_as_the_same_log(lite, frozen_copy, write):
    lines = list_batches(frozen_copy, "scones")
    path = write(batch_table("scones", lines).csv(), "log.csv")
    add_product(lite, "scones", responses=["rise height:unit=mm"])
    assert import_batches(lite, "scones", path).batches == 30
    assert list_batches(lite, "scones") == lines


@pytest.fixture
def frozen_copy(frozen):
    return frozen


def test_a_workbook_is_read_too(lite, tmp_path):
    import xlsxwriter

    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as book:
        page = book.add_worksheet("May")
        day = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        page.write_row(0, 0, ["batch", "baked at", "rise height"])
        for row in range(1, 4):
            page.write(row, 0, row)
            page.write_number(row, 1, 46143 + row + 0.25, day)  # 2026-05-01 and on, at 6 in the morning
            page.write(row, 2, 42.5)
    path = tmp_path / "season.xlsx"
    path.write_bytes(out.getvalue())
    import_batches(scones(lite), "scones", path)
    assert [line.number for line in list_batches(lite, "scones")] == ["1", "2", "3"]
    assert list_batches(lite, "scones")[0].baked_at.endswith("T06:00:00Z")


def test_alarms_come_with_it_under_the_limits_that_hold(frozen, write):
    rows = "\n".join(f"C{day},2026-06-{day:02} 05:30,{36 + day % 2}" for day in range(1, 6))
    preview = import_batches(frozen, "scones", write(f"batch,baked at,rise height\n{rows}\n"))
    series, phases, _ = product_series(frozen, "scones", "rise height")
    charts = chart_batches(series, kind="between", phases=phases)
    expected = {(a.batch, c.kind, a.rule) for c in charts for a in c.alarms if a.batch.startswith("C")}
    stored = [line for line in list_alarms(frozen, "scones") if line.batch.startswith("C")]
    assert {(line.batch, line.chart, line.rule) for line in stored} == expected
    assert preview.alarms == len(stored) > 5
    assert {line.phase for line in stored} == {1}


def test_an_import_is_undone_by_entries_and_may_come_again(store, write):
    path = write(SEASON)
    import_batches(scones(store), "scones", path)
    with pytest.raises(Conflict, match="came into") as told:
        import_batches(store, "scones", path)
    assert "--undo" in told.value.try_this
    undone = undo_import(store, "scones", "season.csv", reason="the wrong year")
    assert undone.batches == ("1", "2", "3")
    assert list_batches(store, "scones") == ()
    assert show_batch(store, "scones", "1").values["rise height"] == (42.1, 43.1)  # still readable
    with pytest.raises(Conflict, match="Nothing of season"):
        undo_import(store, "scones", undone.file, reason="again")
    import_batches(store, "scones", path)
    assert list_batches(store, "scones")[0].values == {"rise height": (42.1, 43.1), "split": (2.0,)}
    import_batches(
        store, "scones", write(SEASON.replace("\n1;", "\n7;").replace("\n2;", "\n8;").replace("\n3;", "\n9;"), "b.csv")
    )
    assert len(list_batches(store, "scones")) == 6
    assert verify_record(store)


def test_undoing_withdraws_alarms_and_judges_what_stands_behind(frozen, write):
    before = {line.number for line in list_alarms(frozen, "scones")}
    rows = "\n".join(f"C{day},2026-06-{day:02} 05:30,{36 + day % 2}" for day in range(1, 6))
    path = write(f"batch,baked at,rise height\n{rows}\n")
    preview = import_batches(frozen, "scones", path)
    undone = undo_import(frozen, "scones", preview.sha256[:10], reason="another bakery's")
    assert undone.withdrawn == preview.alarms
    assert {line.number for line in list_alarms(frozen, "scones")} == before


def test_a_clock_that_goes_back_is_told_and_order_is_that_of_baking(lite, write):
    text = "batch,baked at,rise height\n1,2026-05-02 05:30,42\n2,2026-05-01 05:30,43\n3,2026-05-03 05:30,41\n"
    preview = import_batches(scones(lite), "scones", write(text))
    assert [line.number for line in list_batches(lite, "scones")] == ["2", "1", "3"]
    assert [notice for notice in preview.notices if notice.startswith("The clock goes back in row 3: batch 2")]


def header(*rows: str) -> str:
    return "\n".join(["batch,baked at,rise height,split", *rows, ""])


WRONG_ROWS = [
    (header(",2026-05-01,42,"), "readings without a batch"),
    (header("1,2026-05-01,abc,"), "text in a number"),
    (header("1,2026-05-01,1e200,"), "was never measured"),
    (header("1,2026-05-01,nan,"), "not a number that was measured"),
    (header('1,2026-05-01,"1,234",'), "can be read as"),
    (header("1,,42,"), "when batch 1 was baked"),
    (header("1,01/02/2026,42,"), "no day or time"),
    (header("1,2026-05-01,42,3"), "out of how many"),
    (header("1,2026-05-01,42,50/40"), "more than all"),
    (header("1,2026-05-01,42,", "2,2026-05-01,42,", "1,2026-05-01,42,"), "two batches with one number"),
    (header("1,2026-05-01,42,", "1,2026-05-02,43,"), "baked at of batch 1"),
    ("batch,baked at,piece,rise height\n1,2026-05-01,0,42\n", "no number of a piece"),
    ("batch,baked at,piece,rise height\n1,2026-05-01,2,42\n1,2026-05-01,2,43\n", "has rise height already"),
    ("batch,baked at,response,value\n1,2026-05-01,rise heigt,42\n", 'no response "rise heigt"'),
    ("batch,baked at,response,value\n1,2026-05-01,,42\n", "names no response"),
]


@pytest.mark.parametrize(("text", "said"), WRONG_ROWS, ids=[said for _, said in WRONG_ROWS])
def test_a_wrong_row_stops_the_whole_file_and_is_named(lite, write, text, said):
    path = write(text)
    before = verify_record(scones(lite)).entries
    preview = import_batches(lite, "scones", path, dry_run=True)
    assert any(said in error.what for error in preview.errors)
    assert all(error.try_this and error.row >= 2 for error in preview.errors)
    with pytest.raises(InputError, match="nothing was stored") as told:
        import_batches(lite, "scones", path)
    assert "(row " in told.value.try_this
    assert verify_record(lite).entries == before


WRONG_COLUMNS = [
    (
        "number of it,baked at,rise height\n1,2026-05-01,42\n",
        {},
        "No column numbers the batches",
        '--map "number of it=batch"',
    ),
    ("batch,rise height\n1,42\n", {}, "No column says when", '--map "rise height=baked at"'),
    ("batch,baked at\n1,2026-05-01\n", {}, "No column holds a response", '--map "baked at=rise height"'),
    ("batch,baked at,rise heigt\n1,2026-05-01,42\n", {}, 'Is it "rise height"', '--map "rise heigt=rise height"'),
    ("batch,baked at,rise height (cm)\n1,2026-05-01,4\n", {}, "is in cm", "convert the column to mm"),
    ("batch,baked at,rise height,rise_height\n1,2026-05-01,4,4\n", {}, "Both", "leaves one out"),
    ("batch,baked at,x\n1,2026-05-01,4\n", {"mapping": ["y=rise height"]}, 'no column "y"', "--map"),
    (
        "batch,baked at,x\n1,2026-05-01,4\n",
        {"mapping": ["x=rise heigt"]},
        "no part of the log",
        '--map "x=rise height"',
    ),
]


@pytest.mark.parametrize(("text", "how", "said", "way_out"), WRONG_COLUMNS, ids=[each[2] for each in WRONG_COLUMNS])
def test_columns_that_do_not_fit_are_said(lite, write, text, how, said, way_out):
    with pytest.raises(InputError, match=said) as told:
        import_batches(scones(lite), "scones", write(text), **how)
    assert way_out in told.value.try_this


def test_a_column_may_be_mapped_or_left_out(lite, write):
    text = "Charge,Datum,Hoehe,Bemerkung\n1,1.5.2026,42,fein\n"
    mapping = ["Charge=batch", "Datum=baked at", "Hoehe=rise height", "Bemerkung=-"]
    preview = import_batches(scones(lite), "scones", write(text), mapping=mapping)
    assert preview.left_out == ("Bemerkung",)
    assert list_batches(lite, "scones")[0].values == {"rise height": (42.0,)}


def test_a_number_that_is_taken_is_a_conflict_and_names_its_row(frozen, write):
    text = "batch,baked at,rise height\nC1,2026-06-01,43\nB005,2026-06-02,43\n"
    with pytest.raises(Conflict, match="row 3") as told:
        import_batches(frozen, "scones", write(text))
    assert "Batch B005 is in the log already" in str(told.value)


def test_an_unknown_product_or_file_is_said(frozen, write, tmp_path):
    with pytest.raises(NotFound, match='no product "scone"'):
        import_batches(frozen, "scone", write(SEASON))
    with pytest.raises(NotFound, match="no file"):
        import_batches(frozen, "scones", tmp_path / "missing.csv")
    with pytest.raises(NotFound, match="came into"):
        undo_import(frozen, "scones", "x.csv", reason="why")
    with pytest.raises(InputError, match="needs a reason"):
        undo_import(frozen, "scones", "x.csv", reason="")


def test_a_product_without_responses_tells_how_to_add_one(lite, write):
    add_product(lite, "scones")
    with pytest.raises(InputError, match="none yet") as told:
        import_batches(lite, "scones", write("batch,baked at,height\n1,2026-05-01,42\n"))
    assert "batch product response" in told.value.try_this


def test_split_into_files_it_is_the_same_log_with_the_same_chart(lite, write):
    rows = [f"{day},2026-05-{day:02} 05:30,{42 + day % 5}" for day in range(1, 26)]
    head = "batch,baked at,rise height\n"
    for name in ("whole", "parts"):
        add_product(lite, name, responses=["rise height:unit=mm"])
    import_batches(lite, "whole", write(head + "\n".join(rows), "whole.csv"))
    import_batches(lite, "parts", write(head + "\n".join(rows[13:]), "late.csv"))
    import_batches(lite, "parts", write(head + "\n".join(rows[:13]), "early.csv"))
    whole, parts = (product_series(lite, name, "rise height")[0] for name in ("whole", "parts"))
    assert whole == parts
    for name in ("whole", "parts"):
        freeze_limits(lite, name, None, reason="all of May")
    told = [
        {(line.batch, line.chart, line.rule, line.side) for line in list_alarms(lite, name)}
        for name in ("whole", "parts")
    ]
    assert told[0] == told[1]
