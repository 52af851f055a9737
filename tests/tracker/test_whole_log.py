"""Does a whole log, read at once, say the same as its batches do one by one?"""

from __future__ import annotations

import pytest

from tracker.current_batches import current_batches, find_product
from tracker.whole_log import read_log
from tracker.workflow.batch_series import series_of, series_of_log
from tracker.workflow.correcting_batches import Mended, correct_batch
from tracker.workflow.logged_responses import responses_of
from tracker.workflow.products import add_product
from tracker.workflow.quick_entry import add_readings, log_batch

RESPONSES = ["rise height:unit=mm", "split:scale=share", "blisters:scale=rate", "pH"]


@pytest.fixture
def corrected(store):
    """A log with everything that may have happened to it, beside another product's."""
    add_product(store, "scones", responses=RESPONSES)
    add_product(store, "rolls", responses=RESPONSES)
    for day in range(9, 0, -1):  # entered backwards
        for product in ("scones", "rolls"):
            readings = [f"rise height={40 + day} {41 + day}.5 {42 - day}", f"split={day}/40", "blisters=3/2.5"]
            log_batch(store, product, f"S{day}", at=f"2026-03-0{day} 05:30", readings=readings[: 1 + day % 3])
    for number, mended in {
        "S1": Mended(at="2026-03-05 12:00", readings=("rise height=44,5",), piece=2),
        "S2": Mended(void=True),
        "S3": Mended(readings=("rise height=50 51 49",)),
        "S4": Mended(readings=("split=7/50",)),
        "S5": Mended(take_back=("rise height",)),
        "S6": Mended(at="2026-03-01 01:00", take_back=("rise height",), piece=1),
    }.items():
        correct_batch(store, "scones", number, mended, reason="typed wrong")
    correct_batch(store, "scones", "S8", Mended(void=True), reason="logged twice")
    log_batch(store, "scones", "S8", at="2026-03-04 09:00", readings=["rise height=30 31"])
    add_readings(store, "scones", "S7", ["pH=5.1"])
    return store


def test_every_response_of_the_log_is_read_as_its_batches_stand(corrected):
    read = 0
    with corrected.read() as session:
        for name in ("scones", "rolls"):
            product = find_product(session, name)
            batches = current_batches(session, product)
            for response in responses_of(session, product):
                log = read_log(session, product, response.name)
                read += sum(len(batch.values) for batch in log)
                assert [(each.id, each.number, each.place) for each in log] == [
                    (each.id, each.number, each.place) for each in batches
                ]
                assert [each.values for each in log] == [each.values(response.name) for each in batches]
                assert series_of_log(log, response) == series_of(batches, response)
    assert read > 60
