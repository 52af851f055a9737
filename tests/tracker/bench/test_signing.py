"""Who stands at the tablet: PINs, guesses, sessions, and what was typed when one ended."""

from __future__ import annotations

import re

import pytest
from fastapi.testclient import TestClient

from tracker.bench.app import make_app
from tracker.bench.settings import BenchSettings, hosts_for
from tracker.errors import Conflict, InputError
from tracker.store import open_kitchen
from tracker.workflow import accounts
from tracker.workflow.people import erase_person
from tracker.workflow.signed_in import end_all
from tracker.workflow.verifying import verify_record

HOST = "127.0.0.1:8030"
PINS = {"assessor": "7294", "baker": "8305", "analyst": "615042", "owner": "930571"}
NAMES = {"assessor": "Asta", "baker": "Bo", "analyst": "Cleo", "owner": "Dora"}


@pytest.fixture(autouse=True)
def quick_hashes(monkeypatch):
    """Delays are what is tested here, not argon2; one test below keeps it."""
    monkeypatch.setattr(
        "tracker.bench.pages.signing.pin_is_right",
        lambda store, person, pin: person is not None and pin in PINS.values(),
    )


def bare(app):
    """A tablet that nobody knows."""
    return TestClient(app, base_url=f"http://{HOST}", headers={"origin": f"http://{HOST}"}, follow_redirects=False)


def sign_in(client, name="Bo", pin="8305", **more):
    return client.post("/sign-in", data={"name": name, "pin": pin, **more})


def test_a_person_signs_in_and_out_and_the_old_secret_opens_nothing(client):
    assert client.get("/").status_code == 401
    assert sign_in(client).headers["location"] == "/"
    assert "Bo" in client.get("/").text
    old = client.cookies["crumbwise_person"]
    assert client.post("/sign-out", data={"tablet": ""}).status_code == 303
    client.cookies.set("crumbwise_person", old, domain="127.0.0.1", path="/")
    assert client.get("/").status_code == 401


def test_cookies_are_for_this_server_only(client):
    for line in sign_in(client).headers.get_list("set-cookie"):
        assert "HttpOnly" in line
        assert "SameSite=strict" in line
        assert "Path=/" in line
        assert "Secure" not in line


def test_cookies_are_secure_under_https(bench_store):
    app = make_app(bench_store, BenchSettings(hosts=hosts_for(8030), tls=True))
    origin = {"origin": f"https://{HOST}"}
    with TestClient(app, base_url=f"https://{HOST}", headers=origin, follow_redirects=False) as client:
        lines = sign_in(client).headers.get_list("set-cookie")
    assert len(lines) == 2
    assert all("Secure" in line for line in lines)


def test_secrets_are_stored_hashed(client, bench_store):
    sign_in(client)
    content = bench_store.place.path.read_bytes()
    for secret in (client.cookies["crumbwise_person"], client.cookies["crumbwise_tablet"], *PINS.values()):
        if len(secret) > 6:  # four digits occur by chance
            assert secret.encode() not in content
    assert b"$argon2id$" in content


def test_names_are_told_only_to_a_tablet_that_is_known(client, app):
    sign_in(client)
    client.post("/sign-out", data={"tablet": ""})
    known = client.get("/sign-in").text
    stranger = TestClient(app, base_url=f"http://{HOST}").get("/sign-in").text
    assert all(name in known for name in NAMES.values())
    assert not any(name in stranger for name in NAMES.values())
    number = re.search(r"person=(\d+)[^>]*>Cleo", known)[1]
    assert "Cleo" in client.get(f"/sign-in?person={number}").text
    assert client.post("/sign-in", data={"person": number, "pin": PINS["analyst"]}).status_code == 303
    bare = TestClient(app, base_url=f"http://{HOST}", headers={"origin": f"http://{HOST}"}, follow_redirects=False)
    assert bare.post("/sign-in", data={"person": number, "pin": PINS["analyst"]}).status_code == 401


@pytest.mark.parametrize("name", ["Bo", "nobody of this name"])
def test_wrong_pins_wait_longer_and_longer(client, clock, name):
    """And the answer is the same for somebody who is not there."""
    tried = 0
    for _ in range(1000):  # guesses, one each 3.6 s: an hour of them
        answer = sign_in(client, name, "0000")
        assert answer.status_code in (401, 429)
        tried += answer.status_code == 401
        if answer.status_code == 401:
            assert "The name or the PIN is not right." in answer.text
        else:
            assert int(answer.headers["retry-after"]) > 0
        clock.move(seconds=3.6)
    assert 5 <= tried <= 30


