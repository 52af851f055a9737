"""Is a run kept whole, once, and never overwritten?"""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy import func
from sqlmodel import col, select

from tracker.errors import Conflict, InputError, NotFound, TrackerError, UsageError
from tracker.models import AuditEntry, Outcome, Piece, Reading, TasteNote, TrialState, Weighing
from tracker.store import Store
from tracker.workflow.recording import add_note, record_run, void_readings
from tracker.workflow.to_record import runs_to_record


def count(store: Store, table: Any) -> int:
    with store.read() as session:
        return session.exec(select(func.count()).select_from(table)).one()


def values(store: Store) -> list[tuple[str, int, float | None, bool]]:
    """Every reading ever kept: response, repeat, value, void."""
    with store.read() as session:
        rows = session.exec(select(Reading).order_by(col(Reading.id)))
        return [(row.response, row.repeat, row.value, row.void) for row in rows]


def test_one_call_keeps_all_that_is_known(soda: Store) -> None:
    done = record_run(
        soda,
        "soda",
        "101",
        ["rise_height_mm=42,5 mm", "crumb score=2 fine", "split crust=no"],
        weighed=["baking soda=3.9 g"],
        oven_temperature_c=182.5,
        deviations="the dough rested ten minutes longer",
    )
    assert [(r.response, r.value, r.piece, r.repeat) for r in done.readings] == [
        ("rise height", 42.5, None, 1),
        ("crumb score", 2.0, 1, 1),
        ("crumb score", 4.0, 2, 1),
        ("split crust", 0.0, None, 1),
    ]
    assert done.weighed == (("baking soda", 3.9),)
    assert done.warnings == ()
    with soda.read() as session:
        outcome = session.exec(select(Outcome)).one()
        assert (outcome.state, outcome.oven_temperature_c) == ("done", 182.5)
        assert outcome.deviations == "the dough rested ten minutes longer"
        assert session.exec(select(Weighing.grams)).all() == [3.9]
        assert session.exec(select(TrialState.state).order_by(col(TrialState.id))).all() == ["planned", "baking"]


def test_one_reading_is_one_transaction_with_its_entries(soda: Store) -> None:
    record_run(soda, "soda", "101", ["rise height=40"])
    before = count(soda, AuditEntry)
    record_run(soda, "soda", "#1", ["rise height=41"])  # 108: a bake, its outcome and the reading
    with soda.read() as session:
        last = session.exec(select(AuditEntry).order_by(col(AuditEntry.sequence).desc()).limit(3)).all()
    assert count(soda, AuditEntry) == before + 3
    assert {entry.at for entry in last} == {last[0].at}
    assert {entry.table_name for entry in last} == {"bake", "outcome", "reading"}


def test_several_readings_and_pieces_are_counted(soda: Store) -> None:
    record_run(soda, "soda", "102", ["rise height=42 41.8"])
    record_run(soda, "soda", "102", ["rise height=42.2"], again=True)
    record_run(soda, "soda", "102", ["rise height=39"], piece=2)
    assert [(repeat, value) for _, repeat, value, _ in values(soda)] == [(1, 42.0), (2, 41.8), (3, 42.2), (1, 39.0)]
    assert count(soda, Piece) == 1


@pytest.mark.parametrize(
    ("said", "error", "words"),
    [
        (["rise height=-4"], InputError, "impossible"),
        (["rise height=401"], InputError, "impossible"),
        (["rise height=tall"], InputError, "text in a number"),
        (["rise height=1,234"], InputError, "can be read as"),
        (["rise height=nan"], InputError, "not a number"),
        (["rise height=9"], InputError, "kept with a reason"),
        (["crumb score=6"], InputError, "scores are the whole numbers 1 to 5"),
        (["crumb score=2.5"], InputError, "no score"),
        (["crumb score=0"], InputError, "no score"),
        (["split crust=maybe"], InputError, "neither yes nor no"),
        (["rise hight=40"], NotFound, 'no response "rise hight"'),
        (["rise height"], UsageError, "names no value"),
        (["rise height=40", "crumb score=9"], InputError, "no score"),
    ],
)
def test_what_cannot_be_is_refused_whole(
    soda: Store, unchanged: Any, said: list[str], error: type[TrackerError], words: str
) -> None:
    with pytest.raises(error) as caught:
        record_run(soda, "soda", "101", said)
    assert words in caught.value.what
    assert caught.value.where
    assert caught.value.try_this
    assert unchanged()


