"""What does a real browser make of the bench, over plain http in the kitchen's own network?

The name ``kitchen.test`` leads to this machine but is no secure context: there is no service
worker and no fetch metadata, as on a tablet that asks for the address of a computer next door.
"""

from __future__ import annotations

import httpx2
import pytest
from sqlmodel import select

from tracker.models import Reading, TasteNote

pytestmark = pytest.mark.browser
SIZES = {"phone": (390, 844), "tablet": (768, 1024), "larger tablet": (810, 1080), "screen": (1280, 800)}
PATHS = ["/", "/run", "/run/soda/108", "/run/soda/107", "/people", "/my-pin", "/nowhere"]
NAME = "kitchen.test"


def readings(store):
    with store.read() as session:
        return [row.value for row in session.exec(select(Reading).order_by(Reading.id))]


def wait_for(page, words):
    """What the line at the top says; waiting by a function would need an eval, which the policy refuses."""
    page.locator("#kept").filter(has_text=words).wait_for(timeout=12_000)


def test_over_plain_http_everything_works_without_what_is_missing_there(tablet):
    page = tablet()
    page.goto("/run/soda/108")
    assert page.evaluate("[isSecureContext, 'serviceWorker' in navigator, 'randomUUID' in crypto]") == [False] * 3
    page.fill("#r1-0-1-v", "42,5")
    page.keyboard.press("Enter")
    wait_for(page, "Saved")
    page.locator("[data-cell='r1-0-1'] .stands", has_text="42.5 mm").wait_for()  # as the bench says it, not as typed
    assert page.evaluate("document.activeElement.closest('.cell').dataset.cell") == "r2-1-1"  # ready for the next
    page.click("#r2-1-1 button[value='4']")
    page.wait_for_selector("[data-cell='r2-1-1'] .stands")
    page.reload()
    assert "4, fine" in page.inner_text("[data-cell='r2-1-1']")
    assert page.said == []


def test_a_page_without_scripts_records_all_the_same(tablet, bench_store):
    page = tablet(java_script_enabled=False)
    page.goto("/run/soda/108")
    page.fill("#r1-0-1-v", "42.5")
    page.click("#r1-0-1 button")
    assert "Saved" in page.inner_text("#kept")
    page.click("#r2-1-1 button[value='4']")
    page.fill("#words", "soapy")
    page.check("input[value='soapy']")
    page.click("#note button.primary")
    assert "soapy" in page.inner_text("#history")
    assert readings(bench_store) == [42.5, 4]


def test_without_the_network_an_entry_waits_and_is_recorded_once(tablet, bench_store):
    page = tablet()
    page.goto("/run/soda/108")
    page.context.set_offline(True)
    page.fill("#r1-0-1-v", "42.5")
    page.keyboard.press("Enter")
    wait_for(page, "1 waiting on this tablet: no network")
    page.click("#r2-1-1 button[value='4']")
    wait_for(page, "2 waiting")
    assert readings(bench_store) == []
    page.context.set_offline(False)
    wait_for(page, "Saved")
    page.wait_for_selector("[data-cell='r2-1-1'] .stands")
    assert readings(bench_store) == [42.5, 4]
    assert page.evaluate("import('/static/queue.js').then(queue => queue.waiting())") == []


def test_an_answer_that_is_lost_is_asked_for_again(tablet, bench_store):
    """The server recorded it, the tablet never heard so: the second sending is known by its key."""
    page = tablet()
    page.goto("/run/soda/108")
    lost = []

    def lose(route):
        if route.request.method == "POST" and len(lost) < 2:
            headers = route.request.all_headers() | {"host": route.request.url.split("/")[2]}
            here = route.request.url.replace(NAME, "127.0.0.1")
            lost.append(httpx2.post(here, content=route.request.post_data, headers=headers).status_code)
            route.abort()
        else:
            route.continue_()

    page.route("**/run/**", lose)
    page.fill("#r1-0-1-v", "42.5")
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-cell='r1-0-1'] .stands", timeout=15_000)
    assert lost == [200, 200]
    assert readings(bench_store) == [42.5]


