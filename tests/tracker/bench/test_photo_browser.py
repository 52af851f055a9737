"""Can a photo be taken with a floury hand, does it outlast network and reload, and is its place without barriers?"""

from __future__ import annotations

import io
import os

import pytest
from PIL import Image
from sqlmodel import select

from tracker.models import Photo

pytestmark = pytest.mark.browser


def snap(colour: str = "tan", side: int = 1200, kind: str = "JPEG") -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (side, side * 3 // 4), colour).save(out, kind)
    return out.getvalue()


def chosen(content: bytes, name: str = "photo.jpg", kind: str = "image/jpeg") -> dict:
    return {"name": name, "mimeType": kind, "buffer": content}


def photos(store) -> list[Photo]:
    with store.read() as session:
        return list(session.exec(select(Photo).order_by(Photo.id)))


def wait_for(page, words):
    page.locator("#kept").filter(has_text=words).wait_for(timeout=12_000)


def test_a_photo_is_seen_before_it_is_sent_and_after(tablet, bench_store):
    page = tablet()
    page.goto("/run/soda/108")
    page.set_input_files("#photo-file", chosen(snap()))
    page.wait_for_selector(".preview:not([hidden])")
    page.check("#photos input[value='2']")
    page.fill("#photo-words", "a hole")
    page.click("#photos button.primary")
    picture = page.wait_for_selector(".photos img")
    picture.scroll_into_view_if_needed()
    assert picture.get_attribute("alt").startswith("Photo of piece 2 of run 108, ")
    assert picture.evaluate("one => one.decode().then(() => one.naturalWidth)") == 320
    assert [(row.words, row.width) for row in photos(bench_store)] == [("a hole", 1200)]
    page.reload()
    assert page.input_value("#photo-words") == ""
    assert page.said == []


def test_without_scripts_a_photo_comes_in_all_the_same(tablet, bench_store):
    page = tablet(java_script_enabled=False)
    page.goto("/run/soda/108")
    page.set_input_files("#photo-file", chosen(snap()))
    page.click("#photos button.primary")
    assert "Saved" in page.inner_text("#kept")
    assert len(photos(bench_store)) == 1
    page.set_input_files("#photo-file", chosen(b"hello", "note.txt", "text/plain"))
    page.click("#photos button.primary")
    assert "no picture the bench can read" in page.inner_text("#photos .wrong")


def test_without_the_network_a_photo_waits_through_a_reload_and_comes_in_once(tablet, bench_store):
    page = tablet()
    page.goto("/run/soda/108")
    page.route("**/photo/**", lambda route: route.abort() if route.request.method == "POST" else route.continue_())
    page.set_input_files("#photo-file", chosen(snap("brown", 2000)))
    page.click("#photos button.primary")
    wait_for(page, "1 waiting on this tablet")
    page.reload()
    wait_for(page, "1 waiting on this tablet")
    assert photos(bench_store) == []
    page.unroute("**/photo/**")
    page.wait_for_selector(".photos img", timeout=15_000)
    assert [row.width for row in photos(bench_store)] == [1600]
    assert page.evaluate("import('/static/queue.js').then(queue => queue.waiting())") == []


def test_a_reading_does_not_wait_behind_a_photo(tablet, bench_store):
    page = tablet()
    page.goto("/run/soda/108")
    page.context.set_offline(True)
    page.set_input_files("#photo-file", chosen(snap()))
    page.click("#photos button.primary")
    wait_for(page, "1 waiting")
    page.fill("#r1-0-1-v", "42")
    page.keyboard.press("Enter")
    wait_for(page, "2 waiting")
    sent: list[str] = []
    page.on("request", lambda request: sent.append(request.url.split("/")[3]) if request.method == "POST" else None)
    page.context.set_offline(False)
    wait_for(page, "Saved")
    assert sent[-2:] == ["run", "photo"]
    assert len(photos(bench_store)) == 1


def test_a_photo_that_is_not_sent_yet_outlasts_the_page(tablet, bench_store):
    page = tablet()
    page.goto("/run/soda/108")
    page.set_input_files("#photo-file", chosen(snap()))
    page.fill("#photo-words", "a hole")
    page.wait_for_timeout(400)
    context = page.context
    page.close(run_before_unload=False)
    page = context.new_page()
    page.goto("/run/soda/108")
    page.wait_for_selector(".preview:not([hidden])")
    assert page.input_value("#photo-words") == "a hole"
    page.click("#photos button.primary")
    page.wait_for_selector(".photos img")
    assert [row.words for row in photos(bench_store)] == ["a hole"]


COUNTED = """() => {
  const put = IDBObjectStore.prototype.put;
  window.puts = [0, 0];
  IDBObjectStore.prototype.put = function (value, ...more) {
    window.puts[value.fields?.some(([, each]) => each instanceof File) ? 1 : 0] += 1;
    return put.call(this, value, ...more);
  };
}"""


def test_words_under_a_photo_do_not_write_the_photo_again(tablet, bench_store):
    page = tablet()
    page.goto("/run/soda/108")
    page.evaluate(COUNTED)
    page.set_input_files("#photo-file", chosen(snap()))
    page.type("#photo-words", "a hole below the crust", delay=40)
    page.wait_for_timeout(300)
    words, files = page.evaluate("puts")
    assert (words > 3, files) == (True, 1)
    page.set_input_files("#photo-file", chosen(snap("brown")))
    page.wait_for_timeout(300)
    assert page.evaluate("puts")[1] == 2
    page.reload()
    page.wait_for_selector(".preview:not([hidden])")
    assert page.input_value("#photo-words") == "a hole below the crust"
    page.set_input_files("#photo-file", [])
    page.fill("#photo-words", "")
    page.wait_for_timeout(300)
    assert page.evaluate("import('/static/keep.js').then(keep => keep.all('drafts'))") == []
    page.set_input_files("#photo-file", chosen(snap()))
    page.click("#photos button.primary")
    page.wait_for_selector(".photos img")
    assert page.evaluate("import('/static/keep.js').then(keep => keep.all('drafts'))") == []


def test_what_is_no_photo_is_said_where_it_was_chosen(tablet, bench_store, tmp_path):
    large = tmp_path / "photo.jpg"
    large.write_bytes(snap() + bytes(15_100_000))
    page = tablet()
    page.goto("/run/soda/108")
    page.set_input_files("#photo-file", chosen(b"hello", "photo.jpg"))
    page.click("#photos button.primary")
    page.locator("#photos .wrong").filter(has_text="no picture the bench can read").wait_for()
    page.set_input_files("#photo-file", large)
    page.click("#photos button.primary")  # the browser holds it back by itself
    assert "16 MB" in page.evaluate("document.getElementById('photo-file').validationMessage")
    page.set_input_files("#photo-file", chosen(snap()))
    page.click("#photos button.primary")
    page.wait_for_selector(".photos img")
    assert len(photos(bench_store)) == 1


def test_50_mb_show_the_sentence_and_no_broken_connection(tablet, bench_store, tmp_path):
    large = tmp_path / "photo.jpg"
    large.write_bytes(snap() + bytes(50_000_000))
    page = tablet(java_script_enabled=False)
    page.goto("/run/soda/108")
    page.set_input_files("#photo-file", large)
    with page.expect_response("**/photo/**") as answer:
        page.click("#photos button.primary")
    assert answer.value.status == 413
    assert "larger than the bench takes here, which is 15 MB" in page.inner_text("[role=alert]")
    page.go_back()
    assert page.is_visible("#photo-file")
    assert photos(bench_store) == []


# Both schemes on every screen with CRUMBWISE_LARGE=1.
LOOKS = [("phone", "light"), ("tablet", "dark"), ("larger tablet", "light"), ("screen", "dark")]
if os.environ.get("CRUMBWISE_LARGE"):
    LOOKS += [(size, "dark" if scheme == "light" else "light") for size, scheme in LOOKS]
BOXES = """() => [...document.querySelectorAll('#photos a, #photos button, #photos input')]
  .filter(one => one.type !== 'hidden')
  .map(one => one.matches('[type=checkbox], [type=radio]') ? one.closest('label') : one)
  .map(one => { const box = one.getBoundingClientRect();
    const least = one.matches('.primary, [type=file]') ? 96 : 48;
    return [one.id || one.textContent.trim(), box.width, box.height, least] })"""


@pytest.mark.parametrize(("size", "scheme"), LOOKS)
def test_its_place_is_large_and_without_barriers(tablet, size, scheme):
    from axe_playwright_python.sync_playwright import Axe

    page = tablet(size, color_scheme=scheme, bypass_csp=True)
    page.goto("/run/soda/108")
    for colour in ("tan", "white"):
        page.set_input_files("#photo-file", chosen(snap(colour)))
        page.click("#photos button.primary")
        page.locator(f".photos li >> nth={0 if colour == 'tan' else 1}").wait_for()
    page.set_input_files("#photo-file", chosen(snap("brown")))
    page.wait_for_selector(".preview:not([hidden])")
    for summary in page.locator("#photos li summary").all():  # where an owner may erase it
        summary.click()
    boxes = page.evaluate(BOXES)
    assert len(boxes) >= 7 + 2 * 3
    assert [box for box in boxes if min(box[1], box[2]) < box[3] - 0.1] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
    report = Axe().run(page)
    assert report.violations_count == 0, report.generate_report()
