"""Is a tasting run from the pages: set up, cards, one sample after the other, and the end?"""

from __future__ import annotations

import importlib.util
import re
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from tracker.bench.kit import PERSON
from tracker.models import Reading, TasteNote, TastingAnswer, TastingConsent
from tracker.workflow.people import add_person
from tracker.workflow.recording import record_run
from tracker.workflow.signed_in import end_all
from tracker.workflow.tasting_setup import WhoTastes, add_assessors
from tracker.workflow.tastings import list_tastings, tasting_view

HOST = "127.0.0.1:8030"
RUNS = ("108", "107", "106")


def rows(store, table):
    with store.read() as session:
        return list(session.exec(select(table).order_by(table.id)))


@pytest.fixture
def baked(bench_store):
    for run in RUNS:
        record_run(bench_store, "soda", run)
    return bench_store


@pytest.fixture
def guest(app):
    """A tablet that nobody is known at; ``guest()`` gives another."""

    def another():
        ours = {"origin": f"http://{HOST}"}
        return TestClient(app, base_url=f"http://{HOST}", headers=ours, follow_redirects=False)

    return another


NEW = {"trial": "soda", "run": RUNS, "response": ["2", "3"], "allergens": "milk", "rest": "0", "nameless": "2"}


def set_up(baker, key, **more):
    answer = baker.post("/tasting/new", data={**NEW, "key": key(), **more})
    assert answer.status_code == 303, answer.text
    return int(re.fullmatch(r"/tasting/(\d+)\?saved=.*", answer.headers["location"])[1])


def codes(baker, key, number):
    page = baker.post(f"/tasting/{number}/cards", data={"key": key()}).text
    return re.findall(r'class="passcode">([A-Z0-9-]{9})<', page)


def come_in(tablet, code):
    answer = tablet.post("/taste/code", data={"code": code})
    assert answer.headers.get("location") == "/taste", answer.text
    return tablet


def agree(tablet, key):
    assert tablet.post("/taste", data={"key": key(), "do": "agree", "agrees": "yes", "eats": "yes"}).status_code == 303


def sample_of(page):
    return re.search(r'name="place" value="(\d{3})"', page.text)[1]


def test_a_baker_sets_up_and_everybody_tastes(as_role, baked, guest, key):
    baker = as_role("baker")
    assert "/tasting/new?trial=soda" in baker.get("/tasting").text
    form = baker.get("/tasting/new?trial=soda").text
    assert re.findall(r'name="run" value="(\d+)" checked', form) == list(RUNS)
    assert "rise height" not in form  # measured, not tasted
    assert re.search(r'<textarea id="allergens"[^>]*>milk</textarea>', form)
    assert "look at the packets" in form
    number = set_up(baker, key)
    for at, code in enumerate(codes(baker, key, number)):
        tablet = come_in(guest(), code)
        page = tablet.get("/taste")
        assert "raw dough" in page.text
        assert ">milk<" in page.text
        agree(tablet, key)
        seen = []
        for _ in RUNS:
            seen.append(sample_of(tablet.get("/taste")))
            data = {"key": key(), "do": "answer", "place": seen[-1], "v1": str(3 + at), "v2": "yes", "tag": "sour"}
            assert tablet.post("/taste", data=data).status_code == 303
        assert len(set(seen)) == 3
        assert "all 3 samples" in tablet.get("/taste").text
        assert f"{3 * at + 3} of 6 samples" in baker.get(f"/tasting/{number}").text
        finished = tablet.post("/taste", data={"do": "finished"})
        assert finished.headers["location"] == "/taste?ended=finished"
        assert "ready for the next" in tablet.get("/taste?ended=finished").text
    assert [row.value for row in rows(baked, Reading)] == [3, 1] * 3 + [4, 1] * 3
    assert len(rows(baked, TasteNote)) == 6
    close = {"key": key(), "do": "close", "reason": "everybody has tasted"}
    shown = baker.post(f"/tasting/{number}", data=close)
    assert shown.headers["location"].startswith(f"/tasting/{number}/serving")
    assert "Which sample was which" in baker.get(f"/tasting/{number}/serving").text
    assert "/results?trial=soda" not in baker.get(f"/tasting/{number}").text
    assert "/results?trial=soda" in as_role("analyst").get(f"/tasting/{number}").text


