"""Is everything of a run recorded from its page, once, as it was meant, and can it be undone?"""

from __future__ import annotations

import random
import re
import threading
from urllib.parse import quote

import pytest

from tracker.frames import trial_tables
from tracker.models import BakeMoment, Outcome, Piece, Reading, TasteNote
from tracker.workflow.recording import record_run
from tracker.workflow.run_view import run_view
from tracker.workflow.sheets import run_link
from tracker.workflow.trials import show_trial
from tracker.workflow.verifying import verify_record

RUN = "/run/soda/108"


@pytest.fixture
def baker(as_role):
    return as_role("baker")


@pytest.fixture
def enter(baker, key):
    """Post one entry; a key of its own unless one is given."""

    def post(do="reading", **fields):
        return baker.post(
            fields.pop("to", RUN), data={"do": do, "key": key(), **fields}, headers=fields.pop("headers", {})
        )

    return post


def rise(value, **more):
    return {"response": "rise height", "value": value, "repeat": "1", "place": "r1-0-1", **more}


def rows(store, table):
    with store.read() as session:
        from sqlmodel import select

        return list(session.exec(select(table).order_by(table.id)))


def test_each_button_names_its_reading_once(baker):
    shown = baker.get("/run/soda/104").text
    assert 'Save<span class="unseen"> rise height</span>' in shown
    assert "rise height, rise height" not in shown
    assert re.search(r'<legend>Piece 2<span class="unseen">, crumb score</span>', shown)


def test_the_code_on_the_sheet_leads_here(baker):
    assert run_link("soda", "108", "http://127.0.0.1:8030").removeprefix("http://127.0.0.1:8030") == RUN
    page = baker.get(RUN).text
    assert "Bake 1 of 8" in page
    assert "4 readings are still to be taken" in page  # rise height, two scores, split crust
    found = baker.get("/run?code=108")
    assert (found.status_code, found.headers["location"]) == (303, RUN)
    assert baker.get("/run?code=999").status_code == 404
    assert baker.get("/run/soda/999").status_code == 404
    assert baker.get("/run/sodas/108").status_code == 404


@pytest.mark.parametrize(("typed", "kept"), [("42.5", 42.5), ("42,5", 42.5), (" 42 ", 42.0), ("42.5 mm", 42.5)])
def test_a_reading_is_kept_with_comma_or_point(enter, bench_store, typed, kept):
    answer = enter(**rise(typed))
    assert answer.status_code == 303
    assert answer.headers["location"] == f"{RUN}?saved=05%3A00#r1-0-1"
    (reading,) = rows(bench_store, Reading)
    assert (reading.value, reading.person_id) == (kept, 3)  # Bo


@pytest.mark.parametrize("typed", ["", "abc", "1,234", "401", "-1", "nan", "1e999", "4" * 400, "=1+1", "<41"])
def test_what_cannot_have_been_measured_is_refused_and_stands_in_its_field(enter, bench_store, typed):
    answer = enter(**rise(typed))
    assert answer.status_code in (400, 422)
    assert rows(bench_store, Reading) == []
    if answer.status_code == 422:
        assert 'aria-invalid="true"' in answer.text
        body = re.sub(r'value="[^"]*"', "", answer.text.partition("<main")[2])  # keys are drawn by chance
        assert "--" not in body.replace("<!--", "")


def test_an_unlikely_value_is_saved_with_a_reason(enter, bench_store):
    asked = enter(**rise("9,5"))
    assert asked.status_code == 422
    assert "unlikely" in asked.text
    assert 'value="9,5"' in asked.text
    assert "Why it is so all the same" in asked.text
    assert enter(**rise("9,5", reason="the tin was too wide")).status_code == 303
    (reading,) = rows(bench_store, Reading)
    assert (reading.value, reading.implausible, reading.reason) == (9.5, True, "the tin was too wide")