def test_a_reload_while_it_waits_sends_it_once(tablet, bench_store):
    page = tablet()
    page.goto("/run/soda/108")
    page.route("**/run/**", lambda route: route.abort() if route.request.method == "POST" else route.continue_())
    page.fill("#words", "soapy")
    page.click("#note button.primary")
    wait_for(page, "1 waiting")
    page.reload()
    page.wait_for_selector("#note .wrong")
    assert page.input_value("#words") == "soapy"
    assert page.is_disabled("#note button.primary")
    page.unroute("**/run/**")
    page.wait_for_selector("#history >> text=soapy", timeout=15_000)
    with bench_store.read() as session:
        assert len(session.exec(select(TasteNote)).all()) == 1


@pytest.mark.parametrize("gone", ["reload", "closed", "back"])
def test_what_was_typed_is_there_again(tablet, gone):
    page = tablet()
    page.goto("/run/soda/108")
    typed = {"#r1-0-1-v": "42,", "#oven": "187.5", "#deviations": 'door "open"\n<b>', "#words": "soapy"}
    for field, value in typed.items():
        page.fill(field, value)
    page.check("input[value='sour']")
    page.check("input[value='failed']")
    page.check("#weights input >> nth=0") if page.query_selector("#weights input") else None
    page.wait_for_timeout(300)
    if gone == "reload":
        page.reload()
    elif gone == "back":
        page.goto("/")
        page.go_back()
    else:  # as when the browser is ended: no event of the page runs
        context = page.context
        page.close(run_before_unload=False)
        page = context.new_page()
        page.goto("/run/soda/108")
    page.wait_for_timeout(500)
    assert {field: page.input_value(field) for field in typed} == typed
    assert page.is_checked("input[value='sour']")
    assert page.is_checked("input[value='failed']")


def test_a_draft_is_gone_once_it_is_recorded(tablet):
    page = tablet()
    page.goto("/run/soda/108")
    page.fill("#words", "soapy")
    page.wait_for_timeout(300)
    page.click("#note button.primary")
    page.wait_for_selector("#history >> text=soapy")
    page.reload()
    page.wait_for_timeout(200)
    assert page.input_value("#words") == ""
    assert page.evaluate("import('/static/keep.js').then(keep => keep.all('drafts'))") == []


def test_an_unlikely_value_asks_why_and_is_saved(tablet, bench_store):
    page = tablet()
    page.goto("/run/soda/108")
    page.context.set_offline(True)  # asked without the server too
    page.fill("#r1-0-1-v", "9,5")
    page.keyboard.press("Enter")
    assert "it mostly lies between 10 and " in page.inner_text("#r1-0-1 .wrong")  # as the bench itself says it
    assert "between 10.0" not in page.inner_text("#r1-0-1 .wrong")
    wait_for(page, "not sent yet: a reason is missing")
    page.context.set_offline(False)
    page.fill("#r1-0-1-why", "the tin was too wide")
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-cell='r1-0-1'] .stands")
    assert readings(bench_store) == [9.5]


def test_an_impossible_value_is_not_asked_a_reason_that_would_not_help(tablet, bench_store):
    page = tablet()
    page.goto("/run/soda/108")
    page.fill("#r1-0-1-v", "4100")
    page.keyboard.press("Enter")
    page.wait_for_selector("#r1-0-1 .wrong:has-text('impossible')")
    assert page.locator("#r1-0-1-why").count() == 0
    page.fill("#r1-0-1-v", "41")
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-cell='r1-0-1'] .stands")
    assert readings(bench_store) == [41.0]


def test_two_tablets_see_both_values(tablet, bench_store):
    one, other = tablet(), tablet("phone")
    for page in (one, other):
        page.goto("/run/soda/108")
    one.fill("#r1-0-1-v", "42")
    one.keyboard.press("Enter")
    one.wait_for_selector("[data-cell='r1-0-1'] .stands")
    other.fill("#r1-0-1-v", "44")
    other.keyboard.press("Enter")
    other.wait_for_selector("#r1-0-1 .wrong")
    words = other.inner_text("#r1-0-1 .wrong")
    assert "42 mm" in words
    assert "You entered 44" in words
    other.fill("#r1-0-1-why", "read again")
    other.keyboard.press("Enter")
    other.wait_for_selector("#history >> text=44 mm")
    assert readings(bench_store) == [42, 44]