def test_what_is_missing_comes_back_with_what_was_typed(as_role, baked, key):
    baker = as_role("baker")
    for wrong in ({"allergens": " "}, {"run": "108"}, {"response": []}, {"rest": "soon"}, {"nameless": "x"}):
        data = {**NEW, "names": "Nell", "key": key(), "words": "Sniff first.", **wrong}
        answer = baker.post("/tasting/new", data=data)
        assert answer.status_code == 422, wrong
        assert 'role="alert"' in answer.text
        assert ">Nell</textarea>" in answer.text
        assert ">Sniff first.</textarea>" in answer.text
    assert list_tastings(baked) == ()
    assert baker.get("/tasting/new?trial=nothing").status_code == 404
    for number in ("0", "7", "99999999999999999999"):
        assert baker.get(f"/tasting/{number}").status_code == 404
    assert baker.get("/tasting/x").status_code == 422


def test_cards_are_shown_once(as_role, baked, guest, key):
    baker = as_role("baker")
    number = set_up(baker, key)
    data = {"key": key()}
    first = baker.post(f"/tasting/{number}/cards", data=data)
    assert len(re.findall("<svg", first.text)) == 2
    again = baker.post(f"/tasting/{number}/cards", data=data)
    assert "shown then" in again.text
    assert "<svg" not in again.text
    code = re.search(r'class="passcode">([A-Z0-9-]{9})<', first.text)[1]
    come_in(guest(), code)
    person = tasting_view(baked, number).people[0].person
    baker.post(f"/tasting/{number}/cards", data={"key": key(), "person": person})
    assert guest().post("/taste/code", data={"code": code}).status_code == 401
    assert baker.get(f"/tasting/{number}/cards").headers["location"] == f"/tasting/{number}"


def test_a_code_is_guessed_a_few_times_only(as_role, baked, guest, key, clock):
    baker = as_role("baker")
    number = set_up(baker, key)
    code, _ = codes(baker, key, number)
    tablet = guest()
    for at in range(5):
        assert tablet.post("/taste/code", data={"code": f"AAAA-AAA{at}"}).status_code == 401
    refused = tablet.post("/taste/code", data={"code": code})
    assert refused.status_code == 429
    assert int(refused.headers["retry-after"]) > 0
    clock.move(seconds=31)
    come_in(tablet, code)


def test_a_code_opens_taste_and_nothing_else_even_for_a_baker(as_role, baked, guest, key):
    """A baker who tastes comes in by code, and is nobody but an assessor then."""
    owner = as_role("owner")
    baker = as_role("baker")
    person = next(line for line in tasting_people(owner) if line[1] == "Bo")[0]
    number = set_up(owner, key, person=person, nameless="0")
    (code,) = codes(owner, key, number)
    assert baker.get(f"/tasting/{number}/serving").status_code == 409
    come_in(baker, code)
    page = baker.get("/taste").text
    assert re.findall(r'<li><a href="([^"]*)"', page) == ["/taste"]  # the whole menu
    for path in ("/", "/run/soda/108", "/tasting", f"/tasting/{number}/serving", "/my-pin", "/people", "/results"):
        assert baker.get(path).status_code == 403, path
    pin = {"key": key(), "pin": "8642"}
    assert baker.post("/my-pin", data=pin).status_code == 403
    assert baker.post("/sign-out", data={"tablet": ""}).headers["location"] == "/taste"
    assert baker.get("/").status_code == 401


def tasting_people(owner):
    form = owner.get("/tasting/new?trial=soda").text
    return re.findall(r'name="person" value="(\d+)"> (\w+)<', form)


def test_an_assessor_with_a_pin_goes_straight_to_taste(as_role, client, baked, key, monkeypatch):
    monkeypatch.setattr("tracker.bench.pages.signing.pin_is_right", lambda store, person, pin: True)
    signed = client.post("/sign-in", data={"name": "Asta", "pin": "7294"})
    assert signed.headers["location"] == "/taste"
    assert "Nothing waits for you" in client.get("/taste").text
    person = next(line for line in tasting_people(as_role("owner")) if line[1] == "Asta")[0]
    set_up(as_role("owner"), key, person=person, nameless="0")
    assert "Before you taste" in client.get("/taste").text
    agree(client, key)
    assert sample_of(client.get("/taste"))
    assert client.get("/").status_code == 403


