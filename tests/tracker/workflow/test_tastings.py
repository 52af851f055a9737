"""Is a blind tasting set up fairly, answered once, and closed for good?"""

from __future__ import annotations

import json
from collections import Counter
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from sqlmodel import select

from analysis.errors import PlanError
from tracker.bench_tables import Account
from tracker.errors import Conflict, InputError, NotFound
from tracker.fingerprints import audit_head
from tracker.models import (
    AuditEntry,
    PersonDetails,
    Reading,
    Run,
    TasteNote,
    Tasting,
    TastingAnswer,
    TastingConsent,
    TastingSample,
)
from tracker.taste_tables import passes, tasters
from tracker.workflow.people import add_person, erase_person
from tracker.workflow.recording import record_run
from tracker.workflow.tasting_answers import AnsweredAlready, Clash, Said, agree, answer
from tracker.workflow.tasting_choices import choices, trials_to_taste
from tracker.workflow.tasting_passes import SIGNS, begin_tasting, end_tasting, make_cards, taster_at
from tracker.workflow.tasting_samples import next_sample, open_seat
from tracker.workflow.tasting_setup import WhoTastes, add_assessors, set_up_tasting
from tracker.workflow.tastings import close_tasting, serving_sheet, still_open, tasting_view
from tracker.workflow.verifying import verify_record

RUNS = ("108", "107", "106", "105")


def rows(store, table):
    with store.read() as session:
        return list(session.exec(select(table).order_by(table.id)))


@pytest.fixture
def kitchen(soda_anywhere):
    for run in RUNS:
        record_run(soda_anywhere, "soda", run, person=1)
    return soda_anywhere


def set_up(store, **more):
    asked = {"runs": RUNS, "responses": [2, 3], "who": WhoTastes(nameless=4), "allergens": "milk, cereals with gluten"}
    return set_up_tasting(store, "soda", **{**asked, "by": 1, "seed": 11, **more}).number


def people_of(store, number):
    return [each.person for each in tasting_view(store, number).people]


def taste(store, number, person, code=None, score="4", **more):
    code = code or next_sample(store, number, person).code
    answer(store, number, person, code, Said(values={1: score, 2: "no"}, **more))
    return code


def test_everybody_gets_every_bake_once_under_codes_of_their_own(kitchen):
    number = set_up(kitchen)
    samples = rows(kitchen, TastingSample)
    assert len(samples) == 16
    by_person = {person: [row for row in samples if row.person_id == person] for person in people_of(kitchen, number)}
    for own in by_person.values():
        assert [row.place for row in own] == [1, 2, 3, 4]
        assert len({row.bake_id for row in own}) == 4
    assert len({row.code for row in samples}) == 16  # no cup can be taken for another's
    assert not {row.code for row in samples} & {run.code for run in rows(kitchen, Run)}
    assert set(Counter((row.place, row.bake_id) for row in samples).values()) == {1}  # four and four: a Latin square
    pairs = [pair for own in by_person.values() for pair in pairwise(own)]
    even = tasting_view(kitchen, number).even
    assert (even.places, even.after) == ((1, 1), (1, 1))
    assert set(Counter((one.bake_id, other.bake_id) for one, other in pairs).values()) == {1}  # and a Williams square


def test_who_comes_later_continues_the_orders(kitchen):
    together = set_up(kitchen, who=WhoTastes(nameless=6))
    number = set_up(kitchen, who=WhoTastes(nameless=4))
    assert add_assessors(kitchen, number, WhoTastes(nameless=2), by=1) == 2
    assert add_assessors(kitchen, number, WhoTastes(people=people_of(kitchen, number)[:1]), by=1) == 0

    def orders(of):
        listed = rows(kitchen, TastingSample)
        return [
            [row.bake_id for row in listed if row.tasting_id == of and row.person_id == person]
            for person in people_of(kitchen, of)
        ]

    assert orders(number) == orders(together)