def test_an_ended_session_keeps_the_entry_until_the_person_is_back(tablet, bench_store):
    from tracker.workflow.signed_in import end_all

    page = tablet()
    page.goto("/run/soda/108")
    end_all(bench_store)
    page.fill("#r1-0-1-v", "42.5")
    page.keyboard.press("Enter")
    wait_for(page, "1 waiting on this tablet: sign in to send")
    page.goto("/sign-in")
    page.fill("#name", "Dora")
    page.fill("#pin", "930571")
    page.click("button.primary")
    wait_for(page, "Saved")
    assert readings(bench_store) == [42.5]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_barrier_is_found(tablet, scheme):
    from axe_playwright_python.sync_playwright import Axe

    # axe is itself a script, which our policy refuses: the test's browser sets the policy aside.
    page = tablet(color_scheme=scheme, bypass_csp=True)
    page.goto("/run/soda/108")
    page.fill("#r1-0-1-v", "42")
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-cell='r1-0-1'] .stands")
    found = {}
    for path in [*PATHS, "/sign-in"]:
        page.goto(path)
        page.evaluate("document.querySelectorAll('details').forEach(part => part.open = true)")
        report = Axe().run(page)
        if report.violations_count:
            found[path] = report.generate_report()
    assert found == {}


TARGETS = """() => [...document.querySelectorAll('a, button, input, select, textarea, summary')]
  .filter(one => !one.matches('.skip, [type=hidden]') && one.getClientRects().length)
  .map(one => one.matches('[type=checkbox], [type=radio]') ? one.closest('label') ?? one : one)
  .map(one => { const box = one.getBoundingClientRect();
    return { words: one.tagName + ' ' + (one.id || one.textContent.trim().slice(0, 30)), x: box.x, y: box.y,
      w: box.width, h: box.height, primary: one.matches('.primary, .scale button, .name') } })"""


def test_targets_are_large_and_nothing_scrolls_sideways_on_any_screen(tablet):
    page = tablet()
    page.goto("/run/soda/108")
    page.fill("#r1-0-1-v", "42")
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-cell='r1-0-1'] .stands")
    small, near = [], []
    for path in PATHS:
        page.goto(path)
        page.evaluate("document.querySelectorAll('details').forEach(part => part.open = true)")
        for size, (width, height) in SIZES.items():
            page.set_viewport_size({"width": width, "height": height})
            at, boxes = (path, size), page.evaluate(TARGETS)
            assert boxes
            assert page.evaluate("document.documentElement.scrollWidth") <= width, at
            for box in boxes:
                least = 96 if box["primary"] else 48
                if box["w"] < least - 0.1 or box["h"] < least - 0.1:
                    small.append((at, box["words"], box["w"], box["h"]))
            near += [(at, one["words"], other["words"]) for one, other in pairs(boxes) if gap(one, other) < 12 - 0.1]
    assert small == []
    assert sorted(set(near)) == []


def pairs(boxes):
    different = {(box["x"], box["y"]): box for box in boxes}
    ordered = list(different.values())
    return [(one, other) for at, one in enumerate(ordered) for other in ordered[at + 1 :]]


def gap(one, other):
    aside = max(one["x"], other["x"]) - min(one["x"] + one["w"], other["x"] + other["w"])
    below = max(one["y"], other["y"]) - min(one["y"] + one["h"], other["y"] + other["h"])
    return max(aside, below)


def test_a_timer_goes_on_through_a_reload(tablet, bench_store):
    page = tablet()
    page.goto("/run/soda/108")
    page.click("text=Into the oven now")
    page.wait_for_selector("[data-timer]")
    page.wait_for_timeout(1200)
    page.reload()
    page.wait_for_selector("[data-timer]:not(:empty)")
    minutes, seconds = page.inner_text("[data-timer]").removesuffix(" min").split(":")
    assert minutes == "0"
    assert 1 <= int(seconds) <= 20
    page.goto("/")
    assert "In the oven" in page.inner_text("main")


