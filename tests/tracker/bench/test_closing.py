"""Does everything somebody could come in by end when their account is closed, and nothing of anybody else's?"""

from __future__ import annotations

import json

import pytest
from fastapi.testclient import TestClient

from tracker.commands import main
from tracker.workflow.accounts import account_of, change_role, named
from tracker.workflow.ending import Ended
from tracker.workflow.people import erase_person
from tracker.workflow.recording import record_run
from tracker.workflow.tasting_passes import begin_tasting, make_cards, taster_at
from tracker.workflow.tasting_setup import WhoTastes, set_up_tasting
from tracker.workflow.verifying import verify_record

HOST = "127.0.0.1:8030"
PINS = {"assessor": "7294", "baker": "8305", "owner": "930571"}


@pytest.fixture(autouse=True)
def quick_hashes(monkeypatch):
    monkeypatch.setattr("tracker.bench.pages.signing.pin_is_right", lambda store, person, pin: pin in PINS.values())


@pytest.fixture
def signed_in(app):
    """``signed_in("Bo", pin)``: a tablet at which somebody signed in by name, so that it is known from then on."""

    def by_name(name, pin):
        tablet = TestClient(
            app, base_url=f"http://{HOST}", headers={"origin": f"http://{HOST}"}, follow_redirects=False
        )
        assert tablet.post("/sign-in", data={"name": name, "pin": pin}).status_code == 303
        return tablet

    return by_name


@pytest.fixture
def asta(bench_store):
    """The assessor, with a card for a tasting; Bo tastes too."""
    store, people = bench_store, [named(bench_store, name).person for name in ("Asta", "Bo")]
    for run in ("108", "107", "106"):
        record_run(store, "soda", run)
    who = WhoTastes(people=tuple(people))
    made = set_up_tasting(
        store, "soda", runs=("108", "107", "106"), responses=[2, 3], who=who, allergens="milk", by=1, rest_s=0, seed=5
    )
    return people[0], {card.name: card.code for card in make_cards(store, made.number, by=1)}


def knows_names(tablet):
    """A tablet that is known offers its people; strangers learn no names."""
    tablet.cookies.delete("crumbwise_person")
    return "Dora" in tablet.get("/sign-in").text


def test_sessions_tablets_and_cards_end_in_one_act(bench_store, signed_in, asta):
    person, codes = asta
    hers = [signed_in("Asta", PINS["assessor"]) for _ in range(2)]
    bos, owner = signed_in("Bo", PINS["baker"]), signed_in("Dora", PINS["owner"])
    tasting = begin_tasting(bench_store, codes["Asta"])
    assert taster_at(bench_store, tasting)
    assert [each.get("/my-pin").status_code for each in hers] == [200, 200]
    gone = {"do": "role", "person": person, "role": "none", "reason": "works elsewhere now", "key": "close-asta"}
    answer = owner.post("/people", data=gone)
    assert answer.status_code == 303
    said = owner.get(answer.headers["location"]).text
    assert "The account of Asta is closed. Ended with it: 3 sessions, 2 tablets" in said
    assert "1 tasting card." in said
    assert account_of(bench_store, person) is None
    assert begin_tasting(bench_store, codes["Asta"]) is None
    assert taster_at(bench_store, tasting) is None
    assert [each.get("/my-pin").status_code for each in hers] == [401, 401]
    assert not any(knows_names(each) for each in hers)
    assert bos.get("/").status_code == 200
    assert begin_tasting(bench_store, codes["Bo"])
    assert knows_names(bos)
    verify_record(bench_store)
    assert owner.post("/people", data=gone).status_code == 303  # sent again, done once


def test_another_role_leaves_the_tablet_and_the_card(bench_store, signed_in, asta):
    person, codes = asta
    tablet = signed_in("Asta", PINS["assessor"])
    assert change_role(bench_store, person, "baker", reason="bakes now", by=1) is None
    assert tablet.get("/my-pin").status_code == 401
    assert begin_tasting(bench_store, codes["Asta"])
    assert knows_names(tablet)


def test_an_erasure_says_what_went_with_the_name(bench_store, signed_in, asta):
    person, codes = asta
    tablet = signed_in("Asta", PINS["assessor"])
    erased = erase_person(bench_store, person, reason="asked for it")
    assert erased.ended == Ended(sessions=1, tablets=1, cards=1)
    assert "1 session, 1 tablet" in erased.words()
    assert begin_tasting(bench_store, codes["Asta"]) is None
    assert not knows_names(tablet)


def test_an_account_with_nothing_open_says_so(bench_store):
    ended = change_role(bench_store, named(bench_store, "Bo").person, "none", reason="left", by=1)
    assert ended is not None
    assert ended.words() == "No session, tablet or tasting card of theirs was open."


def test_what_was_over_before_is_not_counted(bench_store, signed_in, clock):
    signed_in("Bo", PINS["baker"])
    clock.move(hours=17)
    assert change_role(bench_store, named(bench_store, "Bo").person, "none", reason="left", by=1) == Ended(tablets=1)


@pytest.mark.parametrize(
    "address", ["closed=x", "closed=99", "closed=2&sessions=-1&cards=9999999999999", "closed=2&cards=x"]
)
def test_an_address_that_was_made_up_says_nothing_wrong(as_role, address):
    answer = as_role("owner").get(f"/people?{address}")
    assert answer.status_code == 200


def test_the_command_closes_and_says_so(bench_store, capsys):
    person = named(bench_store, "Bo").person
    place = ["--kitchen", str(bench_store.place.path)]
    assert main(["records", "people", "close", str(person), "--reason", "left", "--json", *place]) == 0
    assert json.loads(capsys.readouterr().out)["ended"] == {"sessions": 0, "tablets": 0, "cards": 0}
    assert account_of(bench_store, person) is None
    assert main(["records", "people", "close", "99", "--reason", "left", *place]) == 4
    owner = named(bench_store, "Dora").person
    assert main(["records", "people", "close", str(owner), "--reason", "left", *place]) == 5
    assert "One owner has to stay" in capsys.readouterr().err