def test_a_score_is_a_tap_on_its_words(baker, enter, bench_store):
    page = baker.get(RUN).text
    for at, word in enumerate(["gummy", "coarse", "fair", "fine", "fine and even"], start=1):
        assert f'value="{at}"><b>{at}</b> <span>{word}</span>' in page
    for piece in ("1", "2"):
        assert (
            enter(response="crumb score", value="4", repeat="1", piece=piece, place=f"r2-{piece}-1").status_code == 303
        )
    assert enter(response="split crust", value="yes", repeat="1", place="r3-0-1").status_code == 303
    assert [reading.value for reading in rows(bench_store, Reading)] == [4, 4, 1]
    assert "4, fine" in baker.get(RUN).text


def test_what_another_tablet_recorded_is_shown_beside_ones_own(enter, bench_store):
    enter(**rise("42"))
    answer = enter(**rise("44"))
    assert answer.status_code == 409
    assert "recorded already: 42 mm" in answer.text
    assert 'value="44"' in answer.text
    assert enter(**rise("44", correct="yes", reason="read again")).status_code == 303
    assert [(row.value, row.replaces_id) for row in rows(bench_store, Reading)] == [(42, None), (44, 1)]


def test_who_entered_the_other_value_and_when_is_said_to_bakers_only(enter, as_role, bench_store, clock, key):
    enter(**rise("42"))
    again = {"do": "reading", **rise("44")}
    refused = as_role("owner").post(RUN, data={"key": key(), **again})
    assert "recorded already: 42 mm. Entered by Bo at 05:00." in refused.text
    clock.move(days=1)
    asked = {"headers": {"accept": "application/json"}}
    told = as_role("analyst").post(RUN, data={"key": key(), **again}, **asked).json()
    assert told["error"].endswith("42 mm. Entered by Bo on 2026-11-26 at 05:00.")
    piece = {"response": "crumb score", "piece": "2", "repeat": "1", "place": "r2-2-1", "do": "reading"}
    assert as_role("owner").post(RUN, data={"key": key(), "value": "3", **piece}).status_code == 303
    other = as_role("baker").post(RUN, data={"key": key(), "value": "4", **piece})
    assert "Entered by Dora at 05:00." in other.text
    for role in ("assessor", "taster"):
        tablet = as_role(role).post(RUN, data={"key": key(), **again})
        assert tablet.status_code in (401, 403)
        assert "Entered by" not in tablet.text


def test_a_script_is_told_the_same(enter):
    asked = {"headers": {"accept": "application/json"}}
    assert enter(**rise("42"), **asked).json() == {"saved": "05:00", "again": False, "next": f"{RUN}#r1-0-1"}
    refused = enter(**rise("44"), **asked)
    assert refused.status_code == 409
    assert refused.json()["stands"] is True
    assert enter(**rise("9"), **asked).status_code == 422


def test_an_entry_of_somebody_else_is_not_taken(enter, bench_store):
    assert enter(**rise("42", by="2")).status_code == 403
    assert enter(**rise("42", by="3")).status_code == 303
    assert len(rows(bench_store, Reading)) == 1


def test_one_key_records_once_and_never_something_else(enter, bench_store):
    same = {"key": "k" * 20}
    assert enter(**rise("42"), **same).status_code == 303
    assert enter(**rise("42"), **same).status_code == 303
    assert enter(**rise("42", sent="123"), **same).status_code == 303  # when it was sent is no part of it
    other = enter(**rise("43"), **same)
    assert other.status_code == 422
    assert "with something else in it" in other.text
    assert len(rows(bench_store, Reading)) == 1


@pytest.mark.parametrize("sent", ["", "short", "k" * 81])
def test_an_entry_without_a_key_is_refused(enter, bench_store, sent):
    assert enter(**rise("42"), key=sent).status_code == 422
    assert rows(bench_store, Reading) == []


def test_a_refused_entry_leaves_its_key_free(enter, bench_store):
    same = {"key": "k" * 20}
    assert enter(**rise("9"), **same).status_code == 422
    assert enter(**rise("9", reason="so it is"), **same).status_code == 303


