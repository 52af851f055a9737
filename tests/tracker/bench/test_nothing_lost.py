"""Is anything lost when the network, the bench, the session or the tablet's storage is gone in the middle?

In a real browser, over plain http. test_killed.py ends browser and bench the hard way.
"""

from __future__ import annotations

import json
import re
import sqlite3

import pytest
from sqlmodel import select

from tracker.formulas import FormulaLine, checked
from tracker.models import Reading, TasteNote
from tracker.workflow.accounts import change_role, list_accounts
from tracker.workflow.batch_writing import BatchEntry
from tracker.workflow.batches import show_batch
from tracker.workflow.formulas import add_formula, list_formulas
from tracker.workflow.logging_batches import log_batches
from tracker.workflow.quick_entry import log_batch
from tracker.workflow.signed_in import end_all

pytestmark = pytest.mark.browser
SIZES = ["phone", "tablet", "larger tablet", "screen"]
HERE = "/run/soda/108"
HEIGHT = "[name='reading:rise height']"


@pytest.fixture
def filled(bench_store):
    """Two batches in the log and one formula."""
    from datetime import UTC, datetime

    bench_store.now = lambda: datetime.now(UTC)
    first = BatchEntry(number="12", baked_at="2026-11-20T05:00:00Z", lots={}, readings={"rise height": (40.0, 41.0)})
    log_batches(bench_store, "scones", [first], units={"rise height": "mm"})
    log_batch(bench_store, "scones", "13", readings=["rise height=30, 31"], lots=["flour=F-9"])
    lines = (("wheat flour", 100.0), ("buttermilk", 80.0), ("baking soda", 1.2))
    typed = [FormulaLine(ingredient=name, bakers_percent=percent) for name, percent in lines]
    add_formula(bench_store, checked("soda loaf", typed))


def wait_for(page, words):
    page.locator("#kept").filter(has_text=words).wait_for(timeout=12_000)


def waiting(page):
    return page.evaluate("import('/static/queue.js').then(queue => queue.waiting())")


def readings(store):
    with store.read() as session:
        rows = session.exec(select(Reading).order_by(Reading.id))
        return [row.value for row in rows if row.response_id is not None]  # of runs


def notes(store):
    with store.read() as session:
        return [row.words for row in session.exec(select(TasteNote))]


def try_again(page):
    """As the browser does when the network is back; by itself the queue tries every four seconds."""
    page.evaluate("dispatchEvent(new Event('online'))")


@pytest.mark.parametrize("size", SIZES)
def test_a_batch_waits_without_the_network_and_leads_on_when_it_is_logged(tablet, bench_store, size):
    page = tablet(size)
    page.goto("/batch?product=scones")
    page.context.set_offline(True)
    page.locator(HEIGHT).nth(0).fill("42,5")
    page.locator(HEIGHT).nth(1).fill("43.5")
    page.click("text=Record the batch")
    wait_for(page, "1 waiting on this tablet: no network")
    page.click("text=What waits")
    assert "42,5, 43.5" in page.inner_text(".waitlist")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    small = page.evaluate(
        "[...document.querySelectorAll('.waitlist summary, .waitlist a, .waitlist button')]"
        ".map(each => each.getBoundingClientRect()).filter(box => box.height < 48 || box.width < 48).length"
    )
    assert small == 0
    page.context.set_offline(False)
    page.wait_for_url("**/batch/one?**")
    assert "Saved" in page.inner_text("#kept")
    assert show_batch(bench_store, "scones", "14").values == {"rise height": (42.5, 43.5)}
    assert waiting(page) == []
    assert page.said == ["Failed to load resource: net::ERR_INTERNET_DISCONNECTED"] * len(page.said)


def test_a_formula_waits_too_and_computing_its_balance_never_does(tablet, bench_store):
    page = tablet(role="analyst")
    page.goto("/formula?name=soda%20loaf")
    page.fill("[name='percent:3']", "2,4")
    page.context.set_offline(True)
    page.click("text=Keep this formula")
    wait_for(page, "1 waiting")
    page.context.set_offline(False)
    wait_for(page, "Saved")
    assert [found.version for found in list_formulas(bench_store)] == [2]
    page.goto("/formula?name=soda%20loaf")
    page.fill("[name='percent:3']", "3")
    with page.expect_navigation():
        page.click("text=Compute the balance")
    assert waiting(page) == []


