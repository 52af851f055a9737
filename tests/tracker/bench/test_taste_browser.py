"""What does a real browser make of a tasting, by two assessors, with the network gone and the back button pressed?"""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest
from sqlmodel import select

from tracker.models import Reading, TastingAnswer, TastingSample
from tracker.workflow.recording import record_run
from tracker.workflow.tasting_passes import make_cards
from tracker.workflow.tasting_setup import WhoTastes, set_up_tasting

pytestmark = pytest.mark.browser
SIZES = {"phone": (390, 844), "tablet": (768, 1024), "larger tablet": (810, 1080), "screen": (1280, 800)}
EXPECTED = "Cross-Origin-Opener-Policy"  # not heeded over plain http, which the browser says
TARGETS = """() => [...document.querySelectorAll('a, button, input, select, textarea, summary')]
  .filter(one => !one.matches('.skip, [type=hidden]') && one.getClientRects().length)
  .map(one => one.matches('[type=checkbox], [type=radio]') ? one.closest('label') ?? one : one)
  .map(one => { const box = one.getBoundingClientRect();
    return { words: one.tagName + ' ' + (one.id || one.textContent.trim().slice(0, 30)), x: box.x, y: box.y,
      w: box.width, h: box.height, primary: one.matches('.primary, .step') } })"""


@pytest.fixture
def filled(bench_store):
    bench_store.now = lambda: datetime.now(UTC)
    for run in ("108", "107", "106"):
        record_run(bench_store, "soda", run)


@pytest.fixture
def cards(bench_store, filled):
    who = WhoTastes(nameless=2)
    asked = {"runs": ("108", "107", "106"), "responses": [2, 3], "allergens": "milk", "rest_s": 0, "seed": 5}
    made = set_up_tasting(bench_store, "soda", who=who, by=1, **asked)
    return [card.code for card in make_cards(bench_store, made.number, by=1)]


@pytest.fixture
def guest(browser, served):
    """``guest(size)``: a page at which nobody is signed in."""
    contexts = []

    def opened(size="tablet", **more):
        width, height = SIZES[size]
        contexts.append(browser.new_context(viewport={"width": width, "height": height}, base_url=served, **more))
        page = contexts[-1].new_page()
        page.said = []
        page.on("console", lambda message: None if EXPECTED in message.text else page.said.append(message.text))
        page.on("pageerror", lambda error: page.said.append(str(error)))
        return page

    yield opened
    for context in contexts:
        context.close()


def rows(store, table):
    with store.read() as session:
        return list(session.exec(select(table).order_by(table.id)))


def begin(page, code):
    page.goto(f"/taste?code={code}")  # as the square on the card leads
    page.click("button.primary")
    page.check("[name=agrees]")
    page.check("[name=eats]")
    page.click("button.primary")
    page.wait_for_selector(".samplecode")


def choose(page, score, crust="no"):
    page.click(f".step:has([name=v1][value='{score}'])")
    page.click(f".step:has([name=v2][value='{crust}'])")


def go_on(page):
    """The answer is on its way; the next page says another code, or thank you."""
    before = page.inner_text(".samplecode")
    page.click("#sample button.primary")
    page.locator(f"h1:not(:has-text('{before}'))").wait_for(timeout=15_000)


def test_the_code_of_a_card_is_not_found_on_the_way_back(guest, cards):
    page = guest()
    page.goto("/sign-in")
    begin(page, cards[0])
    for _ in range(5):
        page.go_back()
        page.wait_for_load_state()
        assert cards[0] not in page.url
        assert cards[0] not in page.content()
        assert page.locator("[name=code]").count() == 0 or page.input_value("[name=code]") == ""
        if page.url.endswith("/sign-in"):
            break
    assert page.url.endswith("/sign-in")


