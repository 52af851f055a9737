"""Does an analyst read a trial's answer, ask what other settings give, and add what is proposed to the plan?"""

from __future__ import annotations

import io
import re
from html import unescape
from xml.etree import ElementTree

import openpyxl
import pytest
from PIL import Image

from tracker.errors import NotFound
from tracker.workflow.analysing import analyse_trial
from tracker.workflow.exporting import export_table
from tracker.workflow.next_bakes import next_bakes_of
from tracker.workflow.number_line import EDGE, WIDE, line_of, round_numbers
from tracker.workflow.photos import keep_photo
from tracker.workflow.planning import plan_trial
from tracker.workflow.recording import record_run
from tracker.workflow.report_portions import MOST, portion, portions
from tracker.workflow.results_pages import results_of
from tracker.workflow.trials import show_trial
from tracker.workflow.what_if import Foretold, foretell

SODA = "/results?trial=soda"
LARGEST = 150_000  # bytes of a page


@pytest.fixture
def baked(bench_store):
    """Every run of "soda" with a rise that follows the amount of soda."""
    for place, run in enumerate(show_trial(bench_store, "soda").to_json()["runs"]):
        rise = 40 + 6 * float(run["settings"]["soda"]["value"]) + (-1) ** place * 0.6
        record_run(bench_store, "soda", run["code"], [f"rise height={rise:.2f}"])
    return bench_store


PLAN = """
title = "Sugar in a drop cookie"
name = "cookie"

[[factor]]
name = "sugar"
kind = "amount"
unit = "% flour"
low = 40
high = 60

[[factor]]
name = "fat"
kind = "category"
levels = ["butter", "oil"]

[[response]]
name = "spread ratio"
matters = 0.5
spread = 0.3

[design]
kind = "full factorial"
replicates = 2
seed = 11
"""


@pytest.fixture
def cookies(bench_store):
    """A planned trial that was baked with so much scatter that more bakes are proposed."""
    plan_trial(bench_store, PLAN)
    noise = (0.5, -0.6, 0.2, 0.6, -0.4, 0.1, -0.3, 0.4)
    for run, off in zip(show_trial(bench_store, "cookie").to_json()["runs"], noise, strict=True):
        read = 6 + 0.01 * float(run["settings"]["sugar"]["value"]) + off
        record_run(bench_store, "cookie", run["code"], [f"spread ratio={read:.2f}"])
    return bench_store


def what_if(**settings):
    return SODA + "".join(f"&set:{name.replace('_', '%20')}={value}" for name, value in settings.items())


def test_the_answer_stands_first_with_its_picture(baked, as_role):
    answer = as_role("analyst").get(SODA)
    page = unescape(answer.text)
    told = analyse_trial(baked, "soda").analysis
    assert answer.status_code == 200
    assert (
        page.index("The answer") < page.index("At a glance") < page.index("What if?") < page.index("What to bake next")
    )
    assert page.count("<svg") == 1
    assert " style=" not in page
    assert "<script>" not in page
    assert len(answer.content) < LARGEST
    assert f"Rests on {told.responses[0].n_bakes} bakes" in page


def test_what_if_is_one_sentence_and_one_interval(baked, as_role):
    analysis = analyse_trial(baked, "soda").analysis
    (found, *_) = foretell(analysis, {"soda": "1,5", "acid source": "yogurt"})
    page = unescape(as_role("analyst").get(what_if(soda="1,5", acid_source="yogurt")).text)
    assert found.words in page
    assert found.words.startswith("Soda 1.5 % flour and acid source yogurt: rise height ")
    assert found.low < found.mean < found.high
    assert 'value="1,5"' in page
    (line,) = re.findall(r'<svg class="line".*?</svg>', page, re.S)
    drawn = ElementTree.fromstring(line)
    (span,) = [each for each in drawn if each.get("class") == "span"]
    (mean,) = [each for each in drawn if each.get("class") == "mean"]
    assert float(span.get("x1")) < float(mean.get("cx")) < float(span.get("x2"))


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"soda": "17", "acid_source": "yogurt"}, "nothing is foretold for 17 % flour"),
        ({"soda": "much", "acid_source": "yogurt"}, '"much"'),
        ({"soda": "1", "acid_source": "yoghurt"}, "Try: yogurt"),
        ({"soda": "", "acid_source": "yogurt"}, "left open"),
    ],
)
def test_settings_that_cannot_be_foretold_stay_as_typed(baked, as_role, typed, said):
    answer = as_role("analyst").get(what_if(**typed))
    assert answer.status_code == 422
    page = unescape(answer.text)
    assert said in page
    assert f'value="{typed["soda"]}"' in page
    assert 'class="foretold"' not in page