def test_a_batch_that_another_tablet_logged_meanwhile_shows_both(tablet, bench_store):
    page = tablet()
    page.goto("/batch?product=scones")
    page.context.set_offline(True)
    page.locator(HEIGHT).nth(0).fill("42,5")
    page.click("text=Record the batch")
    wait_for(page, "1 waiting")
    log_batch(bench_store, "scones", "14", readings=["rise height=39"])
    page.context.set_offline(False)
    wait_for(page, "1 not taken by the bench")
    words = page.inner_text("main form .wrong")
    assert "rise height 39" in words
    page.reload()  # whoever comes later sees it too, and nothing was overwritten
    page.wait_for_selector("main form .wrong")
    assert page.locator(HEIGHT).nth(0).input_value() == "42,5"
    assert "42,5" in page.inner_text(".waitlist")
    page.fill("[name=number]", "14 b")
    page.click("text=Record the batch")
    page.wait_for_url("**/batch/one?**")
    assert show_batch(bench_store, "scones", "14").values == {"rise height": (39.0,)}
    assert show_batch(bench_store, "scones", "14 b").values == {"rise height": (42.5,)}
    assert waiting(page) == []


def test_what_was_refused_stays_until_a_person_throws_it_away(tablet, bench_store):
    page = tablet()
    page.goto("/batch?product=scones")
    page.locator(HEIGHT).nth(0).fill("no number")
    page.click("text=Record the batch")
    page.wait_for_selector("main form .wrong")
    page.goto("/")
    wait_for(page, "1 not taken by the bench")
    page.on("dialog", lambda dialog: dialog.accept())
    with page.expect_navigation():
        page.click("text=Throw it away")
    assert waiting(page) == []
    assert page.is_hidden(".waitlist")


def test_a_correction_made_meanwhile_is_not_undone_unseen(tablet, bench_store):
    one, other = tablet(), tablet("phone", "baker")
    for page, lot in ((one, "F-10"), (other, "F-11")):
        page.goto("/batch/correct?product=scones&number=13")
        page.fill("[name='lot:flour']", lot)
        page.fill("[name=reason]", "the label says so")
    one.click("text=Record the correction")
    one.wait_for_url("**/batch/one?**")
    other.click("text=Record the correction")
    other.wait_for_selector("main form .wrong")
    words = other.inner_text("main form .wrong")
    assert "flour lot F-10" in words
    assert "flour lot F-9" in words
    assert show_batch(bench_store, "scones", "13").lots == {"flour": "F-10"}
    assert other.input_value("[name='lot:flour']") == "F-11"


@pytest.mark.parametrize(
    ("status", "body", "words"),
    [
        (200, "<h1>Welcome to our Wi-Fi</h1>", "does not answer as it should"),
        (404, "<h1>not here</h1>", "does not answer as it should"),
        (403, "no", "does not answer as it should"),
        (503, '{"error": "The kitchen is locked."}', "The kitchen is locked."),
        (507, '{"error": "The disk is full."}', "The disk is full."),
    ],
)
def test_only_the_words_of_the_bench_let_an_entry_go(tablet, bench_store, status, body, words):
    page = tablet()
    page.goto(HERE)
    page.route("**/run/**", lambda route: answer(route, status, body))
    page.fill("#r1-0-1-v", "42.5")
    page.keyboard.press("Enter")
    wait_for(page, f"1 waiting on this tablet: {'the bench ' if 'does' in words else ''}{words}")
    page.unroute("**/run/**")
    try_again(page)
    page.wait_for_selector("[data-cell='r1-0-1'] .stands", timeout=12_000)
    assert readings(bench_store) == [42.5]


def answer(route, status, body):
    if route.request.method == "POST":
        route.fulfill(status=status, body=body)
    else:
        route.continue_()