def test_two_assessors_taste_at_once_with_the_network_gone_and_the_way_back(guest, cards, bench_store):
    one, other = guest("tablet"), guest("phone")
    begin(one, cards[0])
    begin(other, cards[1])
    codes = {page: [page.inner_text(".samplecode")] for page in (one, other)}
    choose(one, 4)
    go_on(one)
    codes[one].append(one.inner_text(".samplecode"))
    one.go_back()
    one.wait_for_selector("h1")
    one.goto("/taste")
    assert one.inner_text(".samplecode") == codes[one][1]
    assert one.locator("input:checked").count() == 0
    one.reload()
    assert one.inner_text(".samplecode") == codes[one][1]

    choose(other, 2, "yes")
    other.context.set_offline(True)
    other.click("#sample button.primary")
    other.locator("#kept").filter(has_text="1 waiting on this tablet").wait_for(timeout=12_000)
    assert other.inner_text(".samplecode") == codes[other][0]
    assert other.is_disabled("#sample button.primary")
    assert len(rows(bench_store, TastingAnswer)) == 1
    other.context.set_offline(False)
    other.locator(f"h1:not(:has-text('{codes[other][0]}'))").wait_for(timeout=15_000)
    codes[other].append(other.inner_text(".samplecode"))

    for page, score in ((one, 4), (other, 2)):
        choose(page, score)
        page.click("summary:has-text('Words for it')")
        page.check("[value=sour]")
        go_on(page)
        codes[page].append(page.inner_text(".samplecode"))
        choose(page, score)
        go_on(page)
        assert "Thank you" in page.inner_text("h1")
        page.go_back()
        page.goto("/taste")
        assert "Thank you" in page.inner_text("h1")
        page.click("text=Finish")
        assert "ready for the next one" in page.inner_text("main")
        page.go_back()
        page.goto("/taste")
        page.wait_for_selector("#code")
        assert page.said == [] or all("ERR_INTERNET" in words for words in page.said)
    served = {(row.person_id, row.place): row.code for row in rows(bench_store, TastingSample)}
    people = sorted({person for person, _ in served})
    assert [[served[person, place] for place in (1, 2, 3)] for person in people] == [codes[one], codes[other]]
    scores = [row for row in rows(bench_store, Reading) if row.response == "crumb score"]
    assert sorted((row.person_id, row.value) for row in scores) == sorted(
        [(people[0], 4.0)] * 3 + [(people[1], 2.0)] * 3
    )
    assert one.evaluate("import('/static/keep.js').then(keep => keep.all('drafts'))") == []


def test_a_draft_waits_for_its_own_sample_and_no_other(guest, cards):
    page = guest()
    begin(page, cards[0])
    choose(page, 3)
    page.wait_for_timeout(350)
    page.reload()
    page.wait_for_timeout(300)
    assert page.is_checked("[name=v1][value='3']")
    go_on(page)
    page.wait_for_timeout(300)
    assert page.locator("input:checked").count() == 0


def test_without_scripts_it_is_tasted_all_the_same(guest, cards, bench_store):
    page = guest("phone", java_script_enabled=False)
    begin(page, cards[0])
    for _ in range(3):
        choose(page, 5)
        page.click("#sample button.primary")
    assert "all 3 samples" in page.inner_text("main")
    page.go_back()
    page.goto("/taste")
    assert "Thank you" in page.inner_text("h1")
    assert len(rows(bench_store, TastingAnswer)) == 3


def rest(page, store, seconds):
    """One sample of a new tasting is tasted, and the rest begins."""
    who, asked = WhoTastes(nameless=1), {"runs": ("108", "107"), "responses": [3], "allergens": "milk"}
    made = set_up_tasting(store, "soda", who=who, by=1, rest_s=seconds, **asked)
    begin(page, make_cards(store, made.number, by=1)[0].code)
    page.click(".step:has([value=yes])")
    page.click("#sample button.primary")
    page.wait_for_selector("[data-rest]")


def test_the_rest_counts_down_and_leads_on(guest, filled, bench_store):
    page = guest()
    rest(page, bench_store, 6)
    page.locator("[data-rest]", has_text=re.compile(r"in \d s")).wait_for(timeout=5_000)
    page.wait_for_selector(".samplecode", timeout=15_000)
    assert page.said == []


HOST = ["/tasting", "/tasting/new?trial=soda", "/tasting/1", "/tasting/1/serving"]