def test_what_is_offered(kitchen):
    assert [each[::2] for each in trials_to_taste(kitchen)] == [("soda", 4)]
    found = choices(kitchen, "soda")
    assert [bake.code for bake in found.bakes] == list(RUNS)
    assert "soda 2 % flour" in found.bakes[0].settings
    assert [name for _, name in found.responses] == ["crumb score", "split crust"]  # what is measured is not tasted
    assert found.allergens == "milk"  # yogurt is a level
    record_run(kitchen, "soda", "104", outcome="failed", reason="fell")
    assert [bake.code for bake in choices(kitchen, "soda").bakes] == list(RUNS)


@pytest.mark.parametrize(
    ("wrong", "error", "words"),
    [
        ({"runs": ("101", "108")}, InputError, "is not done"),
        ({"runs": ("108",)}, PlanError, "1 sample cannot"),
        ({"responses": []}, InputError, "at least one thing"),
        ({"responses": [1]}, InputError, "at least one thing"),
        ({"allergens": " "}, InputError, "what is in it"),
        ({"who": WhoTastes()}, InputError, "Nobody tastes"),
        ({"who": WhoTastes(people=[1])}, InputError, "cannot taste"),
        ({"who": WhoTastes(people=[99])}, NotFound, "no such person"),
        ({"who": WhoTastes(nameless=61)}, InputError, "at most 60"),
        ({"who": WhoTastes(names=["x" * 81])}, InputError, "at most 80"),
        ({"who": WhoTastes(names=["a\x00b"])}, InputError, "to be seen"),
        ({"words": "a\x00b"}, InputError, "NUL"),
        ({"rest_s": 3601}, InputError, "an hour"),
        ({"words": "x" * 2001}, InputError, "at most 2000"),
    ],
)
def test_what_is_no_tasting_is_refused_whole(kitchen, wrong, error, words):
    before = audit_head(kitchen)
    with pytest.raises(error, match=words):
        set_up(kitchen, **wrong)
    assert audit_head(kitchen) == before


def test_answers_are_readings_and_lock_their_sample(kitchen):
    number = set_up(kitchen)
    person = people_of(kitchen, number)[0]
    with pytest.raises(Conflict, match="not agreed"):
        taste(kitchen, number, person, code=rows(kitchen, TastingSample)[0].code)
    agree(kitchen, number, person, agrees=True, eats_all=True)
    first = taste(kitchen, number, person, words="soapy", tags=("sour", " sour "))
    sample, *_ = rows(kitchen, TastingSample)
    score, crust = rows(kitchen, Reading)
    assert (score.bake_id, score.person_id, score.value, score.response) == (sample.bake_id, person, 4, "crumb score")
    assert (crust.value, crust.repeat, crust.piece_id) == (0, 1, None)
    (note,) = rows(kitchen, TasteNote)
    assert (note.words, json.loads(note.tags), note.person_id) == ("soapy", ["sour"], person)
    (kept,) = rows(kitchen, TastingAnswer)
    assert json.loads(kept.readings) == [[2, score.repeat], [3, crust.repeat]]
    now = next_sample(kitchen, number, person)
    assert now.done == 1
    assert now.code != first
    before = audit_head(kitchen)
    with pytest.raises(AnsweredAlready, match="first answer stands"):
        taste(kitchen, number, person, code=first, score="1")
    for later in rows(kitchen, TastingSample)[2:4]:
        with pytest.raises(Conflict, match="not the next one"):
            taste(kitchen, number, person, code=later.code)
    for strange in ("000", "", rows(kitchen, TastingSample)[5].code):
        with pytest.raises(NotFound):
            answer(kitchen, number, person, strange, Said(values={1: "4", 2: "no"}))
    for values in ({}, {1: "4"}, {1: "9", 2: "no"}, {1: "much", 2: "no"}, {1: "4", 2: "perhaps"}):
        with pytest.raises(InputError):
            answer(kitchen, number, person, now.code, Said(values=values))
    with pytest.raises(InputError, match="at most 4000"):
        taste(kitchen, number, person, words="x" * 4001)
    assert audit_head(kitchen) == before