def test_an_answer_belongs_to_the_tasting_of_its_page(as_role, baked, guest, key):
    """A second tasting of the same person begins while the answer to the first one waits on the tablet."""
    asta = as_role("assessor")
    person = next(line for line in tasting_people(as_role("owner")) if line[1] == "Asta")[0]
    first = set_up(as_role("owner"), key, person=person, nameless="0")
    agree(asta, key)
    waits = asta.get("/taste")
    assert f'name="tasting" value="{first}"' in waits.text
    second = set_up(as_role("owner"), key, person=person, nameless="1")
    assert f'name="tasting" value="{second}"' in asta.get("/taste").text
    said = {"do": "answer", "place": sample_of(waits), "tasting": str(first), "v1": "4", "v2": "no"}
    assert asta.post("/taste", data={**said, "key": key()}).status_code == 303
    assert [tasting_view(baked, number).people[0].done for number in (first, second)] == [1, 0]
    guest_of_second = come_in(guest(), codes(as_role("owner"), key, second)[1])
    agree(guest_of_second, key)
    for number in (first, 999_999_999):  # a card opens its own tasting and no other
        refused = guest_of_second.post("/taste", data={**said, "tasting": str(number), "key": key()})
        assert refused.status_code == 409
    assert asta.post("/taste", data={**said, "tasting": "999999999", "key": key()}).status_code == 404
    assert len(rows(baked, TastingAnswer)) == 1


@pytest.fixture
def tasting(as_role, baked, guest, key):
    """A tablet at which somebody has agreed to taste."""
    baker = as_role("baker")
    tablet = come_in(guest(), codes(baker, key, set_up(baker, key))[0])
    agree(tablet, key)
    return tablet


def test_going_back_shows_the_next_sample_and_posting_again_changes_nothing(tasting, baked, key):
    first = sample_of(tasting.get("/taste"))
    said = {"do": "answer", "place": first, "v1": "4", "v2": "no", "key": key()}
    for _ in range(3):  # the same entry, sent again
        assert tasting.post("/taste", data=said).status_code == 303
    second = sample_of(tasting.get("/taste"))
    assert second != first
    for path in (
        "/taste",
        f"/taste?saved=10:42#{first}",
        f"/taste?sample={first}&place={first}&code=",
        "/taste?ready=1",
    ):
        page = tasting.get(path)
        assert sample_of(page) == second
        assert "checked" not in page.text
        assert page.headers["cache-control"] == "no-store"
    other = tasting.post("/taste", data={**said, "v1": "1", "key": key()})
    assert other.status_code == 409
    assert "first answer stands" in other.text
    assert sample_of(other) == second
    assert "checked" not in other.text
    json = tasting.post("/taste", data={**said, "v1": "1", "key": key()}, headers={"accept": "application/json"})
    assert (json.status_code, set(json.json())) == (409, {"error", "next"})
    assert tasting.post("/taste", data={**said, "v1": "1"}).status_code == 422  # its key with something else
    assert [row.value for row in rows(baked, Reading)] == [4, 0]
    assert len(rows(baked, TastingAnswer)) == 1


def test_one_card_on_several_tablets_gives_one_answer_for_a_sample(as_role, baked, guest, key):
    """Posted at once with keys of their own, as by tablets that do not know of each other."""
    baker = as_role("baker")
    code, _ = codes(baker, key, set_up(baker, key))
    with guest() as first:
        agree(come_in(first, code), key)
        sample = sample_of(first.get("/taste"))
        said = [
            {"key": key(), "do": "answer", "place": sample, "v1": str(at), "v2": "no"} for at in (1, 2, 3, 4, 5) * 4
        ]
        with ThreadPoolExecutor(8) as together:
            answers = list(together.map(lambda data: first.post("/taste", data=data).status_code, said))
    assert sorted(answers) == [303] + [409] * 19
    assert len(rows(baked, Reading)) == 2
    assert len(rows(baked, TastingAnswer)) == 1


