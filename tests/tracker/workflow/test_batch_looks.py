"""Is what needs a look at a batch read from the record alone, whenever it is asked?"""

from __future__ import annotations

import pytest

from tracker.workflow.alarms import list_alarms
from tracker.workflow.batch_looks import looks_at
from tracker.workflow.batch_writing import BatchEntry
from tracker.workflow.correcting_batches import Mended, correct_batch
from tracker.workflow.logging_batches import log_batches
from tracker.workflow.quick_entry import log_batch


def entry(place, height, lot="F-1"):
    return BatchEntry(
        number=str(place), baked_at=f"2026-11-{place:02}T05:00:00Z", lots={"flour": lot}, readings={"rise": (height,)}
    )


@pytest.fixture
def calm(store):
    """Twenty calm batches of one lot."""
    log_batches(store, "scones", [entry(place, 40 + place % 3) for place in range(1, 21)], units={"rise": "mm"})
    return store


def test_a_lot_is_pointed_at_in_the_batch_it_came_in_with(calm):
    log_batch(calm, "scones", "21", at="2026-11-21T05:00:00Z", readings=["rise=41"], lots=["flour=F-2"])
    log_batch(calm, "scones", "22", at="2026-11-22T05:00:00Z", readings=["rise=41"], lots=["flour=F-2"])
    assert looks_at(calm, "scones", "21") == (
        "Lot F-2 of flour came in with this batch. The nearest known is F-1. Is it written right?",
    )
    assert looks_at(calm, "scones", "22") == ()
    assert looks_at(calm, "scones", "20") == ()


def test_a_clock_that_goes_back_or_ahead_is_pointed_at(calm):
    log_batch(calm, "scones", "late", at="2026-11-10T06:00:00Z", readings=["rise=41"])
    (said,) = looks_at(calm, "scones", "late")
    assert "batch 11 was entered before it and baked later" in said
    assert looks_at(calm, "scones", "11") == ()
    log_batch(calm, "scones", "future", at="2031-01-01T06:00:00Z", readings=["rise=41"])
    (said,) = looks_at(calm, "scones", "future")
    assert "ahead of this kitchen's clock" in said


def test_alarms_that_a_correction_took_away_are_told(calm):
    log_batch(calm, "scones", "21", at="2026-11-21T05:00:00Z", readings=["rise=99"])
    alarms = [line.number for line in list_alarms(calm, "scones", open_only=True)]
    assert alarms
    correct_batch(calm, "scones", "21", Mended(readings=("rise=41",)), reason="typed wrong")
    told = looks_at(calm, "scones", "21")
    assert told == (f"Withdrawn, since their ground is gone: {', '.join(map(str, alarms))}.",)
    correct_batch(calm, "scones", "21", Mended(void=True), reason="never baked")
    assert looks_at(calm, "scones", "21") == ()
