"""Is a trial planned in a real browser, with floury hands, from the first question to the first run?"""

from __future__ import annotations

from functools import partial

import pytest

from tracker.formulas import FormulaLine, checked
from tracker.workflow.formulas import add_formula
from tracker.workflow.trials import show_trial

pytestmark = pytest.mark.browser
SIZES = {"phone": (390, 844), "tablet": (768, 1024), "larger tablet": (810, 1080), "screen": (1280, 800)}
ANSWERED = (
    "seed=5&aim=2&formula=soda+loaf&flour=&factor.1=soda&kind.1=1&unit.1=&doses.1=0.5+to+2.5&line.1=&factor.2="
    "&hard-to-change=&bakes-a-day=8&bakes-at-most=&response.1=&response-unit.1=&goal.1=1&matters.1=3&differ.1=2.5&plausible.1="
    "&response.2="
)
PATHS = [
    "/plan",
    "/plan/ask?seed=5",
    "/plan/ask?seed=5&aim=2",
    "/plan/ask?seed=5&aim=2&formula=soda+loaf&flour=none",
    f"/plan/ask?{ANSWERED}",
    *(f"/plan/ask?{ANSWERED}&title=&at={name}" for name in ("unit.1", "hard-to-change", "bakes-a-day", "goal.1")),
    f"/plan/ask?{ANSWERED}&title=&at=response.2",
    f"/plan/answers?{ANSWERED}",
    f"/plan/proposal?{ANSWERED}&title=",
    f"/plan/proposal?{ANSWERED}&title=&bakes-at-most=3",
    "/plan/ready/cookie-screening",
    "/plan/own",
    "/plan/trial?trial=soda",
]
# A click on a label or on the words of a box hits its target: the label is what is measured.
TARGETS = """() => [...document.querySelectorAll('a, button, input:not([type=hidden]), select, textarea, summary')]
  .filter((each) => !each.matches('.skip') && each.getClientRects().length)
  .map((each) => (each.matches('[type=radio], [type=checkbox]') ? each.closest('label') : each))
  .map((each) => [each.getBoundingClientRect(), each.outerHTML.slice(0, 90), each.matches('.primary')])
  .map(([box, html, primary]) => ({ x: box.x, y: box.y, w: box.width, h: box.height, html, primary }))"""


@pytest.fixture
def filled(bench_store, filled):
    """A kitchen with a formula."""
    lines = (("wheat flour", 100.0), ("buttermilk", 80.0), ("baking soda", 1.2))
    typed = [FormulaLine(ingredient=name, bakers_percent=percent) for name, percent in lines]
    add_formula(bench_store, checked("soda loaf", typed))


@pytest.fixture
def tablet(tablet):
    """``tablet("phone", …)``: a page at which the analyst is signed in, and all that its console said."""
    return partial(tablet, role="analyst")


def sign_in(page):
    page.fill("[name=name]", "Cleo")
    page.fill("[name=pin]", "615042")
    page.click("main button.primary")
    page.wait_for_load_state()


def go_on(page, **given):
    """One page of the questions: tap or type what is given, leave the rest as it stands."""
    heading = page.inner_text("h1")
    for name, value in given.items():
        field = page.locator(f"input[name='{name}']:not([type=hidden])")
        if field.count():
            field.fill(value)
    taps = page.locator(".tap")
    if not taps.count():
        page.click("text=Next")
    else:
        name = taps.first.get_attribute("name")
        if name in given:
            page.locator(f".tap[value='{given[name]}']").click()
        else:
            page.locator(".tap:has(.quiet)").click()
    page.wait_for_load_state()
    return heading


def to_the_proposal(page, **given):
    asked = []
    while "/plan/ask" in page.url:
        asked.append(go_on(page, **given))
        assert len(asked) < 40
    page.wait_for_url("**/plan/proposal?**")
    return asked


def shown_runs(page):
    page.click("text=/All \\d+ runs/")
    return [row.split("\t")[:2] for row in page.inner_text("#order tbody").splitlines()]


@pytest.mark.parametrize(("size", "scripts"), [("phone", True), ("tablet", False)])
def test_from_the_first_question_to_the_first_run(tablet, bench_store, size, scripts):
    page = tablet(size, java_script_enabled=scripts)
    page.click("nav >> text=Plan")
    page.click("text=Answer a few questions")
    asked = to_the_proposal(page, aim="2", formula="soda loaf", **{"matters.1": "3", "differ.1": "2,5"})
    assert asked[0] == "What do you want to know?"
    assert len(asked) == len(set(asked)) == 15
    shown = shown_runs(page)
    assert len(shown) > 6
    page.click("text=Release this plan")
    page.wait_for_url("**/plan/trial?**")
    assert "Saved" in page.inner_text("#kept")
    runs = show_trial(bench_store, "how-much-soda").runs
    assert [[str(run["bake_order"]), run["code"]] for run in runs] == shown
    if scripts:  # nothing of it stays on the tablet
        page.wait_for_function("async () => (await (await import('/static/keep.js')).all('drafts')).length === 0")
    page.click("text=/To run 1/")
    page.wait_for_load_state()
    assert page.url.endswith(f"/run/how-much-soda/{runs[0]['code']}")
    assert "baking soda" in page.inner_text("#weights")
    assert page.said == []