def test_a_page_that_is_held_up_holds_up_no_other(tablet, bench_store):
    page = tablet()
    page.goto(HERE)
    page.route("**/run/soda/108", lambda route: answer(route, 500, "{}"))
    page.fill("#r1-0-1-v", "42.5")
    page.keyboard.press("Enter")
    wait_for(page, "1 waiting")
    page.goto("/run/soda/107")
    page.fill("#r1-0-1-v", "43.5")
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-cell='r1-0-1'] .stands")
    assert readings(bench_store) == [43.5]
    wait_for(page, "1 waiting")
    page.unroute("**/run/soda/108")
    try_again(page)
    wait_for(page, "Saved")
    assert readings(bench_store) == [43.5, 42.5]


def test_newer_tables_keep_the_entry_on_the_tablet(tablet, bench_store):
    page = tablet()
    page.goto(HERE)
    with sqlite3.connect(bench_store.place.path) as other:
        before = other.execute("SELECT version_num FROM alembic_version").fetchone()
        other.execute("UPDATE alembic_version SET version_num = '9999'")
    page.fill("#words", "soapy")
    page.click("#note button.primary")
    wait_for(page, "1 waiting on this tablet: This kitchen was made by a newer Crumbwise")
    assert notes(bench_store) == []
    with sqlite3.connect(bench_store.place.path) as other:
        other.execute("UPDATE alembic_version SET version_num = ?", before)
    try_again(page)
    page.wait_for_selector("#history >> text=soapy", timeout=12_000)
    assert notes(bench_store) == ["soapy"]


def test_signing_out_asks_when_entries_wait_and_they_are_sent_by_nobody_else(tablet, bench_store):
    page = tablet(role="baker")
    page.goto(HERE)
    page.route("**/run/**", lambda route: answer(route, 500, "{}"))
    page.fill("#r1-0-1-v", "42.5")
    page.keyboard.press("Enter")
    wait_for(page, "1 waiting")
    page.click("form.who button")
    asked = page.locator("#leaving")
    assert "1 entry waits on this tablet" in asked.inner_text()
    assert "until Bo is back" in asked.inner_text()
    page.click("text=Stay")
    assert page.url.endswith(HERE)
    page.click("form.who button")
    page.click("text=Sign out anyway")
    page.wait_for_url("**/sign-in")
    page.unroute("**/run/**")
    sign_in(page, "Dora", "930571")
    wait_for(page, "1 of Bo waiting: let them sign in, or see below")
    page.wait_for_timeout(4500)  # longer than the queue takes to try again
    assert readings(bench_store) == []
    assert "42.5" not in page.inner_text("body")
    page.click("form.who button")  # nothing of Dora's waits: she is not asked
    page.wait_for_url("**/sign-in")
    sign_in(page, "Bo", "8305")
    wait_for(page, "Saved")
    assert readings(bench_store) == [42.5]


def test_a_link_is_held_back_while_the_network_is_gone_and_works_when_it_is_back(tablet):
    page = tablet()
    page.goto(HERE)
    page.fill("#words", "soapy")
    wait_for(page, "On this tablet")
    page.context.set_offline(True)
    page.click("text=Next run")
    wait_for(page, "That page cannot be opened without the network, and what was typed is kept here")
    assert page.url.endswith(HERE)
    assert page.input_value("#words") == "soapy"
    page.fill("#r1-0-1-v", "42.5")
    page.keyboard.press("Enter")
    wait_for(page, "1 waiting on this tablet: no network, that page cannot be opened without the network")
    page.context.set_offline(False)
    page.wait_for_selector("[data-cell='r1-0-1'] .stands", timeout=12_000)
    page.locator("#kept").filter(has_not_text="cannot be opened").wait_for(timeout=12_000)
    page.click("text=Next run")
    page.wait_for_url("**/run/soda/107")


def test_a_link_is_never_held_back_while_the_bench_answers(tablet):
    page = tablet()
    page.goto(HERE)
    page.route("**/run/**", lambda route: route.abort() if route.request.method == "POST" else route.continue_())
    page.fill("#r1-0-1-v", "42.5")
    page.keyboard.press("Enter")
    wait_for(page, "1 waiting on this tablet: no network")  # that one reached nobody: a moment ago
    page.click("text=Next run")
    page.wait_for_url("**/run/soda/107")
    page.add_init_script("Object.defineProperty(navigator, 'onLine', {value: false})")  # as on the bench's own machine
    page.goto(HERE)
    page.locator("body[data-ready]").wait_for()
    page.click("text=Next run")
    page.wait_for_url("**/run/soda/107")


