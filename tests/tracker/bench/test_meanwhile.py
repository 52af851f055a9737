"""Is how a bake went, or when, never replaced by a tablet that had not seen what another entered meanwhile?

Readings: test_nothing_lost.py; weights: test_weights.py.
"""

from __future__ import annotations

import html
import re
from datetime import UTC, datetime

import pytest

from tracker.workflow.recording import record_run
from tracker.workflow.run_view import run_view

RUN = "/run/soda/108"


@pytest.fixture
def two(as_role):
    return as_role("baker"), as_role("owner")


def form_of(tablet, do, what=""):
    """The fields of one form as a tablet without a script would send them; of a moment the form that changes it."""
    forms = re.findall(r"<form.*?</form>", tablet.get(RUN).text, re.S)
    asked = [f'name="do" value="{do}"', *([f'value="{what}"', 'name="reason"'] if what else [])]
    (form,) = [form for form in forms if all(words in form for words in asked)]
    return {
        name: html.unescape(value) for name, value in re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form)
    }


def test_what_was_otherwise_than_planned_is_not_replaced_unseen(two, bench_store):
    one, other = two
    left_open = form_of(other, "outcome")
    assert left_open["seen"] == "done"
    said = {"state": "done", "oven": "175", "deviations": "the tray\r\nwas turned"}
    assert one.post(RUN, data=form_of(one, "outcome") | said).status_code == 303
    refused = other.post(RUN, data=left_open | {"state": "done", "oven": "180", "deviations": "door <b> open"})
    assert refused.status_code == 409
    page = html.unescape(refused.text)
    assert "Somebody changed it meanwhile; the run is recorded already: done, oven 175 °C; the tray was turned." in page
    assert "door <b> open</textarea>" in page  # what was typed stands there too
    assert 'value="180"' in page
    view = run_view(bench_store, "soda", "108")
    assert (view.oven, view.deviations) == ("175", "the tray\r\nwas turned")
    seen = form_of(other, "outcome")
    again = other.post(RUN, data=seen | {"key": "a-new-key-1", "state": "done", "oven": "180", "deviations": "both"})
    assert again.status_code == 303
    assert run_view(bench_store, "soda", "108").outcome == "done, oven 180 °C; both"


def test_a_run_that_another_called_failed_stays_so(two, bench_store):
    one, other = two
    left_open = form_of(other, "outcome")
    assert one.post(RUN, data=form_of(one, "outcome") | {"state": "failed", "reason": "fell"}).status_code == 303
    refused = other.post(RUN, data=left_open | {"state": "done", "deviations": "a", "reason": "looked fine"})
    assert refused.status_code == 409
    assert run_view(bench_store, "soda", "108").state == "failed"


def test_readings_that_came_meanwhile_are_no_conflict(two, bench_store):
    """With the first of them the run is done, which is what the page has said all along."""
    _, other = two
    left_open = form_of(other, "outcome")
    record_run(bench_store, "soda", "108", ["rise height=42"])
    assert other.post(RUN, data=left_open | {"state": "done", "deviations": "x" * 4000}).status_code == 303
    assert other.post(RUN, data=form_of(other, "outcome") | {"state": "done", "deviations": "y"}).status_code == 303
    assert run_view(bench_store, "soda", "108").deviations == "y"


def test_a_time_that_another_changed_is_not_replaced_unseen(two, bench_store, clock, key):
    one, other = two
    assert one.post(RUN, data={"do": "moment", "what": "begun", "key": key(), "place": "times"}).status_code == 303
    left_open = form_of(other, "moment", "begun")
    stands = run_view(bench_store, "soda", "108").moments["begun"]
    assert left_open["seen"] == stands
    clock.move(minutes=30)
    changed = form_of(one, "moment", "begun") | {"moment": "05:10", "reason": "pressed too early"}
    assert one.post(RUN, data=changed).status_code == 303
    refused = other.post(RUN, data=left_open | {"moment": "05:20", "reason": "my watch"})
    assert refused.status_code == 409
    assert "Somebody changed it meanwhile; begun is recorded already: 05:10." in refused.text
    assert run_view(bench_store, "soda", "108").moments["begun"].startswith("2026-11-26T05:10")
    again = form_of(other, "moment", "begun") | {"moment": "05:20", "reason": "my watch", "key": key()}
    assert other.post(RUN, data=again).status_code == 303
    assert run_view(bench_store, "soda", "108").moments["begun"].startswith("2026-11-26T05:20")


@pytest.fixture
def filled(bench_store):
    bench_store.now = lambda: datetime.now(UTC)


@pytest.mark.browser
def test_the_tablet_shows_both_and_asks(tablet, bench_store):
    one, other = tablet(role="baker"), tablet("phone")
    for page, words in ((one, "the tray was turned"), (other, "the door stood open")):
        page.goto(RUN)
        page.fill("#deviations", words)
    one.click("#outcome button.primary")
    one.wait_for_selector("#outcome .stands")
    other.click("#outcome button.primary")
    other.wait_for_selector("#outcome .wrong")
    words = other.inner_text("#outcome .wrong")
    assert "the tray was turned" in words
    assert "the door stood open" in words
    assert run_view(bench_store, "soda", "108").deviations == "the tray was turned"
    other.fill("#why", "both happened")
    other.click("#outcome button.primary")
    other.wait_for_selector("#outcome .stands")
    assert run_view(bench_store, "soda", "108").deviations == "the door stood open"
