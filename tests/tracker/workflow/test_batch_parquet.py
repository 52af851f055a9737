"""Do batch readings leave whole, in order, with one site beside another?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pyarrow.parquet as pq
import pytest

from tracker.errors import Conflict, InputError, NotFound
from tracker.workflow.batch_parquet import LineRows, export_parquet, series_number, write_site
from tracker.workflow.batch_writing import BatchEntry
from tracker.workflow.batches import list_batches
from tracker.workflow.logging_batches import log_batches

FIRST = BatchEntry(
    number="1",
    baked_at="2026-03-02T05:30:00Z",
    line="bench",
    lots={},
    readings={"rise height": (42.5, 41.0), "crumb pH": (7.1,)},
)


@pytest.fixture
def logged(store):
    """Two products; the first on two lines, one batch logged late."""
    scones = [
        FIRST,
        replace(FIRST, number="3", baked_at="2026-03-04T05:30:00Z", readings={"rise height": (43.0, 44.25)}),
        replace(FIRST, number="2", baked_at="2026-03-03T05:30:00Z", readings={"rise height": (0.1 + 0.2,)}),
        replace(FIRST, number="4", baked_at="2026-03-05T05:30:00Z", line="deck"),
    ]
    log_batches(store, "scones", scones)
    log_batches(store, "buns", [FIRST])
    return store


def test_every_standing_reading_leaves_once_in_order_of_baking(logged, tmp_path):
    written = export_parquet(logged, tmp_path / "fleet", site="north")
    assert (written.products, written.lines, written.readings) == (2, 6, 12)
    assert written.path == tmp_path / "fleet" / "site=north" / "readings.parquet"
    rows = pq.ParquetFile(written.path).read().to_pylist()
    key = ("scones", "bench", "rise height")
    bench = [row for row in rows if (row["product"], row["line"], row["response"]) == key]
    got = [(row["batch"], row["place"], row["piece"], row["value"]) for row in bench]
    assert got == [("1", 1, 1, 42.5), ("1", 1, 2, 41.0), ("2", 2, 1, 0.1 + 0.2), ("3", 3, 1, 43.0), ("3", 3, 2, 44.25)]
    assert bench[0]["baked_at"].isoformat() == "2026-03-02T05:30:00+00:00"
    assert {row["site"] for row in rows} == {"north"}
    keys = [(row["product"], row["line"], row["response"], row["place"], row["piece"]) for row in rows]
    assert keys == sorted(keys)
    logs = [batch for name in ("scones", "buns") for batch in list_batches(logged, name)]
    values = [value for batch in logs for readings in batch.values.values() for value in readings]
    assert sorted(row["value"] for row in rows) == sorted(values)


def test_one_site_leaves_another_alone_and_replaces_its_own(logged, tmp_path):
    north = export_parquet(logged, tmp_path, site="north").path
    before = north.read_bytes()
    south = export_parquet(logged, tmp_path, site="south/east").path
    assert south.parent.parent == tmp_path
    assert north.read_bytes() == before
    again = export_parquet(logged, tmp_path, site="north")
    assert again.path.read_bytes() == before  # the same log, the same bytes
    assert sorted(path.name for path in north.parent.iterdir()) == ["readings.parquet", "specifications.csv"]


def test_one_product_alone(logged, tmp_path):
    assert export_parquet(logged, tmp_path, product="buns").products == 1
    with pytest.raises(NotFound, match="scone"):
        export_parquet(logged, tmp_path, product="scone")


def test_nothing_logged_is_said(store, tmp_path):
    with pytest.raises(Conflict, match="no measured batch reading"):
        export_parquet(store, tmp_path)
    assert list(tmp_path.glob("site=*")) == []


def test_a_place_that_cannot_be_written_is_said(logged, tmp_path):
    (tmp_path / "taken").write_text("a file", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be written"):
        export_parquet(logged, tmp_path / "taken")


def test_lines_are_never_cut_by_a_row_group(tmp_path):
    def line(number, n):
        names = {"product": "scones", "line": f"{number:02d}", "response": "rise"}
        days = np.datetime64("2026-01-01") + np.arange(n)
        places = np.arange(1, n + 1)
        return LineRows(
            **names,
            batch=[f"B{i}" for i in places],
            baked_at=days,
            place=places,
            piece=np.ones(n, int),
            value=places / 7,
        )

    path = write_site(tmp_path, "north", (line(number, n) for number, n in enumerate((30, 5, 90, 20, 20))), rows=50)
    file = pq.ParquetFile(path)
    groups = [file.read_row_group(group)["line"].unique().to_pylist() for group in range(file.num_row_groups)]
    assert groups == [["00", "01", "02"], ["03", "04"]]


def test_every_kitchen_numbers_a_line_alike():
    # The first 8 bytes of SHA-256 of the four names, halved: worked out with coreutils' sha256sum.
    assert series_number("scones", "north", "1", "rise") == 3622202137460130568
    assert series_number("scones", "north", "1", "rise") != series_number("scones", "nort", "h1", "rise")
