"""Does a photo come in once, without what the camera wrote beside it, and is it shown to bakers only?"""

from __future__ import annotations

import hashlib
import io
import re
import struct
import threading
import time
import zlib
from concurrent.futures import ThreadPoolExecutor

import httpx2
import pytest
from PIL import Image

from tracker.bench.guard import HEADERS
from tracker.bench.kit import PERSON
from tracker.models import Photo, PhotoContent
from tracker.workflow.accounts import ROLES, list_accounts
from tracker.workflow.signed_in import begin
from tracker.workflow.trials import close_trial
from tracker.workflow.verifying import verify_record

RUN, TO = "/run/soda/108", "/photo/soda/108"
SECRET = "51.5074 N, taken by Grace"


def snap(colour="tan", size=(400, 300), kind="JPEG", **how) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, colour).save(out, kind, **how)
    return out.getvalue()


def with_place() -> bytes:
    exif = Image.Exif()
    exif[0x8825] = {1: "N", 29: SECRET}
    return snap(exif=exif.tobytes(), comment=SECRET.encode())


def bomb() -> bytes:
    def chunk(name, data):
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", 50_000, 50_000, 1, 0, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(bytes(6251) * 99)) + chunk(b"IEND", b"")


def rows(store, table):
    from sqlmodel import select

    with store.read() as session:
        return list(session.exec(select(table).order_by(table.id)))


@pytest.fixture
def baker(as_role):
    return as_role("baker")


@pytest.fixture
def send(baker, key):
    """Post one photo; a key of its own unless one is given."""

    def post(content=None, *, to=TO, name="photo.jpg", kind="image/jpeg", headers=None, tablet=baker, **fields):
        sent = {"photo": (name, snap() if content is None else content, kind)}
        data = {"key": key(), "do": "photo", "place": "photos", **fields}
        return tablet.post(to, files=sent, data=data, headers=headers or {})

    return post


def test_a_photo_is_kept_and_shown_where_it_was_taken(send, baker, bench_store):
    answer = send(with_place(), piece="2", words="a hole <b>", name="../../evil.html", kind="text/html")
    assert (answer.status_code, answer.headers["location"]) == (303, f"{RUN}?saved=05%3A00#photos")
    (row,) = rows(bench_store, Photo)
    assert (row.person_id, row.words, row.width, row.height) == (3, "a hole <b>", 400, 300)
    page = baker.get(RUN).text
    assert f'src="/photo/{row.id}/small"' in page
    assert 'alt="Photo of piece 2 of run 108, 05:00: a hole &lt;b&gt;"' in page
    assert "photo, piece 2: a hole &lt;b&gt;" in page
    assert SECRET.encode() not in rows(bench_store, PhotoContent)[0].content
    assert "evil" not in page
    verify_record(bench_store)


def test_a_photo_is_served_as_a_picture_and_nothing_else(send, baker):
    send(snap(size=(3000, 2000)))
    for path, sides in (("/photo/1", (1600, 1067)), ("/photo/1/small", (320, 214))):
        answer = baker.get(path)
        assert answer.headers["content-type"] == "image/jpeg"
        assert Image.open(io.BytesIO(answer.content)).size == sides
        assert answer.headers["content-disposition"] == 'inline; filename="photo-1.jpg"'
        assert answer.headers["cache-control"] == "private, max-age=57600, immutable"
        assert answer.headers["vary"] == "cookie"
        assert HEADERS.items() <= dict(answer.headers).items()
        head = baker.head(path)
        assert (head.status_code, head.headers["content-length"]) == (200, answer.headers["content-length"])
    for path in ("/photo/2", "/photo/0", f"/photo/{10**30}", "/photo/2/small"):
        answer = baker.get(path)
        assert (answer.status_code, answer.headers["cache-control"]) == (404, "no-store")
    for path in ("/photo/-1", "/photo/x", "/photo/1.5"):
        assert baker.get(path).status_code in (404, 405)


def test_those_who_taste_see_no_photo(send, as_role, client):
    send()
    for role in ("nobody", *ROLES):
        tablet = client if role == "nobody" else as_role(role)
        may = role != "nobody" and ROLES.index(role) >= ROLES.index("baker")
        for path in ("/photo/1", "/photo/1/small"):
            answer = tablet.get(path)
            assert answer.status_code == (200 if may else 401 if role == "nobody" else 403)
            assert (answer.headers["content-type"] == "image/jpeg") is may
            assert may or answer.headers["cache-control"] == "no-store"
        assert send(tablet=tablet).status_code == (303 if may else 401 if role == "nobody" else 403)