def test_dropped_doubled_and_reordered_posts_end_exactly_once(as_role, bench_store):
    """20 tablets; each entry goes out up to four times, in any order, some answers are never read."""
    chance = random.Random(7)
    posts = []
    for tablet in range(20):
        code = 101 + tablet % 8
        words = f"tablet {tablet}"
        data = {"do": "note", "place": "note", "words": words, "key": f"tablet-{tablet:02}-note"}
        posts += [(f"/run/soda/{code}", data)] * chance.randint(1, 4)
    chance.shuffle(posts)
    shares = [posts[start::5] for start in range(5)]
    tablets = [as_role("baker") for _ in shares]
    seen: list[int] = []

    def send(tablet, share):
        for to, data in share:
            seen.append(tablet.post(to, data=data).status_code)

    threads = [threading.Thread(target=send, args=pair) for pair in zip(tablets, shares, strict=True)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert set(seen) == {303}
    assert len(seen) == len(posts) > 30
    assert sorted(note.words for note in rows(bench_store, TasteNote)) == sorted(f"tablet {at}" for at in range(20))
    verify_record(bench_store)


def test_times_are_kept_and_a_tablets_wait_is_taken_off(enter, baker, bench_store, clock):
    assert enter("moment", what="begun", place="times").status_code == 303
    clock.move(minutes=20)
    # Pressed at 1,000 s and sent at 1,090 s by a clock that may be years off: 90 s ago.
    enter("moment", what="in the oven", place="times", pressed="1000000", sent="1090000")
    assert enter("moment", what="out of the oven", place="times", moment="5:55").status_code == 422  # not come yet
    clock.move(minutes=40)
    enter("moment", what="out of the oven", place="times", moment="5:55")
    assert {row.what: row.moment for row in rows(bench_store, BakeMoment)} == {
        "begun": "2026-11-26T05:00:00Z",
        "in the oven": "2026-11-26T05:18:30Z",
        "out of the oven": "2026-11-26T05:55:00Z",
    }
    assert enter("moment", what="begun", place="times").status_code == 409
    changed = enter("moment", what="begun", place="times", moment="4:58", reason="pressed late")
    assert changed.status_code == 303
    assert run_view(bench_store, "soda", "108").moments["begun"] == "2026-11-26T04:58:00Z"


@pytest.mark.parametrize("pressed", ["x", "1e400", "nan", "-1"])
def test_a_clock_that_cannot_be_is_refused(enter, bench_store, pressed):
    answer = enter("moment", what="begun", place="times", pressed=pressed, sent="99999999999999")
    assert answer.status_code in (303, 422)
    assert answer.status_code == 422 or rows(bench_store, BakeMoment)[0].moment == "2026-11-26T05:00:00Z"


@pytest.mark.parametrize(("pressed", "sent"), [("nan", "1"), ("1", "nan"), ("-inf", "1"), ("1", "inf"), ("1", "1e308")])
def test_a_time_that_is_no_number_records_nothing(enter, bench_store, pressed, sent):
    assert enter("moment", what="begun", place="times", pressed=pressed, sent=sent).status_code == 422
    assert rows(bench_store, BakeMoment) == []


@pytest.mark.parametrize("which", [{"piece": "0"}, {"piece": "10001"}, {"piece": "999999999"}, {"repeat": "999999999"}])
def test_a_piece_that_cannot_be_is_refused(enter, bench_store, which):
    """A slip of the finger would stand beside the others as one more piece."""
    reading = enter("reading", response="rise height", value="42", place="x", **which)
    assert reading.status_code in (400, 422)
    note = enter("note", words="soapy", place="notes", **which)
    assert note.status_code == (422 if "piece" in which else 303)
    assert rows(bench_store, Reading) == rows(bench_store, Piece) == []


def test_how_the_bake_went(enter, bench_store):
    gone = {"place": "outcome", "state": "done", "deviations": "door left open", "oven": "187,5"}
    assert enter("outcome", **gone).status_code == 303
    (outcome,) = rows(bench_store, Outcome)
    assert (outcome.state, outcome.deviations, outcome.oven_temperature_c) == ("done", "door left open", 187.5)
    failed = enter("outcome", place="outcome", state="failed", deviations="dropped")
    assert failed.status_code == 422
    assert "dropped" in failed.text  # what was typed stands there again
    assert enter("outcome", place="outcome", state="failed", reason="dropped it").status_code == 303
    assert run_view(bench_store, "soda", "108").state == "failed"


def test_every_entry_can_be_undone_by_a_new_one(enter, bench_store):
    enter(**rise("42"))
    enter(**rise("44", correct="yes", reason="read again"))
    enter("note", words="soapy", tag=["soapy"], place="note")
    enter("moment", what="begun", place="times")
    enter("outcome", place="outcome", state="failed", reason="dropped it", deviations="on the floor")
    seen = 0
    while True:
        left = [line for line in run_view(bench_store, "soda", "108").entries if line.can_undo]
        if not left:
            break
        seen += 1
        assert enter("undo", table=left[0].table, number=str(left[0].number), place="history").status_code == 303
        assert seen < 20
    assert seen >= 4
    view = run_view(bench_store, "soda", "108")
    assert view.moments == {}
    assert view.state == "done"
    assert [cell.stands for cell in view.responses[0].cells] == ["42 mm"]  # the correction was undone
    assert [row.value for row in rows(bench_store, Reading)] == [42, 44, 42]
    assert [row.void for row in rows(bench_store, TasteNote)] == [False, True]
    verify_record(bench_store)


def test_an_entry_is_undone_once_and_only_while_nothing_came_after(enter, bench_store):
    enter(**rise("42"))
    undo = {"table": "reading", "number": "1", "place": "history"}
    enter(**rise("44", correct="yes", reason="read again"))
    assert enter("undo", **undo).status_code == 409
    assert enter("undo", **{**undo, "number": "2"}).status_code == 303
    assert enter("undo", **{**undo, "number": "3"}).status_code == 409
    for wrong in ("99", "", "x", "-1"):
        assert enter("undo", **{**undo, "number": wrong}).status_code in (404, 422)
    assert enter("undo", **undo, to="/run/soda/107").status_code == 404  # of another run
    assert enter("undo", **{**undo, "table": "audit_entry"}).status_code == 404


def test_what_was_recorded_here_is_what_the_trial_holds(enter, bench_store):
    enter(**rise("42.5"))
    table = trial_tables(bench_store, "soda").tables["rise height"]
    assert table["rise height"].tolist() == [42.5]


def test_a_closed_trial_can_be_read_only(enter, baker, bench_store):
    from tracker.workflow.trials import close_trial

    close_trial(bench_store, "soda", reason="done")
    assert "takes no more entries" in baker.get(RUN).text
    assert '<button class="primary' not in baker.get(RUN).text
    assert enter(**rise("42")).status_code == 409
    assert enter("moment", what="begun", place="times").status_code == 409


def test_today_shows_what_is_next_and_what_waits(enter, baker, clock):
    page = baker.get("/").text
    assert page.index(">108<") < page.index(">107<") < page.index(">103<")
    assert "and 2 more after these" in page
    enter("moment", what="in the oven", place="times")
    page = baker.get("/").text
    assert "In the oven" in page
    assert "since <time" in page
    enter("moment", what="out of the oven", place="times")
    assert "lacks rise height, crumb score, split crust" in baker.get("/").text
    enter(**rise("42"))
    assert "lacks crumb score, split crust" in baker.get("/").text


def test_names_with_every_sign_find_their_run(baker, bench_store):
    odd = 'a/b?c#d%e "f" <g> é'
    with bench_store.write(person=1, action="plan") as deed:
        from tracker.models import Run, Trial, TrialState

        trial = deed.add(Trial(name=odd, title=odd, made_at=deed.at))
        deed.add(TrialState(trial_id=trial.id, state="planned", at=deed.at, person_id=1))
        deed.add(Run(trial_id=trial.id, place_in_design=1, bake_order=1, code="900", settings="{}"))
    link = baker.get("/run?code=900").headers["location"]
    assert link == f"/run/{quote(odd)}/900"
    assert baker.get(link).status_code == 200
    assert link in baker.get("/").text


def test_today_leads_from_a_trial_that_is_done_to_its_results(bench_store, as_role):
    for run in show_trial(bench_store, "soda").to_json()["runs"]:
        record_run(bench_store, "soda", run["code"], outcome="failed", reason="the oven went out")
    assert 'href="/results?trial=soda"' in as_role("analyst").get("/").text
    baker = as_role("baker").get("/").text
    assert "Baked and read" in baker
    assert "/results" not in baker