def test_one_tap_adds_what_is_proposed(cookies, as_role, key):
    results = results_of(cookies, "cookie")
    proposal = next(each for each in results.next_bakes if results.can_add(each))
    analyst, before = as_role("analyst"), len(show_trial(cookies, "cookie").to_json()["runs"])
    shown = unescape(analyst.get("/results?trial=cookie").text)
    number = "1 bake" if proposal.adds == 1 else f"{proposal.adds} bakes"
    assert f'Add {number} to the plan<span class="unseen">: {proposal.words}' in shown
    data = {"key": key(), "trial": "cookie", "proposal": proposal.words}
    answer = analyst.post("/results/next", data=data)
    assert answer.status_code == 303, answer.text
    assert analyst.post("/results/next", data=data).status_code == 303
    runs = show_trial(cookies, "cookie").to_json()["runs"]
    assert len(runs) == before + proposal.adds
    page = unescape(analyst.get(answer.headers["location"]).text)
    assert f"{proposal.adds} run" in page
    assert f"{proposal.adds} of these bakes " in page  # stand in the plan and are not read yet
    gone = analyst.post("/results/next", data={"key": key(), "trial": "cookie", "proposal": "bake a cake"})
    assert gone.status_code == 409
    assert len(show_trial(cookies, "cookie").to_json()["runs"]) == len(runs)


def test_every_part_of_the_report_is_there_and_small(baked, as_role):
    analyst = as_role("analyst")
    contents = analyst.get("/results/parts?trial=soda").text
    keys = [section.key for section in results_of(baked, "soda").whole().sections]
    assert re.findall(r"part=(\w+)", contents) == keys
    for each in keys:
        answer = analyst.get(f"/results/parts?trial=soda&part={each}")
        assert answer.status_code == 200
        assert len(answer.content) < LARGEST
        assert " style=" not in answer.text
    assert analyst.get("/results/parts?trial=soda&part=slices").status_code == 404


def test_photos_of_the_bakes_are_a_part_whose_pictures_are_asked_for_small(baked, as_role):
    out = io.BytesIO()
    Image.new("RGB", (400, 300), "tan").save(out, "JPEG")
    number = keep_photo(baked, "soda", "108", out.getvalue(), words="<b>pale</b>", person=1)
    analyst = as_role("analyst")
    page = analyst.get("/results/parts?trial=soda&part=photos").text
    assert f'<a href="/photo/{number}"><img src="/photo/{number}/small" width="320" height="240"' in page
    assert "base64" not in page
    assert "<b>" not in page
    assert "Bake 108: soda " in page
    assert "base64" in analyst.get("/results/download/report.html?trial=soda").text


def test_a_part_with_many_pictures_is_spread_and_loses_none(baked):
    (section,) = [each for each in results_of(baked, "soda").whole().sections if each.key == "glance"]
    picture = next(block for block in section.blocks if block.kind == "picture")
    many = type(section)(key="many", title="many", blocks=[picture] * 9)
    pages = [portion(many, sheet) for sheet in range(1, portions(many) + 1)]
    assert sum(map(len, pages)) == 9
    assert len(pages) > 1
    assert all(sum(len(block.figure.svg) for block in blocks) <= MOST for blocks in pages)
    assert portion(many, 0) == portion(many, 99) == ()


def test_downloads_are_files_and_hold_what_stands(baked, as_role):
    analyst = as_role("analyst")
    table = export_table(baked, "soda")
    answers = {
        name: analyst.get(f"/results/download/{name}?trial=soda")
        for name in ("report.html", "readings.csv", "readings.xlsx")
    }
    for name, answer in answers.items():
        assert answer.status_code == 200
        assert answer.headers["content-disposition"].startswith(f'attachment; filename="soda {name}"')
        assert answer.headers["x-content-type-options"] == "nosniff"
    assert answers["readings.csv"].text == table.csv()
    book = openpyxl.load_workbook(io.BytesIO(answers["readings.xlsx"].content))
    assert [cell.value for cell in next(book["data"].iter_rows())] == [column.name for column in table.columns]
    assert answers["report.html"].text.startswith("<!DOCTYPE html>")
    assert analyst.get("/results/download/kitchen.db?trial=soda").status_code == 404


def test_without_readings_the_page_says_what_is_missing(bench_store, as_role):
    page = as_role("analyst").get(SODA)
    assert page.status_code == 200
    assert "No answer yet" in page.text
    assert "crumbwise " not in page.text.split("<main")[1]


@pytest.mark.parametrize(
    "path", ["/results?trial=sodas", "/results/parts?trial=sodas", "/results/download/readings.csv?trial=sodas"]
)
def test_an_unknown_trial_is_said_with_the_nearest(bench_store, as_role, path):
    answer = as_role("analyst").get(path)
    assert answer.status_code == 404
    assert "Try: " in answer.text
    assert "soda" in answer.text.split("Try: ")[1]