def test_a_refused_answer_stays_in_its_field_with_the_reason(tablet):
    page = tablet("phone")
    page.goto("/plan/ask?seed=5&aim=2&factor.1=soda&kind.1=1&unit.1=&formula=none")
    page.fill("[name='doses.1']", "2 to 1")
    page.keyboard.press("Enter")
    page.wait_for_selector(".wrong")
    assert "The doses do not rise." in page.inner_text(".wrong")
    assert page.input_value("[name='doses.1']") == "2 to 1"
    page.fill("[name='doses.1']", "1 to 2")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Name of thing 2")
    assert [each for each in page.said if "422" not in each] == []


def test_reload_back_and_an_empty_battery_lose_nothing(tablet):
    from playwright.sync_api import expect

    page = tablet()
    page.goto("/plan")
    page.click("text=Answer a few questions")
    go_on(page, aim="2")
    go_on(page, formula="soda loaf")
    go_on(page, flour="250")
    page.fill("[name='factor.1']", "powd")
    page.wait_for_selector("#kept:has-text('On this tablet')")
    page.reload()  # while it is typed
    expect(page.locator("[name='factor.1']")).to_have_value("powd")
    page.fill("[name='factor.1']", "powder")
    go_on(page)
    page.go_back()  # the browser's own
    expect(page.locator("[name='factor.1']")).to_have_value("powder")
    page.go_forward()
    assert "In which unit is powder given?" in page.inner_text("h1")
    page.fill("input[name='unit.1']", "pinch")
    page.click("text=Back")
    page.wait_for_load_state()
    assert page.input_value("[name='factor.1']") == "powder"
    go_on(page)
    expect(page.locator("input[name='unit.1']")).to_have_value("pinch")
    go_on(page)
    context = page.context
    page.close(run_before_unload=False)  # as when the battery is empty
    page = context.new_page()
    page.goto("/plan")
    page.click("text=Go on with the plan you began here")
    page.wait_for_load_state()
    assert "how much powder (pinch)" in page.inner_text("h1")
    to_the_proposal(page, **{"doses.1": "1 to 3"})
    takes = page.inner_text("section:has(#takes)")
    bakes = int(takes.split("Bakes")[1].split()[0])
    assert f"{0.25 * bakes:.3g} kg" in takes


def test_an_ended_session_leads_back_to_the_question(tablet, bench_store):
    from tracker.workflow.signed_in import end_all

    page = tablet()
    page.goto("/plan/ask?seed=5&aim=2&formula=none&factor.1=salt&kind.1=1")
    end_all(bench_store)
    page.fill("input[name='unit.1']", "g")
    page.click("text=Next")
    page.wait_for_selector("[name=pin]")
    sign_in(page)
    assert "how much salt (g)" in page.inner_text("h1")


def test_another_design_is_taken_and_released(tablet, bench_store):
    page = tablet("screen")
    page.goto(f"/plan/proposal?{ANSWERED}&title=")
    before = shown_runs(page)
    page.locator("text=Take this instead").first.click()
    page.wait_for_load_state()
    after = shown_runs(page)
    assert after != before
    page.fill("#name", "another way")
    page.click("text=Release this plan")
    page.wait_for_url("**/plan/trial?**")
    assert [[str(run["bake_order"]), run["code"]] for run in show_trial(bench_store, "another way").runs] == after
    page.click("text=Bench sheet")
    page.wait_for_load_state()
    # The style came along: the policy of the bench lets no style inside a page through.
    assert page.evaluate("document.styleSheets.length") == 1
    assert page.evaluate("document.styleSheets[0].cssRules.length") > 20
    assert page.said == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_barrier_is_found(tablet, scheme):
    from axe_playwright_python.sync_playwright import Axe

    # axe is itself a script, which our policy refuses: the test's browser sets the policy aside.
    page = tablet(color_scheme=scheme, bypass_csp=True)
    found = {}
    for path in PATHS:
        page.goto(path)
        page.evaluate("document.querySelectorAll('details').forEach(part => part.open = true)")
        report = Axe().run(page)
        if report.violations_count:
            found[path] = report.generate_report()
    assert found == {}


def test_targets_are_large_and_nothing_scrolls_sideways_on_any_screen(tablet):
    page = tablet()
    wrong = []
    for path in PATHS:
        answer = page.goto(path)
        assert len(answer.body()) < 110_000, path
        page.evaluate("document.querySelectorAll('details').forEach(part => part.open = true)")
        for size, (width, height) in SIZES.items():
            page.set_viewport_size({"width": width, "height": height})
            at, boxes = (path, size), page.evaluate(TARGETS)
            assert len(boxes) > 4
            if page.evaluate("document.documentElement.scrollWidth") > width:
                wrong.append((at, "scrolls sideways"))
            for box in boxes:
                least = 96 if box["primary"] else 48
                if box["w"] < least - 0.1 or box["h"] < least - 0.1:
                    wrong.append((at, box["html"], box["w"], box["h"]))
            wrong += [(at, one["html"], other["html"]) for one, other in pairs(boxes) if gap(one, other) < 12 - 0.1]
    assert wrong == []


def pairs(boxes):
    different = list({(box["x"], box["y"], box["w"]): box for box in boxes}.values())
    return [(one, other) for at, one in enumerate(different) for other in different[at + 1 :]]


def gap(one, other):
    aside = max(one["x"], other["x"]) - min(one["x"] + one["w"], other["x"] + other["w"])
    below = max(one["y"], other["y"]) - min(one["y"] + one["h"], other["y"] + other["h"])
    return max(aside, below)