def test_two_assessors_are_told_apart_and_the_analysis_reads_them(kitchen):
    from tracker.frames import trial_tables

    number = set_up(kitchen, who=WhoTastes(nameless=2))
    for at, person in enumerate(people_of(kitchen, number)):
        agree(kitchen, number, person, agrees=True, eats_all=True)
        for _ in RUNS:
            taste(kitchen, number, person, score=str(3 + at))
        assert next_sample(kitchen, number, person).finished
    tables = trial_tables(kitchen, "soda")
    scores = tables.assessed[tables.assessed["response"] == "crumb score"]
    assert sorted(scores.groupby("person")["score"].mean()) == [3, 4]
    assert sorted(scores["bake"].unique()) == sorted(RUNS)
    assert list(tables.tables["crumb score"]["repeat"].value_counts()) == [4, 4]


def test_the_history_of_the_trial_tells_of_its_tastings(kitchen):
    from tracker.workflow.history import history

    number = set_up(kitchen, who=WhoTastes(nameless=1))
    (person,) = people_of(kitchen, number)
    agree(kitchen, number, person, agrees=True, eats_all=True)
    taste(kitchen, number, person)
    told = Counter(entry.table for entry in history(kitchen, trial="soda"))
    parts = {name: told[name] for name in told if name.startswith("tasting")}
    assert parts == {
        "tasting": 1,
        "tasting_state": 1,
        "tasting_sample": 4,
        "tasting_consent": 1,
        "tasting_answer": 1,
    }


def test_a_sample_may_be_left_out(kitchen):
    number = set_up(kitchen)
    person = people_of(kitchen, number)[0]
    agree(kitchen, number, person, agrees=True, eats_all=True)
    answer(kitchen, number, person, next_sample(kitchen, number, person).code, Said(values={}, tasted=False))
    assert rows(kitchen, Reading) == []
    assert [row.tasted for row in rows(kitchen, TastingAnswer)] == [False]
    assert next_sample(kitchen, number, person).done == 1


def test_between_two_samples_lies_a_rest(kitchen):
    moment = datetime(2026, 11, 26, 9, tzinfo=UTC)
    kitchen.now = lambda: moment
    number = set_up(kitchen, rest_s=60)
    person = people_of(kitchen, number)[0]
    agree(kitchen, number, person, agrees=True, eats_all=True)
    assert next_sample(kitchen, number, person).rest_until == ""
    taste(kitchen, number, person)
    moment += timedelta(seconds=20)
    now = next_sample(kitchen, number, person)
    assert (now.rest_until[:19], now.rest_left_s) == ("2026-11-26T09:01:00", 40)
    moment += timedelta(seconds=40)
    assert next_sample(kitchen, number, person).rest_until == ""


def test_consent_is_kept_and_a_clash_is_not(kitchen):
    person = add_person(kitchen, "Nell", allergens="lactose").number
    other = add_person(kitchen, "Ole", allergens="nuts").number
    number = set_up(kitchen, who=WhoTastes(people=[person, other]))
    before = audit_head(kitchen)
    for ticks in ((True, False), (False, True), (False, False)):
        with pytest.raises(InputError, match="Both"):
            agree(kitchen, number, person, agrees=ticks[0], eats_all=ticks[1])
    with pytest.raises(Clash, match="must not eat"):
        agree(kitchen, number, person, agrees=True, eats_all=True)
    assert audit_head(kitchen) == before
    for _ in range(2):  # agreed once
        agree(kitchen, number, other, agrees=True, eats_all=True)
    (kept,) = rows(kitchen, TastingConsent)
    assert kept.person_id == other
    assert "check for allergens was made and passed" in kept.words
    with kitchen.read() as session:  # what somebody cannot eat is nowhere in the chain
        told = " ".join(f"{entry.new} {entry.reason}" for entry in session.exec(select(AuditEntry)))
    assert "lactose" not in told
    assert "nuts" not in told


