"""Does a product begin on a page, with what is read of it and what it has to meet?"""

from __future__ import annotations

from html import unescape

from tracker.workflow.batches import show_batch
from tracker.workflow.product_views import list_products, show_product
from tracker.workflow.recording import record_run
from tracker.workflow.trials import show_trial


def typed(key, name="soda scones", **more):
    first = {"reading:1": "rise height", "unit:1": "mm", "lower:1": "40,5", "upper:1": "48", "target:1": ""}
    return {"key": key(), "name": name, **first, **more}


def test_a_product_is_made_once_and_takes_its_first_batch(as_role, bench_store, key):
    analyst = as_role("analyst")
    assert 'href="/batch/product"' in analyst.get("/batch").text
    assert 'name="reading:1"' in analyst.get("/batch/product").text
    data = typed(key, **{"reading:2": "crumb pH", "target:2": "7.2"})
    answers = [analyst.post("/batch/product", data=data) for _ in range(2)]
    assert [each.status_code for each in answers] == [303, 303]
    assert answers[0].headers["location"].startswith("/batch?product=soda%20scones&saved=")
    made = show_product(bench_store, "soda scones").to_json()
    said = {each["name"]: (each["unit"], each["specification"]) for each in made["responses"]}
    assert said["rise height"] == ("mm", {"lower": 40.5, "upper": 48.0, "target": None, "version": 1})
    assert said["crumb pH"] == ("", {"lower": None, "upper": None, "target": 7.2, "version": 1})
    batch = {"key": key(), "product": "soda scones", "number": "1", "reading:rise height": "44"}
    assert as_role("baker").post("/batch", data=batch).status_code == 303
    assert show_batch(bench_store, "soda scones", "1").values == {"rise height": (44.0,)}


def test_what_makes_no_product_says_why_and_keeps_what_was_typed(as_role, bench_store, key):
    analyst = as_role("analyst")
    cases = [
        ({"lower:1": "60"}, "is not below the upper bound"),
        ({"reading:1": ""}, "A reading has numbers, but no name"),
        ({"reading:1": "", "lower:1": "", "upper:1": ""}, "Nothing says what is read of a batch"),
        ({"lower:1": "much"}, "much"),
        ({"unit:1": "mm,target=3"}, "holds a comma"),
        ({"trial": "nowhere"}, "nowhere"),
    ]
    for more, words in cases:
        answer = analyst.post("/batch/product", data=typed(key, **more))
        assert 400 <= answer.status_code < 500, more
        assert words in unescape(answer.text), more
        assert 'value="soda scones"' in answer.text
    assert list_products(bench_store) == ()
    assert as_role("baker").get("/batch/product").status_code == 403


def test_a_trial_brings_its_readings_along(as_role, bench_store, key):
    for place, run in enumerate(show_trial(bench_store, "soda").to_json()["runs"]):
        rise = 40 + 6 * float(run["settings"]["soda"]["value"]) + (-1) ** place * 0.6
        record_run(bench_store, "soda", run["code"], [f"rise height={rise:.2f}"])
    analyst = as_role("analyst")
    assert 'name="trial" value="soda"' in analyst.get("/batch/product").text
    data = {"key": key(), "name": "soda loaf", "trial": "soda"}
    assert analyst.post("/batch/product", data=data).status_code == 303
    assert "rise height" in [each["name"] for each in show_product(bench_store, "soda loaf").to_json()["responses"]]
