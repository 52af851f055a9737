"""Can a baker log a batch, see at once what is said of it, and put it right, without scripts?"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from html import unescape
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tracker.bench.pages.batch_fields import in_the_kitchen
from tracker.workflow.alarms import list_alarms
from tracker.workflow.batch_pages import number_after
from tracker.workflow.batch_writing import BatchEntry
from tracker.workflow.batches import list_batches, show_batch
from tracker.workflow.logging_batches import log_batches
from tracker.workflow.products import specify

FIRST = datetime(2026, 11, 1, 5, 30, tzinfo=UTC)
SCONES = "/batch?product=scones"


@pytest.fixture
def scones(bench_store):
    """Twenty-five calm batches B001 to B025, two pieces each, with a specification."""
    rng = np.random.Generator(np.random.PCG64(5))
    entries = [
        BatchEntry(
            number=f"B{place:03}",
            baked_at=(FIRST + timedelta(hours=12 * place)).isoformat().replace("+00:00", "Z"),
            oven="upper" if place % 2 else "lower",
            shift="early",
            lots={"flour": f"F-{1 + place // 20}"},
            readings={"rise height": tuple(round(43 + rng.normal(0, 0.8), 1) for _ in range(2))},
        )
        for place in range(1, 26)
    ]
    log_batches(bench_store, "scones", entries, units={"rise height": "mm"})
    specify(bench_store, "scones", ["rise height:lower=40,upper=48"])
    return bench_store


def form(key, **more):
    return {
        "key": key(),
        "product": "scones",
        "number": "B026",
        "at": "2026-11-26 05:40",
        "oven": "upper",
        "shift": "early",
        "line:other": "",
        "lot:flour": "F-2",
        "reading:rise height": ["43,1", "42.8", ""],
        **more,
    }


def test_the_form_proposes_what_was_done_last(scones, as_role):
    page = as_role("baker").get(SCONES).text
    assert 'name="number" required autocomplete="off" maxlength="80" value="B026"' in page
    assert 'name="lot:flour" autocomplete="off" maxlength="200" value="F-2"' in page
    assert page.count('name="reading:rise height"') == 3  # two pieces last time, and one to spare
    assert "piece 1, mm" in page
    assert 'name="oven" value="upper" checked' in page
    assert 'name="oven" value="lower"' in page
    assert "40 to 48 mm" in page


def test_a_batch_is_logged_and_judged_at_once(scones, as_role, key):
    baker = as_role("baker")
    answer = baker.post("/batch", data=form(key))
    assert answer.status_code == 303
    page = baker.get(answer.headers["location"]).text
    assert "Rise height 42.95 mm (mean of 2)" in page
    assert "Every piece meets the specification" in page
    assert page.count("<svg") == 1
    assert " style=" not in page
    stands = show_batch(scones, "scones", "B026")
    assert stands.values == {"rise height": (43.1, 42.8)}
    assert (stands.oven, stands.shift, stands.lots) == ("upper", "early", {"flour": "F-2"})


def test_the_same_post_twice_is_one_batch(scones, as_role, key):
    baker, data = as_role("baker"), form(key)
    assert [baker.post("/batch", data=data).status_code for _ in range(3)] == [303, 303, 303]
    assert [line.number for line in list_batches(scones, "scones")].count("B026") == 1


@pytest.mark.parametrize(
    ("field", "typed", "status", "said"),
    [
        ("reading:rise height", ["43,1", "tall"], 422, "tall"),
        ("number", "B025", 409, "B025"),
        ("number", "", 422, "needs a number"),
        ("at", "yesterday-ish", 422, "yesterday-ish"),
        ("further_lot", "M-1", 400, "M-1"),
    ],
)
def test_what_is_wrong_is_said_and_what_was_typed_stays(scones, as_role, key, field, typed, status, said):
    before = len(list_batches(scones, "scones"))
    sent = form(key, **{field: typed, "oven": "other:", "oven:other": "stone & brick"})
    answer = as_role("baker").post("/batch", data=sent)
    page = unescape(answer.text)
    assert answer.status_code == status
    assert said in page
    assert "Try: " in page
    assert "--" not in page.split("<main")[1].split("<form")[0]
    assert 'value="stone & brick"' in page
    for each in typed if isinstance(typed, list) else [typed]:
        assert f'value="{each}"' in page
    assert len(list_batches(scones, "scones")) == before


def test_an_alarm_gets_its_cause_and_action(scones, as_role, key):
    baker = as_role("baker")
    low = form(key, **{"reading:rise height": ["31", "30,5"]})
    page = baker.get(baker.post("/batch", data=low).headers["location"]).text
    shown = re.findall(r'name="alarm" value="(\d+)"', page)
    assert set(shown) == {str(line.number) for line in list_alarms(scones, "scones", open_only=True)} != set()
    told = {"key": key(), "product": "scones", "number": "B026", "alarm": shown, "action": "powder changed"}
    lacking = baker.post("/batch/alarms", data=told)
    assert lacking.status_code == 422
    assert 'value="powder changed"' in lacking.text
    assert baker.post("/batch/alarms", data={**told, "key": key(), "cause": "old powder"}).status_code == 303
    answered = {(line.cause, line.action) for line in list_alarms(scones, "scones")}
    assert answered == {("old powder", "powder changed")}
    assert "Every alarm has a cause" in baker.get("/batch/alarms?product=scones").text


def test_a_correction_is_a_new_entry(scones, as_role, key):
    baker = as_role("baker")
    baker.post("/batch", data=form(key))
    shown = baker.get("/batch/correct?product=scones&number=B026").text
    assert 'value="43.1"' in shown
    right = {
        "key": key(),
        "product": "scones",
        "number": "B026",
        "reason": "typed wrong",
        "oven": "lower",
        "shift": "early",
        "reading:rise height": ["43.7", "42.8"],
        "lot:flour": "",
    }
    assert baker.post("/batch/correct", data={**right, "reason": ""}).status_code == 422
    assert baker.post("/batch/correct", data=right).status_code == 303
    stands = show_batch(scones, "scones", "B026")
    assert stands.values == {"rise height": (43.7, 42.8)}
    assert (stands.oven, stands.lots) == ("lower", {})
    page = baker.get("/batch/one?product=scones&number=B026").text
    assert "43.7 (was 43.1): typed wrong" in page
    back = {"key": key(), "product": "scones", "number": "B026", "reason": "not ours", "void": "yes"}
    assert baker.post("/batch/correct", data=back).status_code == 303
    assert "counts no longer" in baker.get("/batch/one?product=scones&number=B026").text
    again = {"key": key(), "product": "scones", "number": "B026", "reason": "it is", "void": "no"}
    assert baker.post("/batch/correct", data=again).status_code == 303
    assert not show_batch(scones, "scones", "B026").void


def test_what_was_not_read_is_added_later(scones, as_role, key):
    baker = as_role("baker")
    baker.post("/batch", data=form(key, **{"reading:rise height": ["", ""]}))
    page = baker.get("/batch/one?product=scones&number=B026").text
    assert "Nothing was read of it yet" in page
    more = {"key": key(), "product": "scones", "number": "B026", "reading:rise height": ["43,5"]}
    assert baker.post("/batch/more", data=more).status_code == 303
    assert show_batch(scones, "scones", "B026").values == {"rise height": (43.5,)}


@pytest.mark.parametrize(
    ("path", "near"),
    [
        ("/batch?product=scone", "scones"),
        ("/batch/alarms?product=scone", "scones"),
        ("/batch/one?product=scone&number=B001", "scones"),
        ("/batch/one?product=scones&number=B999", "B999"),
        ("/batch/correct?product=scones&number=B999", "B999"),
    ],
)
def test_an_unknown_name_is_said_with_the_nearest(scones, as_role, path, near):
    answer = as_role("baker").get(path)
    assert answer.status_code == 404
    assert near in answer.text


@pytest.mark.parametrize("path", ["/batch", "/batch/more", "/batch/alarms", "/batch/correct"])
def test_only_who_bakes_comes_in(scones, client, as_role, key, path):
    sent = form(key)
    assert client.post(path, data=sent).status_code == 401
    assert as_role("assessor").post(path, data=sent).status_code == 403
    assert as_role("assessor").get(f"{path}?product=scones").status_code == 403
    assert [line.number for line in list_batches(scones, "scones")].count("B026") == 0


@pytest.mark.parametrize(
    ("last", "taken", "proposed"),
    [
        ("", set(), "1"),
        ("B009", {"B009"}, "B010"),
        ("120b", {"120b", "121b"}, "122b"),
        ("Monday", {"Monday"}, ""),
        ("9", {"9"}, "10"),
    ],
)
def test_the_next_number(last, taken, proposed):
    assert number_after(last, taken) == proposed


def test_a_moment_has_the_day_of_the_kitchen():
    # Half past eleven in the evening in UTC is the next day in Zurich, an hour ahead in winter.
    assert in_the_kitchen("2026-11-25T23:30:00Z", ZoneInfo("Europe/Zurich")) == "2026-11-26 00:30"


def test_a_batch_of_many_responses_stays_a_small_page(bench_store, as_role):
    rng = np.random.Generator(np.random.PCG64(7))
    names = ["rise height", "crumb pH", "powder gas", "oven temperature"]
    entries = [
        BatchEntry(
            number=f"{place}",
            baked_at=(FIRST + timedelta(hours=4 * place)).isoformat().replace("+00:00", "Z"),
            lots={"flour": f"F-{place // 9}", "baking powder": f"P-{place // 14}"},
            readings={name: tuple(round(40 + rng.normal(0, 1), 2) for _ in range(3)) for name in names},
        )
        for place in range(1, 61)
    ]
    log_batches(bench_store, "loaf", entries, units=dict.fromkeys(names, "mm"))
    baker = as_role("baker")
    answer = baker.get("/batch/one?product=loaf&number=40")
    assert len(answer.content) < 150_000
    assert answer.text.count("<svg") == 2
    shown = re.findall(r">Chart of ([^<]+)<", answer.text)
    assert len(shown) == 2
    one = baker.get("/batch/one", params={"product": "loaf", "number": "40", "response": shown[0]}).text
    assert one.count("<svg") == 1
    assert f"{shown[0]} over the batches" in one


def test_today_leads_to_where_alarms_are_answered(scones, as_role, key):
    baker = as_role("baker")
    answer = baker.post("/batch", data=form(key, **{"reading:rise height": ["30", "31", ""]}))
    assert answer.status_code in (200, 303)
    assert list_alarms(scones, "scones", open_only=True)
    assert 'href="/batch/alarms?product=scones"' in baker.get("/").text


def test_what_needs_a_look_is_still_said_after_the_bench_was_started_anew(as_role, scones, bench_store, key):
    from fastapi.testclient import TestClient

    from tracker.bench.app import make_app

    client = as_role("baker")
    form = {"product": "scones", "number": "B026", "reading:rise height": "43", "lot:flour": "F-33", "key": key()}
    assert client.post("/batch", data=form).status_code == 303
    where = "/batch/one?product=scones&number=B026"
    assert "Lot F-33 of flour came in with this batch." in client.get(where).text
    settings = client.app.state.settings
    again = TestClient(make_app(bench_store, settings), base_url=client.base_url, cookies=client.cookies)
    assert "Lot F-33 of flour came in with this batch." in again.get(where).text