def left_behind(tablet, bench_store):
    """A tablet with one entry that waits; the account of Bo, who typed it, is closed."""
    page = tablet(role="baker")
    page.goto(HERE)
    page.route("**/run/**", lambda route: answer(route, 500, "{}"))
    page.fill("#r1-0-1-v", "42.5")
    page.keyboard.press("Enter")
    wait_for(page, "1 waiting")
    page.click("form.who button")
    page.click("text=Sign out anyway")
    page.wait_for_url("**/sign-in")
    page.unroute("**/run/**")
    bo = next(line.person for line in list_accounts(bench_store) if line.role == "baker")
    change_role(bench_store, bo, "none", reason="works elsewhere now", by=1)
    page.goto("/sign-in")  # this tablet was his, and knows nobody any more
    wait_for(page, "1 of somebody else waiting: let them sign in")  # no names for strangers
    assert not page.locator(".waitlist").is_visible()
    return page


def test_an_owner_looks_at_what_a_closed_account_left_and_lets_it_go(tablet, bench_store, tmp_path):
    page = left_behind(tablet, bench_store)
    sign_in(page, "Dora", "930571")
    wait_for(page, "1 of Bo waiting: let them sign in, or see below")
    page.click("text=What waits")
    assert re.search(r"\d\d:\d\d, Bo: .*42\.5", page.inner_text(".waitlist li"))
    with page.expect_download() as loading:
        page.click("text=Save these as a file")
    loading.value.save_as(tmp_path / "waiting.json")
    (kept,) = json.loads((tmp_path / "waiting.json").read_text())
    assert kept["name"] == "Bo"
    assert ["value", "42.5"] in kept["fields"]
    asked = []

    def asked_back(dialog):
        asked.append(dialog.message)
        dialog.accept() if len(asked) > 1 else dialog.dismiss()

    page.on("dialog", asked_back)
    page.click(".waitlist >> text=Throw it away")
    assert len(waiting(page)) == 1
    with page.expect_navigation():
        page.click(".waitlist >> text=Throw it away")
    assert "typed by Bo and is recorded nowhere" in asked[0]
    page.locator("body[data-ready]").wait_for()
    assert waiting(page) == []
    assert readings(bench_store) == []


def test_whoever_is_no_owner_learns_whose_it_is_and_no_more(tablet, bench_store):
    page = left_behind(tablet, bench_store)
    sign_in(page, "Cleo", "615042")
    wait_for(page, "1 of Bo waiting: let them sign in, or ask an owner")
    page.click("text=What waits")
    assert "1 of Bo: only they can send it" in page.inner_text(".waitlist")
    assert "42.5" not in page.inner_text(".waitlist")
    assert page.locator(".waitlist button").count() == 0
    page.wait_for_timeout(4500)  # longer than the queue takes to try again
    assert readings(bench_store) == []


def test_without_a_network_nobody_is_signed_out_and_the_page_says_so(tablet):
    page = tablet(role="baker")
    page.goto(HERE)
    page.context.set_offline(True)
    page.click("form.who button")
    said = page.locator("#leaving")
    said.wait_for()
    assert "you are still signed in here" in said.inner_text()
    assert page.url.endswith(HERE)
    page.context.set_offline(False)
    page.click("form.who button")
    page.wait_for_url("**/sign-in")
    assert page.goto(HERE).status == 401


def sign_in(page, name, pin):
    """On a tablet that knows its people, or on one that does not."""
    if page.locator(".names").count():
        page.click(f".names >> text={name}")
    else:
        page.fill("#name", name)
    page.fill("#pin", pin)
    page.click("button.primary")
    page.wait_for_load_state("networkidle")