def test_a_closed_tasting_takes_nothing_and_lets_nobody_in(kitchen):
    number = set_up(kitchen)
    person, other, *_ = people_of(kitchen, number)
    (card, *_) = make_cards(kitchen, number, by=1)
    secret = begin_tasting(kitchen, card.code)
    agree(kitchen, number, person, agrees=True, eats_all=True)
    code = taste(kitchen, number, person)
    assert still_open(kitchen, "soda")
    with pytest.raises(InputError, match="reason"):
        close_tasting(kitchen, number, reason=" ", by=1)
    close_tasting(kitchen, number, reason="time is up", by=1)
    assert not still_open(kitchen, "soda")
    assert taster_at(kitchen, secret or "") is not None  # is told that it is over
    assert begin_tasting(kitchen, card.code) is None
    now = next_sample(kitchen, number, person)
    assert (now.open, now.code) == (False, "")
    for deed in (
        lambda: taste(kitchen, number, person, code=code),
        lambda: agree(kitchen, number, other, agrees=True, eats_all=True),
        lambda: close_tasting(kitchen, number, reason="again", by=1),
        lambda: make_cards(kitchen, number, by=1),
        lambda: add_assessors(kitchen, number, WhoTastes(nameless=1), by=1),
    ):
        with pytest.raises(Conflict, match="closed"):
            deed()
    view = tasting_view(kitchen, number)
    assert (view.reason, view.even) == ("time is up", None)  # nobody tasted all


def test_a_closed_trial_takes_no_answers_and_its_name_is_not_told(kitchen):
    number = set_up(kitchen)
    person = people_of(kitchen, number)[0]
    agree(kitchen, number, person, agrees=True, eats_all=True)
    code = next_sample(kitchen, number, person).code
    _close(kitchen)
    assert not next_sample(kitchen, number, person).open
    with pytest.raises(Conflict, match="This tasting is closed") as told:
        taste(kitchen, number, person, code=code)
    assert "soda" not in str(told.value)


def _close(store):
    from tracker.models import TrialState

    with store.write(person=1, action="close trial") as deed:
        deed.add(TrialState(trial_id=1, state="closed", at=deed.at, person_id=1))


def test_who_serves_sees_which_is_which_and_who_tastes_does_not(kitchen):
    baker = add_person(kitchen, "Bo").number
    number = set_up(kitchen, who=WhoTastes(people=[baker], nameless=1))
    sheet = serving_sheet(kitchen, number, person=1)
    assert [(row.person, row.place) for row in sheet][:4] == [(baker, 1), (baker, 2), (baker, 3), (baker, 4)]
    runs = {run.id: run.code for run in rows(kitchen, Run)}
    assert {row.run for row in sheet} == set(RUNS) <= set(runs.values())
    assert all("acid source" in row.settings for row in sheet)
    with pytest.raises(Conflict, match="You taste here"):
        serving_sheet(kitchen, number, person=baker)
    close_tasting(kitchen, number, reason="done", by=1)
    assert serving_sheet(kitchen, number, person=baker) == sheet


def test_a_code_opens_one_tasting_until_its_time_is_over(kitchen):
    moment = datetime(2026, 11, 26, 9, tzinfo=UTC)
    kitchen.now = lambda: moment
    number = set_up(kitchen)
    cards = make_cards(kitchen, number, by=1)
    assert len({card.code for card in cards}) == 4
    assert all(set(card.code) <= {*SIGNS, "-"} for card in cards)
    assert not set("0O1IL2Z5S8B") & set(SIGNS)
    secret = begin_tasting(kitchen, f" {cards[0].code.lower().replace('-', ' ')} ")
    who = taster_at(kitchen, secret or "")
    assert who is not None
    assert (who.person, who.tasting, who.role) == (cards[0].person, number, "taster")
    assert not who.may("assessor")
    with pytest.raises(NotFound, match="does not taste"):
        make_cards(kitchen, number, by=1, person=1)
    for wrong in ("", "AAAA-AAAA", cards[0].code[:-1], "x" * 5000, cards[0].code + "A"):
        assert begin_tasting(kitchen, wrong) is None
    (fresh,) = make_cards(kitchen, number, by=1, person=cards[0].person)
    assert begin_tasting(kitchen, cards[0].code) is None  # replaced
    assert begin_tasting(kitchen, cards[1].code) is not None  # the others stay
    end_tasting(kitchen, secret or "")
    assert taster_at(kitchen, secret or "") is None
    late = begin_tasting(kitchen, fresh.code) or ""
    moment += timedelta(hours=2)
    assert taster_at(kitchen, late) is not None
    moment += timedelta(hours=4)
    assert taster_at(kitchen, late) is None  # nobody stood there
    moment += timedelta(hours=7)
    assert begin_tasting(kitchen, fresh.code) is None
    with kitchen.read() as session:
        kept = str([session.connection().execute(table.select()).all() for table in (passes, tasters)])
    assert fresh.code.replace("-", "") not in kept
    assert late not in kept


