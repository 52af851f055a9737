"""Does any stretch of the log come back in order of baking, corrected, without what was taken back?"""

from __future__ import annotations

from itertools import pairwise

import pytest
from sqlalchemy import text
from sqlmodel import select

from tracker.batch_frames import batch_details, batch_table
from tracker.current_batches import current_batches, find_product
from tracker.errors import NotFound
from tracker.models import Batch, BatchChange, Product
from tracker.store import open_kitchen
from tracker.workflow.batch_writing import BatchEntry
from tracker.workflow.logging_batches import log_batches
from tracker.workflow.lots import add_lot


def batch(number, day, hour=6):
    return BatchEntry(
        number=number,
        baked_at=f"2026-03-{day:02}T{hour:02}:00:00Z",
        lots={"flour": "F-1"},
        readings={"rise height": (40.0 + day,)},
    )


@pytest.fixture
def ten(store):
    """Batches 1 … 10, a day each, entered backwards; two of the fifth day."""
    log_batches(store, "scones", [batch(str(day), day) for day in range(10, 0, -1)])
    log_batches(store, "scones", [batch("5b", 5)])
    return store


def change(store, number, detail, value):
    with store.write(person=1, action="correct") as deed:
        row = deed.session.exec(select(Batch).where(Batch.number == number)).one()
        deed.add(
            BatchChange(batch_id=row.id, detail=detail, value=value, person_id=1, at=deed.at, reason="typed wrong")
        )


def numbers(store, **how):
    with store.read() as session:
        return [each.number for each in current_batches(session, find_product(session, "scones"), **how)]


def test_batches_come_in_order_of_baking_and_those_of_one_moment_as_entered(ten):
    assert numbers(ten) == ["1", "2", "3", "4", "5", "5b", "6", "7", "8", "9", "10"]


def test_every_stretch_is_the_same_stretch_of_the_whole(ten):
    change(ten, "2", "baked_at", "2026-03-07T12:00:00Z")
    change(ten, "6", "void", "yes")
    change(ten, "9", "baked_at", "2026-03-01T00:00:00Z")
    with ten.read() as session:
        product = session.exec(select(Product)).one()
        whole = current_batches(session, product)
        assert [each.number for each in whole] == ["9", "1", "3", "4", "5", "5b", "7", "2", "8", "10"]
        assert all(one.place < other.place for one, other in pairwise(whole))
        for at, each in enumerate(whole):
            for most in (1, 2, 3, 20):
                assert current_batches(session, product, before=each.place, last=most) == whole[max(0, at - most) : at]
                assert current_batches(session, product, after=each.place, first=most) == whole[at + 1 : at + 1 + most]
            assert current_batches(session, product, before=each.place) == whole[:at]
            assert current_batches(session, product, after=each.place) == whole[at + 1 :]


def test_a_batch_that_was_taken_back_is_given_when_asked_for_and_may_stand_again(ten):
    change(ten, "6", "void", "yes")
    assert "6" not in numbers(ten)
    assert "6" in numbers(ten, void=True)
    change(ten, "6", "void", "no")
    assert "6" in numbers(ten)


def test_the_last_few_are_found_by_an_index_and_not_by_a_walk(sqlite_kitchen):
    """SQLite tells its plan in words; the statement is the one ``current_batches`` makes."""
    with open_kitchen(str(sqlite_kitchen)) as store, store.read() as session:
        plan = session.connection().execute(
            text(
                "EXPLAIN QUERY PLAN SELECT * FROM batch WHERE product_id = 1 AND baked_at <= '2026-03-09' AND "
                "(baked_at < '2026-03-09' OR id < 4) ORDER BY baked_at DESC, id DESC LIMIT 14"
            )
        )
        told = " ".join(row[3] for row in plan)
    assert "batch_in_order" in told
    assert "TEMP B-TREE" not in told


def test_the_age_of_a_lot_is_counted_from_its_opening_else_from_its_arrival(ten):
    assert batch_details(ten, "scones")["flour age"].isna().all()
    add_lot(ten, "flour=F-1", received="2026-02-20")
    assert batch_details(ten, "scones")["flour age"].tolist()[:2] == [9, 10]
    add_lot(ten, "flour=F-1", opened="2026-03-01")
    details = batch_details(ten, "scones")
    assert details["flour age"].tolist() == [0, 1, 2, 3, 4, 4, 5, 6, 7, 8, 9]
    assert details["flour lot"].unique().tolist() == ["F-1"]
    assert details["batch"].tolist()[:2] == ["1", "2"]


def test_the_table_holds_what_stands(ten):
    change(ten, "1", "oven", "lower")
    change(ten, "10", "void", "yes")
    table = batch_table(ten, "scones")
    assert table.loc[0, "oven"] == "lower"
    assert len(table) == 10
    assert table["size"].isna().all()


def test_an_unknown_product_is_said_with_the_way_to_make_one(store):
    with pytest.raises(NotFound) as told:
        batch_table(store, "scones")
    assert told.value.try_this == 'crumbwise batch product add "scones"'