def test_a_wait_holds_for_the_right_pin_too_and_ends(client, clock):
    for _ in range(6):
        sign_in(client, pin="0000")
    answer = sign_in(client)
    assert answer.status_code == 429
    clock.move(seconds=int(answer.headers["retry-after"]))
    assert sign_in(client).status_code == 303
    client.post("/sign-out", data={"tablet": ""})
    assert sign_in(client, pin="0000").status_code == 401  # counted from the start again
    assert sign_in(client).status_code == 303


def test_guesses_sent_at_one_moment_are_counted_before_they_are_looked_at(app, client):
    """Thirty tablets of a guesser press the button together."""
    from concurrent.futures import ThreadPoolExecutor

    tablets = [bare(app) for _ in range(30)]
    with ThreadPoolExecutor(30) as together:
        answers = list(together.map(lambda tablet: sign_in(tablet, "Dora", "0000").status_code, tablets))
    assert sorted(answers) == [401] * 5 + [429] * 25


def test_a_stranger_who_guesses_locks_no_known_tablet_out(client, app):
    sign_in(client)
    client.post("/sign-out", data={"tablet": ""})
    stranger = bare(app)
    for _ in range(30):  # for Bo, and for so many others that the address waits too
        sign_in(stranger, pin="0000")
    assert sign_in(stranger).status_code == 429
    assert sign_in(client, pin="0000").status_code == 401
    assert sign_in(client).status_code == 303
    for _ in range(6):  # at the known tablet guesses are counted too
        sign_in(client, pin="0000")
    assert sign_in(client).status_code == 429


def test_a_name_that_is_a_number_is_counted_for_nobody_else(client, app, bench_store):
    """Or whoever guesses could learn the number of a person, and whose name stands here."""
    number = accounts.named(bench_store, "Dora").person
    for _ in range(6):
        sign_in(bare(app), str(number), "0000")
    assert sign_in(client, "Dora").status_code == 303
    answers = [sign_in(bare(app), name, "0000").status_code for name in ["Zoe  Z", "zoe z", "ZOE   Z"] * 2]
    assert answers == [401] * 5 + [429]  # as spaces and case would not matter for somebody who is here


def test_one_address_cannot_try_everybody(client):
    answers = [sign_in(client, f"name {at}", "0000").status_code for at in range(40)]
    assert answers[:20] == [401] * 20
    assert answers[21:] == [429] * 19


def test_a_session_ends_when_it_was_not_used(client, clock):
    sign_in(client)
    for _ in range(6):
        clock.move(hours=2, minutes=30)
        assert client.get("/").status_code == 200  # used in between
    clock.move(hours=3, minutes=1)
    assert client.get("/").status_code == 401


def test_a_session_ends_after_a_shift_however_much_it_is_used(client, clock):
    sign_in(client)
    for _ in range(8):
        clock.move(hours=2)
        client.get("/")
    clock.move(minutes=1)
    assert client.get("/").status_code == 401


def test_all_sessions_can_be_ended(client, bench_store):
    sign_in(client)
    end_all(bench_store)
    assert client.get("/").status_code == 401


def test_what_was_typed_when_the_session_had_ended_is_kept_and_sent_again(client, clock, bench_store):
    sign_in(client)
    clock.move(hours=4)
    typed = {
        "do": "note",
        "place": "note",
        "words": 'soapy <b>at</b> "the" back',
        "tag": ["soapy", "sour"],
        "key": "k" * 16,
    }
    asked = client.post("/run/soda/108", data=typed)
    assert asked.status_code == 401
    carried = fields(asked.text)
    assert ("kept:words", 'soapy <b>at</b> "the" back') in carried
    again = client.post("/sign-in", data=as_form([*carried, ("name", "Bo"), ("pin", "8305")]))
    assert again.status_code == 200
    assert 'action="/run/soda/108"' in again.text
    body = [pair for pair in fields(again.text) if pair[0] not in ("", "by")]
    assert client.post("/run/soda/108", data=as_form(body)).status_code == 303
    assert client.post("/run/soda/108", data=as_form(body)).status_code == 303  # the key is still the first one
    assert client.get("/run/soda/108").text.count("soapy &lt;b&gt;at&lt;/b&gt;") == 2  # in words and beside its Undo


def test_what_one_person_typed_is_never_sent_by_another(client, clock, bench_store):
    sign_in(client)
    from tracker.workflow.accounts import list_accounts

    baker = next(line.person for line in list_accounts(bench_store) if line.name == "Bo")
    clock.move(hours=4)
    typed = {"do": "note", "place": "note", "words": "soapy", "key": "k" * 16, "by": str(baker)}
    carried = fields(client.post("/run/soda/108", data=typed).text)
    other = client.post("/sign-in", data=as_form([*carried, ("name", "Dora"), ("pin", PINS["owner"])]))
    assert other.status_code == 409
    assert "typed by somebody else" in other.text
    assert client.get("/").status_code == 401  # nobody was let in
    assert ("kept:words", "soapy") in fields(other.text)  # and nothing was lost
    again = client.post("/sign-in", data=as_form([*fields(other.text), ("name", "Bo"), ("pin", "8305")]))
    assert again.status_code == 200
    assert 'action="/run/soda/108"' in again.text


