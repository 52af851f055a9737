"""Does the daily log keep batches, lots and readings, and refuse what contradicts it?"""

from __future__ import annotations

from dataclasses import replace

import pytest
from sqlmodel import select

from tracker.errors import Conflict, InputError, NotFound
from tracker.models import AuditEntry, Batch, BatchLot, Lot, Reading
from tracker.workflow.batch_writing import BatchEntry
from tracker.workflow.batches import batch_table, list_batches
from tracker.workflow.logging_batches import log_batches

FIRST = BatchEntry(
    number="1",
    baked_at="2026-03-02T05:30:00Z",
    oven="upper",
    shift="early",
    lots={"flour": "F-1", "baking powder": "P-1"},
    readings={"rise height": (42.5, 41.0)},
)
SECOND = replace(FIRST, number="2", baked_at="2026-03-02T14:30:00Z", lots={"flour": "F-2", "baking powder": "P-1"})


def test_batches_come_back_in_order_of_baking_with_lots_and_pieces(store):
    assert log_batches(store, "scones", [SECOND, FIRST]) == 2
    first, second = list_batches(store, "scones")
    assert (first.number, second.number) == ("1", "2")
    assert first.lots == {"flour": "F-1", "baking powder": "P-1"}
    assert first.values == {"rise height": (42.5, 41.0)}
    assert first.words().endswith("early  rise height 41.8 (mean of 2)  lots: flour F-1, baking powder P-1")
    bare = replace(first, line="", oven="", shift="", lots={}, values={})
    assert bare.words() == "1  nothing read"


def test_a_lot_leads_to_its_batches(store):
    log_batches(store, "scones", [FIRST, SECOND])
    with store.read() as session:
        wanted = (
            select(Batch.number)
            .join(BatchLot, BatchLot.batch_id == Batch.id)
            .join(Lot, Lot.id == BatchLot.lot_id)
            .where(Lot.code == "P-1")
        )
        assert sorted(session.exec(wanted)) == ["1", "2"]
        assert sorted(session.exec(select(Lot.code))) == ["F-1", "F-2", "P-1"]


def test_later_batches_join_the_product_and_its_lots(store):
    log_batches(store, "scones", [FIRST])
    log_batches(store, "scones", [SECOND])
    assert [line.number for line in list_batches(store, "scones")] == ["1", "2"]
    with store.read() as session:
        assert sorted(session.exec(select(Lot.code))) == ["F-1", "F-2", "P-1"]


def test_every_row_has_its_audit_entry(store):
    log_batches(store, "scones", [FIRST])
    with store.read() as session:
        entries = session.exec(select(AuditEntry.table_name).where(AuditEntry.action == "log batches")).all()
    expected = [
        "product",
        "logged_response",
        "lot",
        "lot",
        "batch",
        "batch_lot",
        "batch_lot",
        "bake",
        "piece",
        "piece",
        "reading",
        "reading",
    ]
    assert list(entries) == expected


@pytest.mark.parametrize(
    ("entries", "error"),
    [
        ([SECOND, SECOND], InputError),
        ([SECOND, FIRST], Conflict),
        ([replace(SECOND, readings={"rise height": (float("nan"),)})], InputError),
    ],
)
def test_a_contradicting_log_is_refused_whole(store, entries, error):
    log_batches(store, "scones", [FIRST])
    with pytest.raises(error) as told:
        log_batches(store, "scones", entries)
    assert told.value.try_this
    assert [line.number for line in list_batches(store, "scones")] == ["1"]


def test_an_unknown_person_or_product_is_said(store):
    with pytest.raises(NotFound, match="person 9"):
        log_batches(store, "scones", [FIRST], person=9)
    log_batches(store, "scones", [FIRST])
    with pytest.raises(NotFound) as told:
        list_batches(store, "scone")
    assert told.value.try_this == '"scones"'


def test_corrected_and_void_readings_do_not_stand(store):
    log_batches(store, "scones", [FIRST])
    with store.write(person=1, action="correct", reason="read again") as deed:
        one, two = deed.session.exec(select(Reading).order_by(Reading.id)).all()
        same = {"bake_id": one.bake_id, "response": one.response, "person_id": 1, "at": one.at, "reason": "read again"}
        deed.add(Reading(piece_id=one.piece_id, value=40.0, replaces_id=one.id, **same))
        deed.add(Reading(piece_id=two.piece_id, value=None, void=True, replaces_id=two.id, **same))
    assert list_batches(store, "scones")[0].values == {"rise height": (40.0,)}


def test_the_table_holds_one_reading_a_row(store):
    log_batches(store, "scones", [FIRST, SECOND])
    header, *rows = batch_table("scones", list_batches(store, "scones")).csv().splitlines()
    assert header == "batch,baked_at,line,oven,shift,flour_lot,baking_powder_lot,piece,response,value"
    assert len(rows) == 4
    assert rows[0] == "1,2026-03-02T05:30:00Z,,upper,early,F-1,P-1,1,rise height,42.5"
    assert rows[3] == "2,2026-03-02T14:30:00Z,,upper,early,F-2,P-1,2,rise height,41"