def test_a_batch_form_outlasts_its_session(tablet, bench_store):
    page = tablet()
    page.goto("/batch?product=scones")
    page.locator(HEIGHT).nth(0).fill("42,5")
    end_all(bench_store)
    page.click("text=Record the batch")
    wait_for(page, "1 waiting on this tablet: sign in to send")
    page.goto("/sign-in")
    sign_in(page, "Dora", "930571")
    wait_for(page, "Saved")
    assert show_batch(bench_store, "scones", "14").values == {"rise height": (42.5,)}


REFUSED = (
    "Object.defineProperty(window, 'indexedDB', {value: {open() { throw new DOMException('no', 'SecurityError') }}})"
)
FULL = """IDBObjectStore.prototype.put = function () {
  this.transaction.abort(); throw new DOMException('full', 'QuotaExceededError') }"""


@pytest.mark.parametrize(("spoiled", "words"), [(REFUSED, "keeps nothing"), (FULL, "has no room left")])
def test_a_tablet_that_keeps_nothing_says_so_and_sends_all_the_same(tablet, bench_store, spoiled, words):
    page = tablet()
    page.add_init_script(spoiled)
    page.goto(HERE)
    page.fill("#r1-0-1-v", "42,5")
    wait_for(page, words)
    wait_for(page, "keep this page open")
    page.context.set_offline(True)
    page.keyboard.press("Enter")
    wait_for(page, "1 waiting on this page only")
    page.context.set_offline(False)
    page.wait_for_selector("[data-cell='r1-0-1'] .stands", timeout=12_000)
    assert readings(bench_store) == [42.5]


def test_nothing_is_lost_while_the_tablet_sleeps(tablet, bench_store):
    page = tablet()
    page.goto(HERE)
    page.context.set_offline(True)
    page.fill("#r1-0-1-v", "42.5")
    page.keyboard.press("Enter")
    wait_for(page, "1 waiting")
    page.fill("#words", "soap")
    page.locator("#words").press_sequentially("y")
    told = page.context.new_cdp_session(page)
    told.send("Page.setWebLifecycleState", {"state": "frozen"})
    page.context.set_offline(False)
    told.send("Page.setWebLifecycleState", {"state": "active"})
    page.wait_for_selector("[data-cell='r1-0-1'] .stands", timeout=12_000)
    assert page.input_value("#words") == "soapy"
    page.reload()
    page.wait_for_timeout(300)
    assert page.input_value("#words") == "soapy"
    assert readings(bench_store) == [42.5]


def test_what_is_typed_on_elsewhere_is_not_taken_from_under_the_fingers(tablet, bench_store):
    page = tablet()
    page.goto(HERE)
    page.context.set_offline(True)
    page.fill("#words", "soapy")
    page.click("#note button.primary")
    wait_for(page, "1 waiting")
    page.locator("#deviations").press_sequentially("door ")
    page.context.set_offline(False)
    page.wait_for_selector("#note .notice")
    page.locator("#deviations").press_sequentially("open")
    assert page.input_value("#deviations") == "door open"
    assert notes(bench_store) == ["soapy"]
    page.click("#note .notice >> text=See it")
    page.wait_for_selector("#history >> text=soapy")
    page.wait_for_timeout(200)
    assert page.input_value("#deviations") == "door open"
    assert page.input_value("#words") == ""


def test_a_change_made_while_it_was_on_its_way_is_not_lost(tablet, bench_store):
    page = tablet()
    page.goto(HERE)
    page.context.set_offline(True)
    page.fill("#words", "soapy")
    page.click("#note button.primary")
    wait_for(page, "1 waiting")
    page.fill("#words", "soapy and dry")
    page.context.set_offline(False)
    page.locator("#note .notice").filter(has_text="not sent yet").wait_for(timeout=12_000)
    assert notes(bench_store) == ["soapy"]
    page.wait_for_timeout(300)
    page.reload()
    page.wait_for_timeout(300)
    assert page.input_value("#words") == "soapy and dry"


