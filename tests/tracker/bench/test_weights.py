"""Is what was really weighed kept, and never replaced by a tablet that had not seen it?"""

from __future__ import annotations

import re
from datetime import UTC, datetime
from urllib.parse import unquote_plus

import pytest
from sqlmodel import select

from tracker.errors import Conflict, InputError
from tracker.models import Outcome, Weighing
from tracker.workflow.planning import plan_trial
from tracker.workflow.recording import record_run
from tracker.workflow.today import today
from tracker.workflow.trials import show_trial

PLAN = """
title = "Cookies"
name = "cookies"
flour_per_bake_g = 200

[formula]
name = "cookies"
[[formula.line]]
ingredient = "wheat flour"
bakers_percent = 100
flour = true
[[formula.line]]
ingredient = "baking soda"
bakers_percent = 1.2

[[factor]]
name = "sugar"
kind = "amount"
unit = "%"
low = 40
high = 60

[[response]]
name = "spread ratio"

[design]
kind = "full factorial"
replicates = 3
seed = 11
"""
SODA = "#weights form:has([name=ingredient][value='baking soda'])"


@pytest.fixture
def run(bench_store):
    """The code of a run of a trial with a formula."""
    plan_trial(bench_store, PLAN)
    return show_trial(bench_store, "cookies").to_json()["runs"][0]["code"]


@pytest.fixture
def filled(bench_store, run):
    bench_store.now = lambda: datetime.now(UTC)


def weighed(store):
    with store.read() as session:
        return [row.grams for row in session.exec(select(Weighing).order_by(Weighing.id))]


def fields_of(html):
    """The form for the weight of baking soda as a tablet without a script would send it."""
    (form,) = [form for form in re.findall(r"<form.*?</form>", html, re.S) if 'value="baking soda"' in form]
    hidden = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', form))
    assert ("seen" in hidden) == ('name="reason"' in form)
    return hidden


def test_a_weight_that_another_changed_meanwhile_is_not_replaced_unseen(as_role, bench_store, run):
    one, other, here = as_role("baker"), as_role("owner"), f"/run/cookies/{run}"
    first = one.post(here, data=fields_of(one.get(here).text) | {"value": "2,5"})
    assert first.status_code == 303
    left_open = fields_of(other.get(here).text)
    assert left_open["seen"] == "2.5 g"
    changed = one.post(here, data=fields_of(one.get(here).text) | {"value": "2.6", "reason": "spilt some"})
    assert changed.status_code == 303, unquote_plus(changed.text)
    refused = other.post(here, data=left_open | {"value": "2.8", "reason": "weighed again"})
    assert refused.status_code == 409
    assert (
        "Somebody changed it meanwhile; baking soda is recorded already: 2.6 g. Entered by Bo at 05:00." in refused.text
    )
    assert "weighed 2.6 g" in refused.text
    assert 'value="2.8"' in refused.text  # both values stand there
    assert weighed(bench_store) == [2.5, 2.6]
    again = other.post(here, data=fields_of(refused.text) | {"value": "2.8", "reason": "weighed again"})
    assert again.status_code == 303
    assert weighed(bench_store) == [2.5, 2.6, 2.8]


def test_two_tablets_that_saw_nothing_do_not_replace_each_other(as_role, bench_store, run):
    one, other, here = as_role("baker"), as_role("owner"), f"/run/cookies/{run}"
    both = [fields_of(tablet.get(here).text) for tablet in (one, other)]
    assert one.post(here, data=both[0] | {"value": "2.5"}).status_code == 303
    refused = other.post(here, data=both[1] | {"value": "2.8"})
    assert refused.status_code == 409
    assert "weighed 2.5 g" in refused.text
    assert 'value="2.8"' in refused.text
    assert weighed(bench_store) == [2.5]


def test_a_weight_taken_back_meanwhile_is_seen_too(bench_store, run):
    """Undone is weighed as the sheet asks: that is another weight than the one that was seen."""
    record_run(bench_store, "cookies", run, weighed=["baking soda=2.5 g"])
    record_run(bench_store, "cookies", run, weighed=["baking soda=2.4 g"], correct=True, reason="undone", seen="2.5 g")
    with pytest.raises(Conflict, match=r"recorded already: 2\.4 g"):
        record_run(bench_store, "cookies", run, weighed=["baking soda=3"], correct=True, reason="x", seen="2.5 g")
    with pytest.raises(Conflict, match="recorded already: nothing"):
        record_run(bench_store, "cookies", run, weighed=["wheat flour=201"], correct=True, reason="x", seen="200 g")
    record_run(bench_store, "cookies", run, weighed=["baking soda=3"], correct=True, reason="at the terminal")
    assert weighed(bench_store) == [2.5, 2.4, 3.0]


@pytest.mark.parametrize("grams", ["45", "1.2", "0", "4.8"])
def test_a_weight_far_from_the_planned_one_is_kept_with_a_reason(bench_store, run, grams):
    """2.4 g of soda are planned: twice as much, half as much and none are asked about."""
    asked = f"{grams} g is an unlikely weight, the sheet asks for 2.4 g"
    with pytest.raises(InputError, match=f"baking soda: {asked}") as caught:
        record_run(bench_store, "cookies", run, weighed=[f"baking soda={grams}"])
    assert "--reason" in caught.value.try_this
    assert weighed(bench_store) == []
    done = record_run(bench_store, "cookies", run, weighed=[f"baking soda={grams}"], reason="meant so")
    assert asked in done.warnings[0]
    assert "Kept, because: meant so" in done.warnings[0]
    with bench_store.read() as session:
        (row,) = session.exec(select(Weighing))
    assert (row.grams, row.reason) == (float(grams), "meant so")