def every_page(page, code):
    """Each page an assessor sees, once it stands there."""
    page.goto("/taste")
    yield "code"
    page.fill("#code", code)
    page.click("button.primary")
    page.wait_for_selector("[name=agrees]")
    page.wait_for_load_state()
    yield "consent"
    page.check("[name=agrees]")
    page.check("[name=eats]")
    page.click("button.primary")
    page.wait_for_selector(".samplecode")
    page.wait_for_load_state()
    page.evaluate("document.querySelectorAll('details').forEach(part => part.open = true)")
    yield "sample"
    choose(page, 4)
    yield "chosen"
    for _ in range(2):
        go_on(page)
        choose(page, 4)
    go_on(page)
    page.wait_for_load_state()
    yield "thanks"
    page.click("text=Finish")
    page.wait_for_selector("#code")
    page.wait_for_load_state()
    yield "finished"


def barriers(page, name):
    """What axe finds, light and dark."""
    from axe_playwright_python.sync_playwright import Axe

    found = []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        report = Axe().run(page)
        if report.violations_count:
            found.append((name, scheme, report.generate_report()))
    return found


def misfits(page, name):
    """What is too small, too near or too wide, on each screen."""
    found = []
    for size, (width, height) in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        boxes = page.evaluate(TARGETS)
        assert boxes
        if page.evaluate("document.documentElement.scrollWidth") > width:
            found.append((name, size, "scrolls sideways"))
        for box in boxes:
            least = 96 if box["primary"] else 48
            if box["w"] < least - 0.1 or box["h"] < least - 0.1:
                found.append((name, size, box["words"], box["w"], box["h"]))
        spots = list({(box["x"], box["y"]): box for box in boxes}.values())
        for at, one in enumerate(spots):
            found.extend(
                (name, size, one["words"], other["words"]) for other in spots[at + 1 :] if gap(one, other) < 11.9
            )
    return found


def test_no_barrier_is_found_and_targets_are_large_on_every_screen(guest, tablet, cards, bench_store):
    # axe is itself a script, which our policy refuses: the test's browser sets the policy aside.
    page, wrong = guest(bypass_csp=True), []
    for name in every_page(page, cards[0]):
        wrong += barriers(page, name) + misfits(page, name)
    rest(page, bench_store, 600)
    wrong += barriers(page, "rest") + misfits(page, "rest")
    host = tablet(bypass_csp=True)
    for path in HOST:
        host.goto(path)
        host.evaluate("document.querySelectorAll('details').forEach(part => part.open = true)")
        wrong += barriers(host, path) + misfits(host, path)
    host.goto("/tasting/1")
    host.click("text=Make cards for all")
    host.wait_for_selector(".passcards")
    host.wait_for_load_state()
    wrong += barriers(host, "cards") + misfits(host, "cards")
    assert wrong == []


def test_what_is_too_small_or_too_near_is_found(guest, cards):
    page = guest()
    begin(page, cards[0])
    small = "document.querySelector('.step').outerHTML = '<p><a href=/taste>a</a> <a href=/taste>b</a></p>'"
    page.evaluate(small)
    assert {words[2] for words in misfits(page, "sample")} >= {"A a"}


def gap(one, other):
    aside = max(one["x"], other["x"]) - min(one["x"] + one["w"], other["x"] + other["w"])
    below = max(one["y"], other["y"]) - min(one["y"] + one["h"], other["y"] + other["h"])
    return max(aside, below)


def test_cards_and_sheets_go_on_paper_without_the_menu(tablet, cards):
    page = tablet()
    page.emulate_media(media="print")
    page.goto("/tasting/1/serving")
    assert not page.is_visible("nav")
    assert page.locator("table").count() == 2
    page.emulate_media(media="screen")
    page.goto("/tasting/1")
    page.click("text=Make cards for all")
    page.wait_for_selector(".passcards")
    page.wait_for_load_state()  # its style too
    page.emulate_media(media="print")
    assert not page.is_visible("nav")
    assert not page.is_visible("text=Back to the tasting")
    assert page.locator(".passcards svg").count() == 2
    assert page.said == []