REFUSED = {
    "nothing": (b"", 422, "No photo was chosen"),
    "text": (b"hello", 422, "no picture"),
    "a page": (b"<html><script>alert(1)</script>", 422, "no picture"),
    "a drawing with a script": (b'<svg xmlns="http://www.w3.org/2000/svg"><script/></svg>', 422, "no picture"),
    "a gif": (snap(kind="GIF"), 422, "no picture"),
    "heic": (b"\0\0\0\x18ftypheic" + bytes(40), 422, "most compatible"),
    "half a photo": (snap()[:300], 422, "broken"),
    "a bomb": (bomb(), 422, "50,000"),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_no_photo_is_a_sentence_on_the_page_and_nothing_is_lost(send, bench_store, what):
    content, status, words = REFUSED[what]
    answer = send(content, piece="2", words='door "open"')
    assert answer.status_code == status
    section = answer.text.partition('id="photos"')[2].partition("</section>")[0]
    assert words in section.replace("&#34;", '"')
    assert 'value="door &#34;open&#34;"' in section
    told = send(content, headers={"accept": "application/json"})
    assert (told.status_code, words in told.json()["error"] + told.json()["next"]) == (status, True)
    assert rows(bench_store, Photo) == []


def test_a_file_of_50_mb_is_a_sentence_and_leaves_nothing(send, baker, bench_store):
    large = snap() + bytes(50_000_000)
    answer = send(large)
    assert answer.status_code == 413
    assert "larger than the bench takes here, which is 15 MB" in answer.text
    assert send(large, headers={"accept": "application/json"}).json()["error"]
    assert send(snap() + bytes(15_000_001)).status_code == 422  # just over, and within what a form may be
    assert send(snap() + bytes(14_900_000)).status_code == 303
    # No other page takes as much.
    assert baker.post("/photos", data={"a": "b" * 1_100_000}).status_code == 413
    assert baker.post(RUN, data={"do": "note", "words": "b" * 1_100_000}).status_code == 413
    assert len(rows(bench_store, Photo)) == 1


def test_a_photo_sent_again_is_kept_once(send, key, bench_store):
    mine, content = key(), snap()
    for _ in range(3):
        answer = send(content, key=mine, headers={"accept": "application/json"})
        assert answer.status_code == 200
    assert answer.json()["again"] is True
    assert send(snap("black"), key=mine).status_code == 422  # the same key with another picture in it
    assert send(content, key=mine, words="other").status_code == 422
    assert len(rows(bench_store, Photo)) == 1


def test_a_photo_is_taken_back_like_every_entry(send, baker, key, bench_store):
    send(words="blurred")
    page = baker.get(RUN).text
    assert 'aria-label="Undo: photo: blurred"' in page
    undone = {"do": "undo", "table": "photo", "number": "1", "place": "history", "key": key()}
    assert baker.post(RUN, data=undone).status_code == 303
    page = baker.get(RUN).text
    assert "/photo/1" not in page
    assert "photo: taken back" in page
    assert baker.get("/photo/1").status_code == 404
    assert len(rows(bench_store, PhotoContent)) == 1
    verify_record(bench_store)


@pytest.mark.parametrize("piece", ["0", "-1", "x", "1.5", "99999999", "1 OR 1"])
def test_a_piece_that_cannot_be_is_refused(send, bench_store, piece):
    assert send(piece=piece).status_code == 422
    assert rows(bench_store, Photo) == []


def test_other_runs_and_closed_trials_take_none(send, bench_store):
    for to in ("/photo/soda/999", "/photo/sodas/108"):
        assert send(to=to).status_code == 404
    close_trial(bench_store, "soda", reason="over")
    answer = send()
    assert answer.status_code == 409
    assert "closed" in answer.text
    assert rows(bench_store, Photo) == []


def test_a_form_without_a_file_says_so(baker, key):
    for data in ({"key": key()}, {"key": key(), "photo": "photo.jpg"}):
        answer = baker.post(TO, data=data)
        assert answer.status_code == 422
        assert "No photo was chosen" in answer.text


def test_pictures_are_decoded_two_at_a_time_while_others_are_answered(served, bench_store, key, monkeypatch):
    """Eight photos at once over a real connection: a reading does not wait for them."""
    from tracker.bench.pages import photo as its_page

    inside, most, lock, go = [0], [0], threading.Lock(), threading.Event()
    read = its_page.read_picture

    def slow(data):
        with lock:
            inside[0] += 1
            most[0] = max(most[0], inside[0])
        assert go.wait(20)
        with lock:
            inside[0] -= 1
        return read(data)

    monkeypatch.setattr(its_page, "read_picture", slow)
    person = next(line.person for line in list_accounts(bench_store) if line.role == "baker")
    here = served.replace("kitchen.test", "127.0.0.1")
    cookies = {PERSON: begin(bench_store, "person", person)}

    def post(path, **sent):
        with httpx2.Client(base_url=here, headers={"origin": here}, cookies=cookies, timeout=30) as tablet:
            return tablet.post(path, **sent).status_code

    def send():
        return post(TO, files={"photo": ("photo.jpg", snap(), "image/jpeg")}, data={"key": key()})

    with ThreadPoolExecutor(8) as tablets:
        answers = [tablets.submit(send) for _ in range(8)]
        while inside[0] < 2:
            time.sleep(0.01)
        reading = {"do": "reading", "key": key(), "response": "rise height", "value": "42", "repeat": "1", "place": "a"}
        assert post(RUN, data=reading) == 303
        assert inside[0] == 2
        go.set()
        assert [answer.result(20) for answer in answers] == [303] * 8
    assert most[0] == 2
    assert len(rows(bench_store, Photo)) == 8


def test_what_is_shown_is_what_the_record_holds(send, baker, bench_store):
    send()
    assert hashlib.sha256(baker.get("/photo/1").content).hexdigest() == rows(bench_store, Photo)[0].sha256


def test_an_owner_erases_a_picture_and_the_page_says_so(send, as_role, baker, bench_store, key):
    owner = as_role("owner")
    send(snap(), piece="2", words="a hole <b>")
    send(snap("black"))
    page = owner.get(RUN).text
    assert 'action="/photo/1/erase"' in page
    assert "/erase" not in baker.get(RUN).text
    fields = {"reason": "a face <i>", "sure": "yes"}
    assert baker.post("/photo/1/erase", data={"key": key(), **fields}).status_code == 403
    for wrong in ({"sure": ""}, {"reason": " "}, {"reason": "x" * 401}):
        refused = owner.post("/photo/1/erase", data={"key": key(), **fields, **wrong})
        assert refused.status_code == 422
    assert owner.get("/photo/1").status_code == 200
    mine = key()
    for _ in range(2):  # sent again, it is the same
        answer = owner.post("/photo/1/erase", data={"key": mine, **fields})
        assert (answer.status_code, answer.headers["location"]) == (303, f"{RUN}?saved=05%3A00#photos")
    assert owner.post("/photo/1/erase", data={"key": key(), **fields}).status_code == 409
    assert owner.post("/photo/9/erase", data={"key": key(), **fields}).status_code == 404
    gone = owner.get("/photo/1")
    assert (gone.status_code, gone.headers["cache-control"]) == (404, "no-store")
    assert "erased by Dora on 2026-11-26: a face &lt;i&gt;" in gone.text
    assert owner.get("/photo/1/small").status_code == 404
    for tablet in (owner, baker):
        page = tablet.get(RUN).text
        assert "Photo of piece 2" in page
        assert "erased by Dora on 2026-11-26: a face &lt;i&gt;" in page
        assert "/photo/1/" not in page
        assert 'src="/photo/2/small"' in page
        entered = re.sub(r"<[^>]+>|\s+", " ", page[page.index('id="history"') :])
        assert re.search(r"photo, piece 2: a hole &lt;b&gt;: erased +Dora *; a face &lt;i&gt;", entered)
        assert 'aria-label="Undo: photo, piece 2' not in page  # neither of the photo nor of its erasure
        assert 'aria-label="Undo: photo"' in page  # the other one
        undone = {"do": "undo", "key": key(), "place": "history", "table": "photo", "number": "1"}
        refused = tablet.post(RUN, data=undone)  # by a page that was opened before
        assert refused.status_code == 409
        assert "This photo was erased: that there was one stays." in refused.text
        assert "erased by Dora on 2026-11-26: a face &lt;i&gt;" in tablet.get(RUN).text
        assert tablet.post(RUN, data=undone | {"key": key(), "table": "erasure"}).status_code == 404
    assert [row.photo_id for row in rows(bench_store, PhotoContent)] == [2]
    verify_record(bench_store)


def test_one_that_was_taken_back_is_offered_to_an_owner_only(send, as_role, baker, key):
    send()
    undone = {"do": "undo", "key": key(), "place": "history", "table": "photo", "number": "1"}
    assert baker.post(RUN, data=undone).status_code == 303
    owner = as_role("owner")
    assert "was taken back and is still in the record" in owner.get(RUN).text
    assert "still in the record" not in baker.get(RUN).text
    assert owner.post("/photo/1/erase", data={"key": key(), "reason": "a face", "sure": "yes"}).status_code == 303
    assert "still in the record" not in owner.get(RUN).text