def fields(page):
    """(name, value) of the hidden fields of the main form."""
    import html

    main = page.partition("<main")[2]
    found = re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)">', main)
    return [(html.unescape(name), html.unescape(value)) for name, value in found if name != "next"]


def as_form(pairs):
    made = {}
    for name, value in pairs:
        made.setdefault(name, []).append(value)
    return made


def test_a_pin_is_never_carried_along(client, clock):
    sign_in(client, "Dora", PINS["owner"])
    clock.move(hours=4)
    asked = client.post("/people", data={"do": "add", "name": "Eve", "pin": "a secret pin", "key": "k" * 16})
    assert asked.status_code == 401
    assert "Eve" in asked.text
    assert "a secret pin" not in asked.text


@pytest.mark.parametrize(
    "after", ["//evil.example", "https://evil.example", "/\\evil.example", "javascript:alert(1)", ""]
)
def test_signing_in_leads_to_our_own_pages_only(client, after):
    assert sign_in(client, next=after).headers["location"] == "/"


def test_the_first_owner_needs_the_code_of_the_terminal(sqlite_kitchen, clock):
    with open_kitchen(str(sqlite_kitchen), now=clock) as store:
        app = make_app(store, BenchSettings(hosts=hosts_for(8030), first_code="ABCD-2345"))
        with TestClient(
            app, base_url=f"http://{HOST}", headers={"origin": f"http://{HOST}"}, follow_redirects=False
        ) as client:
            assert client.get("/sign-in").headers["location"] == "/start"
            assert client.get("/").headers["location"] == "/start"  # whoever opens the address is led there
            mine = {"name": "Ada", "pin": "480213"}
            assert client.post("/start", data={**mine, "code": "WRONG"}).status_code == 403
            assert client.post("/start", data={**mine, "code": ""}).status_code == 403
            short = client.post("/start", data={**mine, "pin": "12", "code": "abcd-2345"})
            assert short.status_code == 422
            assert not accounts.has_owner(store)
            assert client.post("/start", data={**mine, "code": "abcd-2345"}).status_code == 303
            assert client.get("/people").status_code == 200
            assert client.post("/start", data={**mine, "code": "ABCD-2345"}).status_code == 409
        assert verify_record(store).rows > 0


@pytest.mark.parametrize("typed", ["abcd2345", " ABCD 2345 ", "Abcd-2345", "ABCD\u20132345", "a b c d 2 3 4 5"])
def test_the_code_is_known_however_it_is_typed(sqlite_kitchen, clock, typed):
    with open_kitchen(str(sqlite_kitchen), now=clock) as store:
        app = make_app(store, BenchSettings(hosts=hosts_for(8030), first_code="ABCD-2345"))
        ours = {"origin": f"http://{HOST}"}
        with TestClient(app, base_url=f"http://{HOST}", headers=ours, follow_redirects=False) as client:
            mine = {"name": "Ada", "pin": "480213"}
            for wrong in ("-", " ", typed.strip()[:-1], typed.strip() + "6"):
                assert client.post("/start", data={**mine, "code": wrong}).status_code == 403
            assert client.post("/start", data={**mine, "code": typed}).status_code == 303


def test_a_real_hash_is_right_for_its_pin_only(bench_store):
    bo = accounts.named(bench_store, " bo ")
    assert bo is not None
    assert accounts.pin_is_right(bench_store, bo.person, "8305")
    assert not accounts.pin_is_right(bench_store, bo.person, "8306")
    assert not accounts.pin_is_right(bench_store, None, "8305")
    assert not accounts.pin_is_right(bench_store, 999, "nobody")


@pytest.mark.parametrize(
    ("pin", "role"),
    [("123", "baker"), ("1234", "baker"), ("7777", "baker"), ("83051", "owner"), ("a" * 65, "baker"), ("", "baker")],
)
def test_poor_pins_are_refused(pin, role):
    with pytest.raises(InputError):
        accounts.hash_of(pin, role)