@pytest.mark.parametrize("grams", ["1.3", "2.4", "4.7"])
def test_a_weight_near_the_planned_one_is_taken_as_it_is(bench_store, run, grams):
    assert record_run(bench_store, "cookies", run, weighed=[f"baking soda={grams}"]).warnings == ()


def test_a_tablet_without_a_script_is_asked_and_its_reason_replaces_nothing(as_role, bench_store, run):
    one, other, here = as_role("baker"), as_role("owner"), f"/run/cookies/{run}"
    asked = one.post(here, data=fields_of(one.get(here).text) | {"value": "45"})
    assert asked.status_code == 422
    assert "45 g is an unlikely weight" in asked.text
    assert 'value="45"' in asked.text
    assert "Why it is so all the same" in asked.text
    (form,) = [form for form in re.findall(r"<form.*?</form>", asked.text, re.S) if 'value="baking soda"' in form]
    hidden = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', form))
    assert other.post(here, data=fields_of(other.get(here).text) | {"value": "2.5"}).status_code == 303
    refused = one.post(here, data=hidden | {"value": "45", "reason": "a large tin"})
    assert refused.status_code == 409
    assert weighed(bench_store) == [2.5]  # what the other saved meanwhile was never seen here
    kept = one.post(here, data=fields_of(refused.text) | {"value": "45", "reason": "a large tin"})
    assert kept.status_code == 303
    assert weighed(bench_store) == [2.5, 45.0]


@pytest.mark.browser
def test_the_tablet_asks_on_the_spot(tablet, bench_store, run):
    page = tablet(role="baker")
    page.goto(f"/run/cookies/{run}")
    page.click(f"#weights details:has({SODA.removeprefix('#weights ')}) summary")
    page.context.set_offline(True)  # asked without the server too
    page.fill(f"{SODA} [name=value]", "240,0")
    page.click(f"{SODA} button[type=submit]")
    assert "240.0 g is an unlikely weight, the sheet asks for 2.4 g" in page.inner_text(f"{SODA} .wrong")
    page.context.set_offline(False)
    page.fill(f"{SODA} [name=reason]", "a large tin")
    page.click(f"{SODA} button[type=submit]")
    page.wait_for_selector("#history >> text=240 g")
    assert weighed(bench_store) == [240.0]


def outcomes(store):
    with store.read() as session:
        return list(session.exec(select(Outcome.state)))


def test_a_weight_alone_does_not_say_that_anything_was_baked(as_role, bench_store, run):
    baker, here = as_role("baker"), f"/run/cookies/{run}"
    assert baker.post(here, data=fields_of(baker.get(here).text) | {"value": "2.5"}).status_code == 303
    assert (weighed(bench_store), outcomes(bench_store)) == ([2.5], [])
    (trial,) = [each for each in today(bench_store).trials if each.name == "cookies"]
    assert (trial.next_runs[0].code, trial.next_runs[0].begun, trial.waiting) == (run, True, ())
    assert trial.settled == 0
    assert "bake done" not in baker.get(here).text
    assert show_trial(bench_store, "cookies").line.baked == 0


def test_with_a_reading_or_an_outcome_the_run_is_baked(bench_store, run):
    assert record_run(bench_store, "cookies", run, weighed=["baking soda=2.5"]).outcome is None
    assert record_run(bench_store, "cookies", run, outcome="failed", reason="fell").outcome == "failed"
    record_run(bench_store, "cookies", run, weighed=["wheat flour=201"])  # known later, and the bake is still lost
    assert outcomes(bench_store) == ["failed"]
    other = show_trial(bench_store, "cookies").to_json()["runs"][1]["code"]
    assert record_run(bench_store, "cookies", other, ["spread ratio=5"], weighed=["baking soda=2.5"]).outcome == "done"
    third = show_trial(bench_store, "cookies").to_json()["runs"][2]["code"]
    assert record_run(bench_store, "cookies", third, outcome="done", weighed=["baking soda=2.5"]).outcome == "done"


@pytest.mark.browser
def test_the_tablet_shows_both_and_asks(tablet, bench_store, run):
    here = f"/run/cookies/{run}"
    record_run(bench_store, "cookies", run, weighed=["baking soda=2.5 g"])
    one, other = tablet(role="baker"), tablet("phone")
    for page, grams in ((one, "2,6"), (other, "2,8")):
        page.goto(here)
        page.click(f"#weights details:has({SODA.removeprefix('#weights ')}) summary")
        page.fill(f"{SODA} [name=value]", grams)
        page.fill(f"{SODA} [name=reason]", "weighed again")
    one.click(f"{SODA} button[type=submit]")
    one.wait_for_selector("#history >> text=2.6 g")
    other.click(f"{SODA} button[type=submit]")
    other.wait_for_selector(f"{SODA} .wrong")
    words = other.inner_text(f"{SODA} .wrong")
    assert "2.6 g" in words
    assert "Entered by Bo at " in words
    assert "You entered 2,8" in words
    assert weighed(bench_store) == [2.5, 2.6]
    other.click(f"{SODA} button[type=submit]")  # seen now, and still meant
    other.wait_for_selector("#history >> text=2.8 g")
    assert weighed(bench_store) == [2.5, 2.6, 2.8]