@pytest.mark.parametrize("role", ["assessor", "baker"])
@pytest.mark.parametrize(
    "path", ["/results", SODA, "/results/parts?trial=soda", "/results/download/readings.csv?trial=soda"]
)
def test_results_are_for_analysts(baked, as_role, role, path):
    assert as_role(role).get(path).status_code == 403


def test_only_analysts_add_runs(baked, client, as_role, key):
    data = {"key": key(), "trial": "soda", "proposal": next_bakes_of(baked, "soda")[0].words}
    before = len(show_trial(baked, "soda").to_json()["runs"])
    assert client.post("/results/next", data=data).status_code == 401
    assert as_role("baker").post("/results/next", data=data).status_code == 403
    assert len(show_trial(baked, "soda").to_json()["runs"]) == before


def test_a_line_holds_all_that_stands_on_it():
    told = Foretold(response="rise", unit="mm", mean=50.0, low=40.0, high=60.0, baked=(30.0, 55.0), words="")
    line = line_of(told)
    assert line.interval[0] < line.mean < line.interval[1]
    assert line.mean == pytest.approx(sum(line.interval) / 2, abs=0.1)
    places = [*line.interval, *line.baked, *(at for at, _ in line.ticks)]
    assert all(EDGE <= at <= WIDE - EDGE for at in places)
    # 30 to 60 with a twentieth to spare on either side: 28.5 to 61.5
    assert [number for _, number in line.ticks] == ["30", "40", "50", "60"]
    alone = line_of(Foretold(response="rise", unit="", mean=0.0, low=None, high=None, baked=None, words=""))
    assert alone.interval is None


@pytest.mark.parametrize(
    ("low", "high", "numbers"),
    [
        (0, 1, (0, 0.2, 0.4, 0.6, 0.8, 1.0)),
        (28.5, 61.5, (30, 40, 50, 60)),
        (-0.013, 0.041, (-0.01, 0, 0.01, 0.02, 0.03, 0.04)),
    ],
)
def test_ticks_are_round(low, high, numbers):
    assert round_numbers(low, high) == pytest.approx(numbers)


FORMULA = """
[formula]
name = "cookie dough"
[[formula.line]]
ingredient = "wheat flour"
bakers_percent = 100
[[formula.line]]
ingredient = "buttermilk"
bakers_percent = 40
[[formula.line]]
ingredient = "baking soda"
bakers_percent = 1
"""


def test_what_if_says_the_balance_of_a_trial_with_a_formula(bench_store, as_role):
    plan = PLAN.replace('name = "cookie"', 'name = "cookie"\nflour_per_bake_g = 200').replace("sugar", "buttermilk")
    plan_trial(bench_store, plan.replace("low = 40", 'ingredient = "buttermilk"\nlow = 30') + FORMULA)
    for place, run in enumerate(show_trial(bench_store, "cookie").to_json()["runs"]):
        record_run(bench_store, "cookie", run["code"], [f"spread ratio={6 + (place * 7 % 5) / 10}"])
    analyst = as_role("analyst")
    gas = {}
    for percent in ("30", "60"):
        page = unescape(analyst.get(f"/results?trial=cookie&set:buttermilk={percent}&set:fat=oil").text)
        gas[percent] = float(re.search(r"Gas for 100 g of flour</dt><dd>([\d.]+) mL", page)[1])
        assert "pH of the crumb by acid account" in page
    # All of the acid is used up by this much soda, so that gas goes with the buttermilk.
    assert gas["60"] == pytest.approx(2 * gas["30"], rel=0.02)


def test_a_slow_answer_holds_up_neither_what_is_kept_nor_the_other_pages(client, as_role, monkeypatch):
    """All requests share one loop, as they do where the bench is served: ``client`` is kept open for that."""
    import threading
    import time
    from concurrent.futures import ThreadPoolExecutor

    from tracker.bench.pages import results

    client.cookies.update(as_role("analyst").cookies)
    assert client.get("/results?trial=soda").status_code == 200  # kept from now on
    begun, go_on = threading.Event(), threading.Event()

    def slow(store, trial):
        begun.set()
        assert go_on.wait(30)
        raise NotFound(f"no {trial}", where="here", try_this="another")

    monkeypatch.setattr(results, "results_of", slow)
    with ThreadPoolExecutor(12) as pool:
        waiting = [pool.submit(client.get, "/results?trial=other") for _ in range(8)]
        try:
            assert begun.wait(30)
            assert client.get("/results?trial=soda").status_code == 200
            assert client.get("/").status_code == 200
            until = time.monotonic() + 20
            while sum(each.done() for each in waiting) < 2 and time.monotonic() < until:  # no place for them to wait
                time.sleep(0.02)
        finally:
            go_on.set()
        told = sorted(each.result().status_code for each in waiting)
    assert told == [404] * 6 + [503] * 2