@pytest.mark.parametrize(
    ("said", "error", "words"),
    [
        ({"run": "999"}, NotFound, 'no run "999"'),
        ({"run": "#9"}, NotFound, 'no run "#9"'),
        ({"trial": "sodda"}, NotFound, 'no trial "sodda"'),
        ({"person": 7}, NotFound, "no person 7"),
        ({"outcome": "failed"}, InputError, "failed run needs a reason"),
        ({"outcome": "skipped", "reason": " "}, InputError, "skipped run needs a reason"),
        ({"correct": True}, InputError, "correction needs a reason"),
        ({"piece": 0}, UsageError, "count from 1"),
        ({"weighed": ["baking soda"]}, UsageError, "names no weight"),
        ({"weighed": ["baking soda=-1"]}, InputError, "impossible"),
    ],
)
def test_what_is_not_there_is_refused(
    soda: Store, unchanged: Any, said: dict[str, Any], error: type[TrackerError], words: str
) -> None:
    place = {"trial": "soda", "run": "101"} | {name: said[name] for name in ("trial", "run") if name in said}
    with pytest.raises(error) as caught:
        record_run(
            soda, place["trial"], place["run"], ["rise height=40"], **{k: v for k, v in said.items() if k not in place}
        )
    assert words in caught.value.what
    assert caught.value.try_this
    assert unchanged()


def test_the_nearest_trial_is_named(soda: Store) -> None:
    with pytest.raises(NotFound) as caught:
        record_run(soda, "sodda", "101", ["rise height=40"])
    assert caught.value.try_this == '"soda"'


def test_an_unlikely_value_is_kept_with_a_warning_and_a_reason(soda: Store) -> None:
    done = record_run(soda, "soda", "101", ["rise height=9"], reason="the dough never rose")
    assert done.readings[0].implausible
    assert "unlikely" in done.warnings[0]
    assert "the dough never rose" in done.warnings[0]
    with soda.read() as session:
        kept = session.exec(select(Reading)).one()
    assert (kept.value, kept.implausible, kept.reason) == (9.0, True, "the dough never rose")


def test_a_second_value_is_a_conflict_unless_it_corrects(soda: Store) -> None:
    record_run(soda, "soda", "101", ["rise height=42"])
    with pytest.raises(Conflict, match="recorded already: 42 mm"):
        record_run(soda, "soda", "101", ["rise height=43"])
    done = record_run(soda, "soda", "101", ["rise height=43"], correct=True, reason="misread")
    assert (done.readings[0].value, done.readings[0].was) == (43.0, 42.0)
    assert values(soda) == [("rise height", 1, 42.0, False), ("rise height", 1, 43.0, False)]
    with soda.read() as session:
        old, new = session.exec(select(Reading).order_by(col(Reading.id))).all()
    assert (new.replaces_id, new.reason) == (old.id, "misread")
    record_run(soda, "soda", "101", ["rise height=44"], correct=True, reason="misread again")
    assert len(values(soda)) == 3


def test_a_correction_must_say_which_of_several(soda: Store) -> None:
    record_run(soda, "soda", "101", ["rise height=42 43"])
    with pytest.raises(Conflict, match=r"has 2 readings there \(42 mm, 43 mm\) and 1 was given"):
        record_run(soda, "soda", "101", ["rise height=44"], correct=True, reason="misread")
    record_run(soda, "soda", "101", ["rise height=44"], repeat=2, correct=True, reason="misread")
    assert values(soda)[-1] == ("rise height", 2, 44.0, False)


def test_a_void_takes_back_and_frees_the_place(soda: Store) -> None:
    record_run(soda, "soda", "101", ["rise height=42"])
    done = void_readings(soda, "soda", "101", ["rise height"], reason="wrong loaf")
    assert (done.readings[0].value, done.readings[0].was) == (None, 42.0)
    with pytest.raises(Conflict, match="no reading to take back"):
        void_readings(soda, "soda", "101", ["rise height"], reason="twice")
    record_run(soda, "soda", "101", ["rise height=40"])
    assert values(soda) == [
        ("rise height", 1, 42.0, False),
        ("rise height", 1, None, True),
        ("rise height", 1, 40.0, False),
    ]