def test_an_assessor_with_a_pin_finds_the_open_tasting(kitchen):
    person = add_person(kitchen, "Asta").number
    assert open_seat(kitchen, person) is None
    number = set_up(kitchen, who=WhoTastes(people=[person]))
    later = set_up(kitchen, who=WhoTastes(people=[person]))
    assert open_seat(kitchen, person) == later
    close_tasting(kitchen, later, reason="done", by=1)
    assert open_seat(kitchen, person) == number
    with pytest.raises(NotFound, match="do not taste here"):
        next_sample(kitchen, number, 1)


def test_names_are_erasable_and_answers_stay(kitchen):
    number = set_up(kitchen, who=WhoTastes(names=["Nell ", "Nell", "Ole"]))
    person, other = people_of(kitchen, number)
    assert [each.name for each in tasting_view(kitchen, number).people] == ["Nell", "Ole"]
    cards = make_cards(kitchen, number, by=1)
    secrets = [begin_tasting(kitchen, card.code) or "" for card in cards]
    agree(kitchen, number, person, agrees=True, eats_all=True)
    taste(kitchen, number, person)
    erase_person(kitchen, person, reason="asked for it")
    assert taster_at(kitchen, secrets[0]) is None
    assert begin_tasting(kitchen, cards[0].code) is None
    assert taster_at(kitchen, secrets[1]) is not None
    assert [each.name for each in tasting_view(kitchen, number).people] == [f"assessor {person}", "Ole"]
    assert [row.person_id for row in rows(kitchen, Reading)] == [person, person]
    assert verify_record(kitchen).rows > 0
    with kitchen.read() as session:
        assert session.get(PersonDetails, person) is None
        assert session.exec(select(Account)).all() == []  # a seat is no role
        assert len(session.exec(select(Tasting)).all()) == 1
    assert other in people_of(kitchen, number)


def test_tastings_travel_with_their_trial(kitchen, tmp_path):
    from tracker.store import open_kitchen
    from tracker.workflow.bundling import bundle_trial
    from tracker.workflow.unpacking import unpack_trial

    number = set_up(kitchen, who=WhoTastes(names=["Nell"]))
    (person,) = people_of(kitchen, number)
    agree(kitchen, number, person, agrees=True, eats_all=True)
    for _ in RUNS:
        taste(kitchen, number, person)
    close_tasting(kitchen, number, reason="done", by=1)
    path = bundle_trial(kitchen, "soda", tmp_path / "soda.zip")
    with open_kitchen(str(tmp_path / "other.db"), create=True) as other:
        for name in ("Ole", "Pia"):  # numbers there are others
            add_person(other, name)
        unpack_trial(other, path)
        view = tasting_view(other, 1)
        assert (view.line.open, view.reason, view.responses) == (False, "done", ("crumb score", "split crust"))
        assert [(each.name, each.done) for each in view.people] == [(f"assessor {view.people[0].person}", 4)]
        there, here = serving_sheet(kitchen, number, person=1), serving_sheet(other, 1, person=1)
        assert [(row.place, row.code, row.run) for row in there] == [(row.place, row.code, row.run) for row in here]
        by_number = {row.id: row for row in rows(other, TastingSample)}
        for kept in rows(other, TastingAnswer):
            for place, repeat in json.loads(kept.readings):
                (found,) = [
                    row
                    for row in rows(other, Reading)
                    if (row.bake_id, row.repeat, row.response)
                    == (by_number[kept.sample_id].bake_id, repeat, {2: "crumb score", 3: "split crust"}[place])
                ]
                assert found.person_id == view.people[0].person
