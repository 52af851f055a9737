"""Are the readings of a file put to their batches, and is what does not fit said?"""

from __future__ import annotations

import pytest

from tracker.errors import InputError
from tracker.intake.spreadsheet import parse
from tracker.workflow.chart_rows import responses_in, rows_of


def sheet(*lines):
    return parse("\n".join(lines).encode(), "log.csv")


def test_readings_of_a_batch_come_together_with_unit_and_time():
    rows = rows_of(
        sheet(
            "Batch,baked_at,rise height (mm)", "7,2026-02-01 06:00,43.1", "7,2026-02-01 06:00,42.9", "8,2026-02-02,41"
        ),
        "rise height",
    )
    assert (rows.response, rows.unit, rows.batches) == ("rise height", "mm", ("7", "8"))
    assert rows.values == ((43.1, 42.9), (41.0,))
    assert rows.at == ("2026-02-01T06:00:00+00:00", "2026-02-02T00:00:00+00:00")
    assert rows.measured().values == rows.values


def test_times_that_cannot_be_read_are_no_times():
    rows = rows_of(sheet("batch,at,rise", "1,monday,43", "2,tuesday,42"), "rise")
    assert rows.at == ()


def test_an_export_is_read_by_response():
    long = sheet("batch,response,value", "1,rise,43", "1,pH,6.9", "2,rise,42", "2,pH,7.1", "2,pH,7.0")
    assert responses_in(long) == ["rise", "pH"]
    rows = rows_of(long, "ph")
    assert rows.values == ((6.9,), (7.1, 7.0))
    assert (rows.read, rows.left_out) == (3, ())
    with pytest.raises(InputError, match='no readings of "risse"') as wrong:
        rows_of(long, "risse")
    assert wrong.value.try_this == '--response "rise"'


def test_counts_come_with_their_sizes():
    rows = rows_of(sheet("batch,cracked,pieces", "1,2,40", "1,1,20", "2,0,60", "3,4,"), "cracked", size="pieces")
    counted = rows.counted("pieces")
    assert (counted.counts, counted.sizes) == ((3.0, 0.0), (60.0, 60.0))
    assert [(out.row, out.why) for out in rows.left_out] == [(4, "no pieces")]


def test_yes_and_no_count_one_each():
    rows = rows_of(sheet("batch,cracked", "1,yes", "1,no", "1,no", "2,no", "2,no"), "cracked", yes_no=True)
    counted = rows.counted("pieces")
    assert (counted.counts, counted.sizes) == ((1.0, 0.0), (3.0, 2.0))


def test_a_decimal_comma_and_a_semicolon_are_read():
    assert rows_of(sheet("batch;rise", "1;43,1", "2;42,9"), "rise").values == ((43.1,), (42.9,))


def test_what_may_be_charted_is_offered():
    assert responses_in(sheet("batch,oven,rise", "1,upper,43", "2,lower,42")) == ["rise"]


@pytest.mark.parametrize(
    "lines", [("batch,rise", "1,43", "2,42", "1,41"), ("batch,rise", "1,43", ",40", "2,42", "1,41")]
)
def test_a_batch_that_comes_back_is_named_with_its_row(lines):
    with pytest.raises(InputError, match="Batch 1 comes back after batch 2") as wrong:
        rows_of(sheet(*lines), "rise")
    assert f"row {len(lines)}" in wrong.value.where