def test_what_was_not_answered_comes_back_as_it_was_ticked(tasting, baked, key):
    sample = sample_of(tasting.get("/taste"))
    half = {"key": key(), "do": "answer", "place": sample, "v1": "4", "words": "a <b>", "tag": ["sour", "dry"]}
    page = tasting.post("/taste", data=half)
    assert page.status_code == 422
    assert "split crust is not answered yet" in page.text
    assert re.search(r'name="v1" value="4" required checked', page.text)
    assert re.findall(r'name="tag" value="(\w+)" checked', page.text) == ["sour", "dry"]
    assert ">a &lt;b&gt;</textarea>" in page.text
    assert rows(baked, Reading) == []


def test_whoever_must_not_eat_it_is_stopped_and_nothing_is_kept(as_role, baked, guest, key):
    add_person(baked, "Nell", allergens="lactose")
    baker = as_role("baker")
    number = set_up(baker, key, names="Nell", nameless="1")
    view = tasting_view(baked, number)
    for code, each in zip(codes(baker, key, number), view.people, strict=True):
        tablet = come_in(guest(), code)
        if each.name == "Nell":
            ticked = {"key": key(), "do": "agree", "agrees": "yes", "eats": "yes"}
            refused = tablet.post("/taste", data=ticked)
            assert refused.status_code == 409
            assert "tell the host" in refused.text
            assert "lactose" not in refused.text
        assert "Before you taste" in tablet.post("/taste", data={"key": key(), "do": "agree"}).text
        gone = tablet.post("/taste", data={"do": "declined"})
        assert gone.headers["location"] == "/taste?ended=declined"
        assert "Nothing about you was kept" in tablet.get("/taste?ended=declined").text
        assert PERSON not in tablet.cookies
    assert rows(baked, TastingConsent) == []


def test_stopping_keeps_the_answers_and_the_code_goes_on(as_role, baked, guest, key):
    baker = as_role("baker")
    code, _ = codes(baker, key, set_up(baker, key))
    tablet = come_in(guest(), code)
    agree(tablet, key)
    first = sample_of(tablet.get("/taste"))
    tablet.post("/taste", data={"key": key(), "do": "leave", "place": first})
    second = sample_of(tablet.get("/taste"))
    assert tablet.post("/taste", data={"do": "stopped"}).status_code == 303
    assert tablet.post("/taste", data={"key": key(), "do": "leave", "place": second}).status_code == 401
    assert sample_of(come_in(guest(), code).get("/taste")) == second
    assert [row.tasted for row in rows(baked, TastingAnswer)] == [False]


def test_an_ended_session_keeps_what_was_answered(tasting, baked, as_role, guest, key):
    sample = sample_of(tasting.get("/taste"))
    end_all(baked)
    person = tasting_view(baked, 1).people[0].person
    said = {"v1": "4", "v2": "no", "words": "good"}
    answered = {"key": key(), "by": person, "do": "answer", "place": sample, **said}
    page = tasting.post("/taste", data=answered)
    assert page.status_code == 401
    kept = dict(re.findall(r'name="(kept:[^"]*)" value="([^"]*)"', page.text))
    assert kept["kept:v1"] == "4"
    code, other = codes(as_role("baker"), key, 1)
    somebody_else = tasting.post("/taste/code", data={"code": other, **kept})
    assert somebody_else.status_code == 409
    assert 'name="kept:v1" value="4"' in somebody_else.text
    assert PERSON not in somebody_else.headers.get("set-cookie", "")
    again = tasting.post("/taste/code", data={"code": code, **kept})
    assert again.status_code == 200
    fields = dict(re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)"', again.text))
    assert tasting.post("/taste", data=fields).status_code == 303
    assert [row.value for row in rows(baked, Reading)] == [4, 0]
    script = tasting.post("/taste", data=answered, headers={"accept": "application/json"})
    assert script.status_code == 200
    assert script.json()["again"] is True


def test_more_assessors_come_later(as_role, baked, key):
    baker = as_role("baker")
    number = set_up(baker, key)
    more = {"key": key(), "do": "assessors", "nameless": "1", "names": "Ole"}
    assert baker.post(f"/tasting/{number}", data=more).status_code == 303
    assert len(tasting_view(baked, number).people) == 4
    assert baker.post(f"/tasting/{number}", data={"key": key(), "do": "assessors"}).status_code == 422
    assert baker.post(f"/tasting/{number}", data={"key": key(), "do": "other"}).status_code == 422
    assert baker.post(f"/tasting/{number}", data={"key": key(), "do": "close", "reason": ""}).status_code == 422
    assert add_assessors(baked, number, WhoTastes(names=["Ole"]), by=1) == 0