def test_roles_change_with_a_reason_and_one_owner_stays(bench_store):
    dora, bo = accounts.named(bench_store, "Dora"), accounts.named(bench_store, "Bo")
    with pytest.raises(InputError, match="needs a reason"):
        accounts.change_role(bench_store, bo.person, "analyst", reason=" ", by=dora.person)
    with pytest.raises(Conflict, match="One owner has to stay"):
        accounts.change_role(bench_store, dora.person, "none", reason="leaves", by=dora.person)
    accounts.change_role(bench_store, bo.person, "owner", reason="takes over", by=dora.person)
    accounts.change_role(bench_store, dora.person, "none", reason="leaves", by=bo.person)
    assert accounts.account_of(bench_store, dora.person) is None
    assert not accounts.pin_is_right(bench_store, dora.person, PINS["owner"])
    accounts.open_account(bench_store, dora.person, "baker", "5920", by=bo.person)
    assert accounts.account_of(bench_store, dora.person).role == "baker"
    verify_record(bench_store)


def test_a_change_of_role_ends_the_sessions_of_that_person(client, bench_store):
    sign_in(client)
    bo = accounts.named(bench_store, "Bo")
    accounts.change_role(bench_store, bo.person, "assessor", reason="tastes only", by=1)
    assert client.get("/").status_code == 401


def test_an_erased_person_leaves_no_hash_behind(client, bench_store):
    sign_in(client)
    bo = accounts.named(bench_store, "Bo")
    erase_person(bench_store, bo.person, reason="asked for it")
    assert client.get("/").status_code == 401
    assert not accounts.pin_is_right(bench_store, bo.person, PINS["baker"])
    verify_record(bench_store)


def test_when_the_only_owner_is_erased_another_may_begin(client, bench_store):
    dora = accounts.named(bench_store, NAMES["owner"])
    assert accounts.has_owner(bench_store)
    erase_person(bench_store, dora.person, reason="asked for it")
    assert not accounts.has_owner(bench_store)
    assert client.get("/").headers["location"] == "/start"


def test_who_finds_a_tablet_signed_in_cannot_change_the_pin(as_role, bench_store):
    """The next one at the bench would be somebody else for ever."""
    tablet = as_role("baker")
    assert 'name="old_pin"' in tablet.get("/my-pin").text
    for at, old in enumerate([{}, {"old_pin": "0000"}, {"old_pin": "0001"}]):
        answer = tablet.post("/my-pin", data={"key": f"change-pin-{at}", "pin": "7519", **old})
        assert answer.status_code == 422
        assert "not your PIN as it is now" in answer.text
        assert "7519" not in answer.text
    changed = {"key": "change-pin-right", "old_pin": PINS["baker"], "pin": "7519"}
    assert tablet.post("/my-pin", data=changed).status_code == 303
    assert tablet.get("/").status_code == 401  # signed out, on every tablet
    tablet = as_role("baker")
    answers = [
        tablet.post("/my-pin", data={"old_pin": "0000", "key": f"guess-pin-{at}"}).status_code for at in range(7)
    ]
    assert answers == [422] * 5 + [429] * 2


def test_people_are_looked_after_on_their_page(as_role, bench_store):
    tablet = as_role("owner")
    eve = {"do": "add", "name": "Eve", "role": "baker", "pin": "6412"}
    assert tablet.post("/people", data={**eve, "key": "add-eve-1"}).status_code == 303
    assert tablet.post("/people", data={**eve, "key": "add-eve-1"}).status_code == 303  # sent twice, done once
    again = tablet.post("/people", data={**eve, "key": "add-eve-2"})
    assert again.status_code == 409
    assert "has a role already" in again.text
    poor = tablet.post("/people", data={**eve, "name": "Finn", "pin": "1234", "key": "add-finn"})
    assert poor.status_code == 422
    assert 'value="Finn"' in poor.text  # what was typed stands in its field again
    assert accounts.named(bench_store, "Finn") is None
    number = accounts.named(bench_store, "Eve").person
    moved = tablet.post(
        "/people", data={"do": "role", "person": number, "role": "analyst", "reason": "plans now", "key": "move-eve"}
    )
    assert moved.status_code == 303
    assert accounts.account_of(bench_store, number).role == "analyst"


def test_no_pin_lies_in_the_hash_of_an_entry(as_role, bench_store):
    """Four digits behind a fast hash are as good as written down."""
    import hashlib

    tablet = as_role("owner")
    tablet.post("/people", data={"do": "add", "name": "Eve", "role": "baker", "pin": "6412", "key": "add-eve-1"})
    with bench_store.read() as session:
        from sqlalchemy import select

        from tracker.bench_tables import keys

        kept = session.connection().execute(select(keys.c.payload_hash)).scalars().all()
    owner = accounts.named(bench_store, "Dora").person
    told = [("path", "/people"), ("do", "add"), ("name", "Eve"), ("role", "baker")]
    without = "\x1e".join(f"{name}\x1f{value}" for name, value in sorted(told))
    assert kept == [hashlib.sha256(f"{owner}\x1d{without}".encode()).hexdigest()]