def test_what_stands_is_told_as_soon_as_a_reading_is_saved(tablet, bench_store):
    page = tablet()
    page.goto("/run/soda/108")
    left = int(page.inner_text("[data-part=head]").split(" still to be taken")[0].split()[-3])
    page.locator("#deviations").press_sequentially("door ")
    page.fill("#r1-0-1-v", "42,50")
    page.keyboard.press("Enter")
    page.wait_for_selector("#history button[aria-label='Undo: rise height: 42.5 mm']")
    said = page.inner_text("[data-part=head]")
    assert f"{left - 1} reading" in said
    cell = page.locator("[data-cell='r1-0-1']")
    assert cell.locator(".stands").inner_text().split() == ["rise", "height", "42.5", "mm"]
    assert page.evaluate("document.activeElement.closest('.cell').dataset.cell") == "r2-1-1"  # not taken away
    assert page.input_value("#deviations") == "door "
    cell.locator("summary").click()  # the new form keeps what is typed, and is sent, like any other
    page.fill("#r1-0-1-v", "43")
    page.fill("#r1-0-1-why", "read again")
    page.wait_for_timeout(300)
    page.reload()
    page.locator("body[data-ready]").wait_for()
    assert page.input_value("#r1-0-1-v") == "43"
    assert page.input_value("#deviations") == "door "
    page.click("#r1-0-1 button.primary")
    page.wait_for_selector("#history >> text=43 mm")
    page.click("#history button[aria-label='Undo: rise height: 43 mm']")
    page.locator("[data-cell='r1-0-1'] .stands", has_text="42.5 mm").wait_for()
    assert readings(bench_store) == [42.5, 43.0, 42.5]


def test_what_another_tablet_entered_comes_along_but_not_under_the_fingers(tablet, bench_store):
    from tracker.workflow.recording import record_run

    page = tablet()
    page.goto("/run/soda/108")
    page.locator("#r1-0-1-v").press_sequentially("4")
    record_run(bench_store, "soda", "108", ["rise height=41"], repeat=1)
    record_run(bench_store, "soda", "108", ["crumb score=3"], piece=2, repeat=1)
    page.click("#r2-1-1 button[value='4']")
    page.locator("[data-cell='r2-2-1'] .stands").wait_for()
    page.locator("#history", has_text="rise height: 41 mm").wait_for()
    assert page.input_value("#r1-0-1-v") == "4"  # is told when it is sent


def test_several_saved_at_once_are_told_together(tablet, bench_store):
    page = tablet()
    page.goto("/run/soda/108")
    asked = []
    page.on("request", lambda each: asked.append(each.url) if each.method == "GET" and "/run/" in each.url else None)
    page.context.set_offline(True)
    page.fill("#r1-0-1-v", "42.5")
    page.keyboard.press("Enter")
    wait_for(page, "1 waiting on this tablet: no network")
    page.click("#r2-1-1 button[value='4']")
    wait_for(page, "2 waiting")
    assert asked == []  # while something waits, what stands there is not known to the bench
    page.context.set_offline(False)
    page.evaluate("dispatchEvent(new Event('online'))")
    page.wait_for_selector("#history button[aria-label^='Undo: rise height']")
    page.wait_for_selector("[data-cell='r2-1-1'] summary")
    page.wait_for_selector("[data-cell='r1-0-1'] summary")
    page.wait_for_timeout(300)
    assert len(asked) == 1


def test_the_empty_line_covers_nothing(tablet):
    page = tablet()
    page.goto("/run/soda/108")
    page.evaluate("scrollTo(0, 900)")
    assert page.inner_text("#kept") == ""
    assert page.evaluate("getComputedStyle(kept).backgroundColor") == "rgba(0, 0, 0, 0)"
    page.fill("#words", "soapy")
    wait_for(page, "On this tablet")
    assert page.evaluate("getComputedStyle(kept).backgroundColor") != "rgba(0, 0, 0, 0)"