def test_the_results_say_that_a_tasting_is_open(as_role, baked, key):
    analyst = as_role("analyst")
    words = "A tasting of this trial is still open"
    assert words not in analyst.get("/results?trial=soda").text
    number = set_up(as_role("baker"), key)
    assert words in analyst.get("/results?trial=soda").text
    as_role("baker").post(f"/tasting/{number}", data={"key": key(), "do": "close", "reason": "enough"})
    assert words not in analyst.get("/results?trial=soda").text


def _hostile():
    """The 200 strings of the neighbouring file, and what it finds strange (tests are no package)."""
    spec = importlib.util.spec_from_file_location("hostile", Path(__file__).with_name("test_hostile_text.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


hostile = _hostile()
EACH = hostile.STRINGS[:: hostile.EVERY]


def clear_guesses(store):
    from tracker.bench_tables import guesses
    from tracker.workflow.signed_in import change_outside_the_record

    change_outside_the_record(store, guesses.delete())


def test_hostile_text_that_is_refused_comes_back_as_text(tasting, as_role, baked, guest, key):
    baker, stranger = as_role("baker"), guest()
    sample = sample_of(tasting.get("/taste"))
    for string in EACH:
        half = {"do": "answer", "place": sample, "v1": string, "v2": string, "words": string, "tag": string}
        wrong = {"allergens": "", "words": string, "names": string, "nameless": string, "rest": string, "run": string}
        clear_guesses(tasting.app.state.store)  # guesses are counted elsewhere
        answers = [
            stranger.post("/taste/code", data={"code": string, "kept:words": string, f"kept:{string}": "x"}),
            stranger.get("/taste", params={"code": string, "ended": string, "ready": string}),
            stranger.post("/taste", data={"do": string, "place": string, "words": string}),
        ]
        answers += [
            tasting.post("/taste", data={"key": key(), **half}),
            tasting.post("/taste", data={"key": key(), "do": string, "place": string}),
            tasting.get("/taste", params={"saved": string}),
            baker.post("/tasting/new", data={**NEW, **wrong, "key": key()}),
            baker.post("/tasting/new", data={**NEW, "trial": string, "key": key()}),
            baker.get("/tasting/new", params={"trial": string}),
            baker.post("/tasting/1", data={"key": key(), "do": string, "names": string, "nameless": string}),
            baker.post("/tasting/1/cards", data={"key": key(), "person": string}),
        ]
        for answer in answers:
            assert answer.status_code < 500, string
            assert hostile.strange(answer) == [], string


def test_hostile_text_that_was_kept_is_shown_as_text(tasting, as_role, baked, guest, key):
    baker = as_role("baker")
    sample = sample_of(tasting.get("/taste"))
    said = {"key": key(), "do": "answer", "place": sample, "v1": "4", "v2": "no"}
    kept = {"words": "\n".join(EACH)[:3000], "tag": EACH}
    assert tasting.post("/taste", data={**said, **kept}).status_code == 303
    told = "\n".join(hostile.STRINGS[1:40])[:1900]
    number = set_up(baker, key, allergens=told, words=told, names="\n".join(each[:79] for each in EACH[:20]))
    pages = [baker.get(path) for path in ("/tasting", f"/tasting/{number}", f"/tasting/{number}/serving")]
    pages += [baker.get("/run/soda/" + run) for run in RUNS]
    made = baker.post(f"/tasting/{number}/cards", data={"key": key()})
    shown = come_in(guest(), re.search(r'class="passcode">([A-Z0-9-]{9})<', made.text)[1])
    pages.append(shown.get("/taste"))
    agree(shown, key)
    pages += [shown.get("/taste"), made]
    close = {"key": key(), "do": "close", "reason": EACH[3]}
    assert baker.post(f"/tasting/{number}", data=close).status_code == 303
    pages.append(baker.get(f"/tasting/{number}"))
    assert sum(page.text.count(hostile.MARK) for page in pages) > 200
    for page in pages:
        assert page.status_code == 200
        assert hostile.strange(page) == []
