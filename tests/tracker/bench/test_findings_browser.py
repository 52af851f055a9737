"""What does a real browser make of batches, results and formulas, light and dark, with scripts and without?"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from tracker.bench.kit import HERE
from tracker.formulas import FormulaLine, checked
from tracker.workflow.batch_writing import BatchEntry
from tracker.workflow.batches import show_batch
from tracker.workflow.formulas import add_formula
from tracker.workflow.logging_batches import log_batches
from tracker.workflow.quick_entry import log_batch
from tracker.workflow.recording import record_run
from tracker.workflow.trials import show_trial

pytestmark = pytest.mark.browser
SIZES = {"phone": (390, 844), "tablet": (768, 1024), "larger tablet": (810, 1080), "screen": (1280, 800)}
LARGEST = 150_000  # bytes of a page with all that it loads
BESIDE = sum(each.stat().st_size for each in (HERE / "static").iterdir())
PATHS = [
    "/batch",
    "/batch?product=scones",
    "/batch/one?product=scones&number=13",
    "/batch/correct?product=scones&number=13",
    "/batch/alarms?product=scones",
    "/batch/product",
    "/results",
    "/results?trial=soda",
    "/results?trial=soda&set:soda=1,5&set:acid%20source=yogurt",
    "/results/parts?trial=soda&part=mattered",
    "/results/parts?trial=soda&part=sure",
    "/formula",
    "/formula?name=soda%20loaf",
]
SMALL = """() => [...document.querySelectorAll('a, button, input:not([type=hidden]), select, textarea, summary')]
  .filter((each) => !each.matches('.skip'))
  .map((each) => (each.matches('[type=radio], [type=checkbox]') ? each.closest('label') : each))
  .map((each) => [each.getBoundingClientRect(), each.outerHTML.slice(0, 90), each.matches('.primary')])
  .filter(([box]) => box.width > 0)
  .filter(([box, , primary]) => box.height < (primary ? 96 : 48) || box.width < (primary ? 96 : 48))
  .map(([box, html]) => `${Math.round(box.width)}x${Math.round(box.height)} ${html}`)"""


@pytest.fixture
def filled(bench_store):
    """Thirteen batches, a trial that was baked and a formula."""
    bench_store.now = lambda: datetime.now(UTC)
    begin = datetime.now(UTC) - timedelta(days=20)
    entries = [
        BatchEntry(
            number=f"{place}",
            baked_at=(begin + timedelta(days=place)).isoformat(timespec="seconds").replace("+00:00", "Z"),
            oven="upper" if place % 2 else "lower",
            lots={"flour": f"F-{place // 5}"},
            readings={"rise height": (42.0 + place % 3, 43.0)},
        )
        for place in range(1, 13)
    ]
    log_batches(bench_store, "scones", entries, units={"rise height": "mm"})
    log_batch(bench_store, "scones", "13", readings=["rise height=30, 31"], lots=["flour=F-9"])
    for place, run in enumerate(show_trial(bench_store, "soda").to_json()["runs"]):
        rise = 40 + 6 * float(run["settings"]["soda"]["value"]) + (-1) ** place * 0.6
        record_run(bench_store, "soda", run["code"], [f"rise height={rise:.2f}"])
    lines = (("wheat flour", 100.0), ("buttermilk", 80.0), ("baking soda", 1.2))
    typed = [FormulaLine(ingredient=name, bakers_percent=percent) for name, percent in lines]
    add_formula(bench_store, checked("soda loaf", typed))


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_page_is_accessible_small_and_quiet_with_targets_for_fingers(tablet, scheme):
    from axe_playwright_python.sync_playwright import Axe

    page = tablet(role="analyst", color_scheme=scheme)
    wrong = []
    for path in PATHS:
        answer = page.goto(path)
        assert answer.status == 200, path
        assert len(answer.body()) + BESIDE < LARGEST, path
        assert "nosniff" in answer.headers["x-content-type-options"]
        for size, (width, height) in SIZES.items():
            page.set_viewport_size({"width": width, "height": height})
            wrong += [(path, size, each) for each in page.evaluate(SMALL)]
            if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
                wrong.append((path, size, "wider than the screen"))
        wrong += [(path, each["id"], each["nodes"][0]["html"]) for each in Axe().run(page).response["violations"]]
    assert wrong == []
    assert page.said == []  # the policy of the page would be named here


PUSHED = """() => { const box = document.querySelector('.drawn'); const edge = getComputedStyle(box, '::after');
  return {hidden: Math.round(box.scrollWidth - box.clientWidth), at: box.scrollLeft, edge: edge.content,
    stays: edge.position, name: box.getAttribute('aria-label'), role: box.getAttribute('role'), tab: box.tabIndex }}"""


def test_a_picture_wider_than_a_phone_says_so_and_is_pushed_by_keys_too(tablet):
    from axe_playwright_python.sync_playwright import Axe

    page = tablet("phone", role="analyst", color_scheme="dark")
    for path in ("/results?trial=soda", "/batch/one?product=scones&number=13"):
        page.set_viewport_size(dict(zip(("width", "height"), SIZES["phone"], strict=True)))
        page.goto(path)
        words = page.locator(".push").first
        assert words.inner_text() == "Push the picture sideways to see the rest."
        assert [(each["id"], each["nodes"][0]["html"]) for each in Axe().run(page).response["violations"]] == []
        before = page.evaluate(PUSHED)
        assert before["hidden"] > 100
        assert (before["at"], before["edge"], before["stays"]) == (0, '""', "sticky")
        assert (before["role"], before["tab"]) == ("region", 0)
        assert before["name"].startswith("Picture: ")
        page.locator(".drawn").first.focus()
        page.keyboard.press("ArrowRight")
        page.wait_for_function("() => document.querySelector('.drawn').scrollLeft > 10")
        for size in ("tablet", "screen"):  # all of it is seen: nothing is said
            page.set_viewport_size(dict(zip(("width", "height"), SIZES[size], strict=True)))
            assert not words.is_visible()
            now = page.evaluate(PUSHED)
            assert (now["hidden"], now["edge"]) == (0, "none")


def test_the_balance_follows_what_is_typed(tablet):
    page = tablet(role="analyst")
    page.goto("/formula?name=soda%20loaf")
    before = page.inner_text("#balance")
    page.fill("[name='percent:3']", "2,4")
    page.wait_for_function("(was) => document.getElementById('balance').innerText !== was", arg=before)
    live = page.inner_text("#balance")
    with page.expect_navigation():
        page.click("text=Compute the balance")
    assert page.inner_text("#balance").split() == live.split()
    assert page.input_value("[name='percent:3']") == "2,4"
    assert page.said == []


def test_a_batch_is_logged_without_scripts(tablet, bench_store):
    page = tablet(role="analyst", java_script_enabled=False)
    page.goto("/batch?product=scones")
    assert page.input_value("[name=number]") == "14"
    page.locator("[name='reading:rise height']").nth(0).fill("42,5")
    page.locator("[name='reading:rise height']").nth(1).fill("43.5")
    page.click("text=Record the batch")
    assert "Rise height 43.0 mm (mean of 2)" in page.inner_text("main")
    assert page.locator("figure svg").count() == 1
    assert show_batch(bench_store, "scones", "14").values == {"rise height": (42.5, 43.5)}
    assert page.said == []


def test_what_was_typed_of_a_batch_survives_a_reload_and_never_enters_the_next(tablet, bench_store):
    from playwright.sync_api import expect

    page = tablet(role="analyst")
    page.goto("/batch?product=scones")
    box = page.locator("[name='reading:rise height']").nth(0)
    box.fill("42,7")
    page.wait_for_selector("#kept:has-text('On this tablet')")
    page.reload()
    expect(page.locator("[name='reading:rise height']").nth(0)).to_have_value("42,7")
    page.click("text=Record the batch")
    page.wait_for_url("**/batch/one?**")
    assert show_batch(bench_store, "scones", "14").values == {"rise height": (42.7,)}
    page.click("text=The next batch")
    page.wait_for_load_state("networkidle")
    assert page.input_value("[name=number]") == "15"
    assert page.locator("[name='reading:rise height']").nth(0).input_value() == ""
    assert page.said == []


def test_a_formula_gets_lines_as_they_are_filled_and_keeps_them_over_a_reload(tablet):
    page = tablet(role="analyst")
    page.goto("/formula?new=1")
    page.wait_for_selector("body[data-ready]")
    for place in range(2, 9):  # four lines stand there at first
        page.fill(f"[name='ingredient:{place}']", f"thing {place}")
        page.fill(f"[name='percent:{place}']", str(place))
    page.wait_for_timeout(400)
    page.reload()
    page.wait_for_selector("body[data-ready]")
    assert page.input_value("[name='ingredient:8']") == "thing 8"
    assert page.input_value("[name='percent:8']") == "8"
    assert page.input_value("[name='ingredient:9']") == ""
    assert page.get_by_label("Ingredient of line 9", exact=True).count() == 1