def test_failed_and_skipped_runs_carry_a_reason(soda: Store) -> None:
    assert record_run(soda, "soda", "101", outcome="failed", reason="the oven went out").outcome == "failed"
    with pytest.raises(Conflict, match="recorded as failed"):
        record_run(soda, "soda", "101", ["rise height=40"])
    done = record_run(soda, "soda", "101", ["rise height=40"], correct=True, reason="it was another tin")
    assert done.outcome == "done"
    assert count(soda, Outcome) == 2


def test_later_facts_join_the_outcome_that_stands(soda: Store) -> None:
    record_run(soda, "soda", "101", ["rise height=40"], deviations="less milk")
    record_run(soda, "soda", "101", oven_temperature_c=178)
    with soda.read() as session:
        last = session.exec(select(Outcome).order_by(col(Outcome.id).desc()).limit(1)).one()
    assert (last.state, last.deviations, last.oven_temperature_c) == ("done", "less milk", 178.0)


def test_a_closed_trial_takes_nothing(soda: Store) -> None:
    with soda.write(person=1, action="close") as deed:
        deed.add(TrialState(trial_id=1, state="closed", at=deed.at, person_id=1))
    for refused in (
        lambda: record_run(soda, "soda", "101", ["rise height=40"]),
        lambda: add_note(soda, "soda", "101", "x"),
    ):
        with pytest.raises(Conflict, match="is closed") as caught:
            refused()
        assert "crumbwise trial reopen" in caught.value.try_this


def test_taste_notes_keep_words_tags_and_person(soda: Store) -> None:
    add_note(soda, "soda", "#1", " soapy at the back ", tags=["soapy", " bitter  end "])
    with soda.read() as session:
        note = session.exec(select(TasteNote)).one()
    assert (note.words, note.tags, note.person_id) == ("soapy at the back", '["soapy", "bitter end"]', 1)
    with pytest.raises(InputError, match="note is empty"):
        add_note(soda, "soda", "#1", "  ")


def test_waiting_runs_come_in_bake_order_with_what_they_lack(soda: Store) -> None:
    record_run(soda, "soda", "108", ["rise height=40"])
    record_run(soda, "soda", "107", outcome="skipped", reason="no lemons left")
    waiting = runs_to_record(soda, "soda")
    assert [run.code for run in waiting] == ["108", "106", "105", "104", "103", "102", "101"]
    assert [response.name for response in waiting[0].responses] == ["crumb score", "split crust"]
    assert waiting[0].responses[0].prompt.startswith("crumb score (1 gummy, 2 coarse")


def test_a_correction_never_adds_beside_the_pieces_that_stand(soda: Store) -> None:
    record_run(soda, "soda", "101", ["crumb score=2 4"])
    kept = values(soda)
    with pytest.raises(Conflict, match=r"2 readings there \(piece 1: 2, piece 2: 4\) and 1 was given") as refused:
        record_run(soda, "soda", "101", ["crumb score=3"], correct=True, reason="misread")
    assert refused.value.try_this.startswith("--piece 1")
    with pytest.raises(Conflict, match="recorded already: piece 1: 2, piece 2: 4"):
        record_run(soda, "soda", "101", ["crumb score=3"])
    assert values(soda) == kept
    done = record_run(soda, "soda", "101", ["crumb score=3 5"], correct=True, reason="misread")
    assert [(r.piece, r.was, r.value) for r in done.readings] == [(1, 2.0, 3.0), (2, 4.0, 5.0)]


def test_a_correction_where_nothing_stands_gives_each_piece_its_value(soda: Store) -> None:
    record_run(soda, "soda", "101", outcome="failed", reason="mixed up with the run before")
    done = record_run(soda, "soda", "101", ["crumb score=3 5"], correct=True, reason="it was this one")
    assert [(r.piece, r.was, r.value) for r in done.readings] == [(1, None, 3.0), (2, None, 5.0)]


def test_a_void_without_a_piece_takes_back_every_piece(soda: Store) -> None:
    record_run(soda, "soda", "101", ["crumb score=2 4"])
    taken = void_readings(soda, "soda", "101", ["crumb score"], reason="two bakes mixed up")
    assert [(r.piece, r.was, r.value) for r in taken.readings] == [(1, 2.0, None), (2, 4.0, None)]
