"""Labels, weighing list, oven map and printed codes: what goes to the bench beside the sheet."""

from dataclasses import replace
from decimal import Decimal

import pytest
import segno

from reports.codes import code_square
from reports.labels import code_labels
from reports.oven_map import loads_of, oven_map
from reports.sheet import Sheet, SheetDay, SheetResponse, SheetRun, Weighed, bench_sheet
from reports.weighing_list import day_list, weighing_list


def run(order, code, **more):
    weights = (Weighed(ingredient="flour", grams="200.0"), Weighed(ingredient="baking soda", grams=f"{order}.05"))
    return SheetRun(bake_order=order, code=code, weights=weights, settings=(("oven", "180 °C"),), **more)


def papers(*runs, pieces=2):
    rise = SheetResponse(name="rise", unit="mm", pieces=pieces)
    return Sheet(trial="soda", title="Soda", responses=(rise,), days=(SheetDay(block="day 1", runs=runs),))


SHEET = papers(run(1, "417"), run(2, "802"), run(3, "639"))
PAGES = {"labels": code_labels, "weighing": weighing_list, "oven": oven_map, "sheet": bench_sheet}


def test_there_is_a_label_for_each_piece_and_nothing_tells_the_treatment():
    page = code_labels(SHEET)
    for code in ("417", "802", "639"):
        assert page.count(f"<b>{code}</b>") == 2
    assert "6 labels for 3 runs" in page
    assert not any(word in page for word in ("180 °C", "flour", "baking soda"))
    assert code_labels(papers(run(1, "417"), pieces=1)).count("<b>417</b>") == 1


def test_totals_are_the_sums_of_the_printed_weights():
    listed = day_list(SHEET.days[0], spare_percent=10)
    assert listed.ingredients == ("flour", "baking soda")
    assert [Decimal(total) for total in listed.totals] == [Decimal("600.0"), Decimal("6.15")]
    assert listed.spare == ("660", "6.76")
    assert [code for code, _ in listed.runs] == ["417", "802", "639"]
    assert "with 10 % to spare" in weighing_list(SHEET, spare_percent=10)
    assert "nothing to weigh" in weighing_list(papers(SheetRun(bake_order=1, code="417")))


def test_the_oven_map_follows_loads_or_the_square_or_says_that_it_has_neither():
    loads = papers(
        run(1, "417", places=(("oven load", "1"), ("oven place", "2"))),
        run(2, "802", places=(("oven load", "1"), ("oven place", "1"))),
        run(3, "639", places=(("oven load", "2"), ("oven place", "1"))),
    )
    assert [(load.title, load.cells) for load in loads_of(loads)] == [
        ("day 1, oven load 1", (("place 1", "802"), ("place 2", "417"))),
        ("day 1, oven load 2", (("place 1", "639"),)),
    ]
    square = papers(run(1, "417", places=(("shelf", "2"), ("turn", "1"))))
    assert loads_of(square)[0].cells == (("shelf 2", "417"),)
    assert "order of baking" in oven_map(SHEET)
    assert "order of baking" not in oven_map(loads)


def test_a_printed_code_holds_what_stands_under_it():
    text = "http://192.168.1.20:8000/run/soda/417"
    page = bench_sheet(papers(run(1, "417", link=text)))
    assert text in page
    drawn = str(code_square(text))
    assert drawn in page
    modules = segno.make(text, error="m", micro=False)
    assert f'viewBox="0 0 {len(modules.matrix) + 8} {len(modules.matrix) + 8}"' in drawn
    assert modules.error == "M" or modules.error in "QH"
    assert drawn.count("M") >= 1
    assert str(code_square(text + "8")) != drawn


def test_what_is_set_once_stands_over_its_whole_plot_only():
    sheet = papers(
        run(1, "417", plot="whole plot 1", set_once=(("oven", "170 °C"),)),
        run(2, "802", plot="whole plot 1", set_once=(("oven", "170 °C"),)),
        run(3, "639", plot="whole plot 2", set_once=(("oven", "190 °C"),)),
    )
    page = bench_sheet(sheet)
    assert page.count("Set once for the runs that follow") == 2
    assert page.index("whole plot 1") < page.index("417") < page.index("whole plot 2") < page.index("639")


@pytest.mark.parametrize("name", PAGES)
def test_hostile_text_stays_text_and_the_same_sheet_is_the_same_bytes(name):
    evil = "<script>alert(1)</script>"
    hostile = papers(replace(run(1, "417"), places=((evil, evil), ("b", evil)), link=evil, plot=evil))
    hostile = replace(hostile, trial=evil, title=evil, formula=evil)
    page = PAGES[name](hostile)
    assert "<script" not in page
    assert "default-src 'none'" in page
    assert PAGES[name](hostile) == page