def test_timers_go_by_the_clock_of_the_bench(tablet, bench_store):
    page = tablet()
    page.goto(HERE)
    page.click("text=Into the oven now")
    page.wait_for_selector("[data-timer]")
    page.clock.install()
    page.clock.set_system_time("2031-01-01T00:00:00Z")  # this tablet's clock is years ahead
    for path in (HERE, "/"):
        page.goto(path)
        timer = page.locator("[data-timer]").first
        timer.filter(has_text="0:").wait_for()
    page.clock.fast_forward("30:00")  # asleep for half an hour: no tick is counted, the moment is
    timer.filter(has_text="30:").wait_for()


def test_the_waiting_entries_can_be_carried_away_as_a_file(tablet, tmp_path):
    page = tablet()
    page.goto(HERE)
    page.context.set_offline(True)
    page.fill("#r1-0-1-v", "42.5")
    page.keyboard.press("Enter")
    wait_for(page, "1 waiting")
    page.click("text=What waits")
    with page.expect_download() as loading:
        page.click("text=Save these as a file")
    loading.value.save_as(tmp_path / "waiting.json")
    kept = json.loads((tmp_path / "waiting.json").read_text())
    assert ["value", "42.5"] in kept[0]["fields"]


def test_a_page_whose_scripts_did_not_arrive_says_so(tablet):
    page = tablet()
    page.goto(HERE)
    page.locator("body[data-ready]").wait_for()
    page.wait_for_timeout(4500)
    assert not page.locator(".unready").is_visible()
    page.route("**/queue.js", lambda route: route.abort())  # the bench goes while they are on their way
    page.reload()
    page.locator(".unready").filter(has_text="load the page again").wait_for(state="visible", timeout=10_000)


def test_a_form_that_is_posted_plainly_keeps_its_draft_until_it_is_saved(tablet):
    page = tablet()
    page.goto("/people")
    page.fill("#name", "Eve")
    page.fill("#newpin", "1234")  # refused: too easy
    page.click("main form >> text=Add")
    page.wait_for_selector("main .wrong")
    assert page.input_value("#name") == "Eve"
    page.fill("#newpin", "730518")
    page.click("main form >> text=Add")
    page.wait_for_url("**/people?saved=**")
    page.locator("body[data-ready]").wait_for()
    assert page.input_value("#name") == ""
    kept = page.evaluate("import('/static/keep.js').then(keep => keep.all('drafts'))")
    assert kept == []
    assert "730518" not in str(kept)


def test_a_reading_that_another_corrected_meanwhile_is_not_replaced_unseen(tablet, bench_store):
    one, other = tablet(), tablet("phone", "baker")
    one.goto(HERE)
    one.fill("#r1-0-1-v", "42")
    one.keyboard.press("Enter")
    one.wait_for_selector("[data-cell='r1-0-1'] .stands")
    for page, value in ((one, "43"), (other, "44")):
        page.goto(HERE)
        page.click("[data-cell='r1-0-1'] summary")
        page.fill("#r1-0-1-v", value)
        page.fill("#r1-0-1-why", "read again")
    one.click("#r1-0-1 button.primary")
    one.wait_for_selector("#history >> text=43 mm")
    other.click("#r1-0-1 button.primary")
    other.wait_for_selector("#r1-0-1 .wrong")
    words = other.inner_text("#r1-0-1 .wrong")
    assert "43 mm" in words
    assert "You entered 44" in words
    assert readings(bench_store) == [42, 43]
    other.click("#r1-0-1 button.primary")  # seen now, and still meant
    other.wait_for_selector("#history >> text=44 mm")
    assert readings(bench_store) == [42, 43, 44]


def test_a_page_left_open_sends_nothing_under_the_next_persons_name(tablet, bench_store):
    page = tablet(role="baker")
    page.goto(HERE)
    other = page.context.new_page()  # the same tablet: another tab, at which Dora signs in
    other.goto("/")
    other.click("form.who button")
    other.wait_for_url("**/sign-in")
    sign_in(other, "Dora", "930571")
    page.fill("#r1-0-1-v", "42.5")
    page.keyboard.press("Enter")
    wait_for(page, "1 waiting on this tablet: sign in to send")
    assert readings(bench_store) == []
    other.click("form.who button")
    other.wait_for_url("**/sign-in")
    sign_in(other, "Bo", "8305")
    wait_for(other, "Saved")
    assert readings(bench_store) == [42.5]
