"""Is every text of batches, results and formulas a text, whatever stands in it?

Strings are typed into every field, once where they are refused and once where they are recorded and shown:
a few of 200, all of them with CRUMBWISE_LARGE=1 (two minutes).
"""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path

import pytest

from tracker.workflow.batch_writing import BatchEntry
from tracker.workflow.batches import show_batch
from tracker.workflow.logging_batches import log_batches
from tracker.workflow.planning import plan_trial
from tracker.workflow.recording import record_run
from tracker.workflow.trials import show_trial


def _module():
    """The strings of the other pages (tests are no package)."""
    spec = importlib.util.spec_from_file_location("hostile", Path(__file__).parent / "test_hostile_text.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


hostile = _module()
STRINGS = hostile.STRINGS
SOME = STRINGS[:: 1 if hostile.EVERY == 1 else 16]  # all of them in the long run


class Reader(hostile.Reader):
    """Names of fields hold names of ingredients."""

    TEXT = (*hostile.Reader.TEXT, "name", "aria-label", "aria-labelledby")


def strange(answer):
    reader = Reader()
    reader.feed(answer.text)
    reader.close()
    assert reader.elements > 20
    return reader.found


@pytest.fixture
def log(bench_store):
    """Six batches, so that the next one is judged."""
    entries = [
        BatchEntry(
            number=f"{place}",
            baked_at=f"2026-11-0{place}T05:30:00Z",
            lots={"flour": "F-1"},
            readings={"rise height": (40.0 + place % 3, 41.0)},
        )
        for place in range(1, 7)
    ]
    log_batches(bench_store, "scones", entries, units={"rise height": "mm"})
    return bench_store


def test_every_field_of_the_batch_pages(log, as_role, key):
    baker, analyst = as_role("baker"), as_role("analyst")
    for text in SOME:
        fields = {"number": "7", "at": text, "lot:flour": text, "further_ingredient": text, "further_lot": text}
        fields |= {f"{place}:other": text for place in ("oven", "shift", "line")}
        fields |= {"oven": text, "reading:rise height": [text, text], "reason": text, "cause": text, "action": text}
        for path in ("/batch", "/batch/more", "/batch/correct", "/batch/alarms"):
            sent = {
                "key": key(),
                "product": "scones",
                **fields,
                "number": "6" if path != "/batch" else "7",
                "alarm": text,
            }
            answer = baker.post(path, data=sent)
            assert 400 <= answer.status_code < 500, (path, text)
            assert strange(answer) == [], (path, text)
        for query in ("/batch", "/batch/one", "/results", "/formula"):
            answer = analyst.get(query, params={"product": text, "number": text, "trial": text, "name": text})
            assert answer.status_code == 404, (query, text)
            assert strange(answer) == [], (query, text)


def test_what_is_recorded_of_a_batch_is_shown_as_text(log, as_role, key):
    baker = as_role("baker")
    for place, text in enumerate(SOME):
        number = f"{text[:70]} {place}"
        sent = {"key": key(), "product": "scones", "number": number, "at": "2026-11-26 05:00"}
        sent |= {"oven:other": text, "shift:other": text, "line:other": text, "lot:flour": text}
        sent |= {"reading:rise height": ["90"]}
        answer = baker.post("/batch", data=sent)
        assert answer.status_code == 303, answer.text
        page = baker.get(answer.headers["location"])
        assert page.status_code == 200
        assert "Record the cause" in page.text
        assert strange(page) == [], text
        stands = show_batch(log, "scones", " ".join(number.split()))
        assert stands.lots["flour"] == text.strip()
    for path in ("/batch?product=scones", "/batch/alarms?product=scones", "/batch"):
        assert strange(baker.get(path)) == []


def test_every_field_of_a_formula(bench_store, as_role, key):
    analyst = as_role("analyst")
    for place, text in enumerate(STRINGS[:: hostile.EVERY]):
        lines = {"ingredient:1": "wheat flour", "percent:1": "100", "ingredient:2": text, "percent:2": text}
        answer = analyst.post("/formula/keep", data={"key": key(), "name": text, "method": text, **lines})
        assert answer.status_code == 422
        assert strange(answer) == [], text
        told = analyst.post("/formula/balance", data={"name": text, **lines}, headers={"accept": "application/json"})
        assert told.status_code == 200
        assert told.headers["content-type"] == "application/json"
        if place % 5 == 0:
            sent = {"key": key(), "name": text, "method": text, **lines, "percent:2": "5"}
            kept = analyst.post("/formula/keep", data=sent)
            assert kept.status_code == 303, kept.text
            shown = analyst.get(kept.headers["location"])
            assert shown.status_code == 200
            assert strange(shown) == [], text
    assert strange(analyst.get("/formula")) == []


@pytest.mark.parametrize("text", STRINGS[3::80])
def test_names_of_a_trial_on_its_results(bench_store, as_role, key, text):
    said = json.dumps(text, ensure_ascii=True)
    plan = f"""
title = {said}
name = {said}

[[factor]]
name = "sugar"
kind = "amount"
unit = "%"
low = 40
high = 60

[[factor]]
name = "fat"
kind = "category"
levels = [{said}, "oil"]

[[response]]
name = "spread ratio"
matters = 0.5
spread = 0.3

[design]
kind = "full factorial"
replicates = 2
seed = 11
"""
    made = plan_trial(bench_store, plan)
    name = made.to_json()["trial"] if hasattr(made, "to_json") else text
    for place, run in enumerate(show_trial(bench_store, name).to_json()["runs"]):
        record_run(bench_store, name, run["code"], [f"spread ratio={6 + (place * 7 % 5) / 10}"])
    analyst = as_role("analyst")
    shown = analyst.get("/results", params={"trial": name, "set:sugar": "50", "set:fat": text})
    assert shown.status_code == 200, shown.text
    assert strange(shown) == []
    assert strange(analyst.get("/results")) == []
    wrong = analyst.get("/results", params={"trial": name, "set:sugar": text, "set:fat": text})
    assert wrong.status_code == 422
    assert strange(wrong) == []
    for part in ("mattered", "made", "data", "provenance"):
        assert strange(analyst.get("/results/parts", params={"trial": name, "part": part})) == []
    asked = analyst.post("/results/next", data={"key": key(), "trial": name, "proposal": text})
    assert asked.status_code == 409
    assert strange(asked) == []
    held = analyst.get("/results/download/readings.csv", params={"trial": name})
    assert held.headers["content-disposition"].startswith('attachment; filename="')
    assert held.headers["content-disposition"].count('"') == 2
