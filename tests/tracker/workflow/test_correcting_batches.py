"""Is a batch put right by new entries, with the old ones readable, and judged anew?"""

from __future__ import annotations

import pytest
from sqlmodel import func, select

from tracker.errors import Conflict, InputError, NotFound, UsageError
from tracker.models import AuditEntry, Batch, Reading
from tracker.workflow.alarms import list_alarms
from tracker.workflow.batches import list_batches, show_batch
from tracker.workflow.correcting_batches import Mended, correct_batch
from tracker.workflow.dispositions import batch_story, decide
from tracker.workflow.lots import add_lot, list_lots
from tracker.workflow.products import add_product
from tracker.workflow.quick_entry import log_batch
from tracker.workflow.verifying import verify_record

AT = "2026-06-01 05:30"


@pytest.fixture
def logged(store):
    """One batch of a product with a measured and a counted response."""
    add_product(store, "scones", responses=["rise height:unit=mm", "split:scale=share"])
    readings = ["rise height=43 43.5 42.8", "split=2/40"]
    log_batch(store, "scones", "1", at=AT, oven="upper", shift="early", lots=["flour=F-1"], readings=readings)
    return store


def test_details_and_lots_are_put_right_and_what_stood_is_told(logged):
    mended = Mended(oven="lower", shift="late", at="2026-06-01 06:30", lots=("flour=F-2", "soda=S-1"))
    said = correct_batch(logged, "scones", "1", mended, reason="wrong line of the sheet")
    assert 'oven "lower" (was "upper")' in said.done
    assert "lot of flour F-2 (was F-1)" in said.done
    line = show_batch(logged, "scones", "1")
    assert (line.oven, line.shift, line.baked_at) == ("lower", "late", "2026-06-01T06:30:00Z")
    assert line.lots == {"flour": "F-2", "soda": "S-1"}
    assert len(line.changes) == 5
    assert all(change.endswith(": wrong line of the sheet") for change in line.changes)
    with logged.read() as session:
        row = session.exec(select(Batch)).one()
        assert (row.oven, row.shift) == ("upper", "early")  # as it was typed
        reasons = session.exec(select(AuditEntry.reason).where(AuditEntry.action == "correct batch")).all()
        assert set(reasons) == {"wrong line of the sheet"}
    assert verify_record(logged)


def test_a_lot_that_did_not_go_in_is_taken_out(logged):
    correct_batch(logged, "scones", "1", Mended(lots=("flour=-",)), reason="no flour lot noted")
    assert show_batch(logged, "scones", "1").lots == {}
    flour = next(line for line in list_lots(logged) if line.ingredient == "flour")
    assert flour.batches == ()


def test_readings_are_replaced_one_by_one_or_all(logged):
    correct_batch(logged, "scones", "1", Mended(readings=("rise height=44,5",), piece=2), reason="digits swapped")
    assert show_batch(logged, "scones", "1").values["rise height"] == (43.0, 44.5, 42.8)
    correct_batch(logged, "scones", "1", Mended(readings=("rise height=41 44.5 40",)), reason="another ruler")
    assert show_batch(logged, "scones", "1").values["rise height"] == (41.0, 44.5, 40.0)
    correct_batch(logged, "scones", "1", Mended(readings=("split=3/50",)), reason="miscounted")
    line = show_batch(logged, "scones", "1")
    assert (line.values["split"], line.sizes["split"]) == ((3.0,), (50.0,))
    with logged.read() as session:
        # 4 as logged, 1 + 2 + 1 in their place (44.5 stood already)
        assert session.exec(select(func.count()).select_from(Reading)).one() == 8
    correct_batch(logged, "scones", "1", Mended(take_back=("rise height",), piece=3), reason="torn piece")
    assert show_batch(logged, "scones", "1").values["rise height"] == (41.0, 44.5)


def test_a_batch_that_was_taken_back_counts_no_longer_and_may_stand_again(logged):
    said = correct_batch(logged, "scones", "1", Mended(void=True), reason="logged twice")
    assert said.summary().endswith("taken back, it counts no longer.")
    assert list_batches(logged, "scones") == ()
    assert list_batches(logged, "scones", void=True)[0].void is True
    with pytest.raises(Conflict, match="was taken back") as told:
        correct_batch(logged, "scones", "1", Mended(oven="lower"), reason="x")
    assert "--unvoid" in told.value.try_this
    with pytest.raises(Conflict, match="nothing to decide"):
        decide(logged, "scones", "1", "accept", reason="fine")
    correct_batch(logged, "scones", "1", Mended(void=False), reason="it was real")
    assert list_batches(logged, "scones")[0].values["rise height"] == (43.0, 43.5, 42.8)


def test_a_number_that_was_taken_back_may_be_logged_again(logged):
    correct_batch(logged, "scones", "1", Mended(void=True), reason="the wrong sheet")
    log_batch(logged, "scones", "1", at="2026-06-02", oven="lower", lots=["soda=S-1"], readings=["rise height=40 41"])
    line = show_batch(logged, "scones", "1")
    assert (line.void, line.oven, line.shift, line.lots) == (False, "lower", "", {"soda": "S-1"})
    assert line.values == {"rise height": (40.0, 41.0)}
    assert verify_record(logged)


WRONG = [
    (Mended(oven="lower"), " ", InputError, "needs a reason"),
    (Mended(), "why", UsageError, "Nothing to put right"),
    (Mended(oven="upper"), "why", UsageError, "stands like that already"),
    (Mended(readings=("rise height=43",)), "why", Conflict, "has 3 readings of rise height"),
    (Mended(readings=("rise height=43",), piece=9), "why", NotFound, "on piece 9"),
    (Mended(readings=("rise height=x",), piece=1), "why", InputError, "text in a number"),
    (Mended(readings=("rise heigt=43",)), "why", NotFound, 'no response "rise heigt"'),
    (Mended(readings=("split=50/40",)), "why", InputError, "more than all"),
    (Mended(lots=("flower=F-2",)), "why", NotFound, 'No lot of "flower"'),
    (Mended(at="soon"), "why", InputError, "no day or time"),
]


@pytest.mark.parametrize(("mended", "reason", "error", "said"), WRONG, ids=[each[3] for each in WRONG])
def test_what_is_wrong_is_said_and_nothing_is_stored(lite, mended, reason, error, said):
    add_product(lite, "scones", responses=["rise height:unit=mm", "split:scale=share"])
    readings = ["rise height=43 43.5 42.8", "split=2/40"]
    log_batch(lite, "scones", "1", at=AT, oven="upper", lots=["flour=F-1"], readings=readings)
    before = verify_record(lite).entries
    with pytest.raises(error, match=said) as told:
        correct_batch(lite, "scones", "1", mended, reason=reason)
    assert told.value.try_this
    assert verify_record(lite).entries == before


def test_a_correction_judges_the_batch_and_those_behind_it(frozen):
    """Seven batches above the centre and one that was typed too low: put right, it completes the run."""
    for place in range(31, 40):
        level = 40.9 if place in (31, 35) else 43.6
        reading = f"rise height={level} {level + 0.1:.1f} {level - 0.1:.1f}"
        log_batch(frozen, "scones", f"B{place:03}", at=f"2026-06-{place - 30:02}", readings=[reading])
    runs = [line for line in list_alarms(frozen, "scones") if line.rule == "eight on one side" and line.batch > "B031"]
    assert runs == []
    said = correct_batch(frozen, "scones", "B035", Mended(readings=("rise height=43.6 43.7 43.5",)), reason="slip")
    runs = [line for line in list_alarms(frozen, "scones") if line.rule == "eight on one side" and line.batch > "B031"]
    assert "B039" in {line.batch for line in runs}
    assert {line.number for line in runs} <= set(said.changes.raised)
    correct_batch(frozen, "scones", "B035", Mended(at="2026-07-01"), reason="it was baked in July")
    left = [line for line in list_alarms(frozen, "scones") if line.batch == "B039" and line.rule == "eight on one side"]
    assert left == []  # without it only seven in a row stand there
    assert [line.number for line in list_batches(frozen, "scones")][-1] == "B035"


def test_a_decision_is_an_entry_with_person_and_reason(frozen):
    log_batch(frozen, "scones", "B031", at=AT, readings=["rise height=39 43 43"])
    story = batch_story(frozen, "scones", "B031")
    assert story.decisions == ()
    assert "1 of 3 pieces misses the specification" in story.summary()
    decide(frozen, "scones", "B031", "hold", reason="one piece is low")
    story = decide(frozen, "scones", "B031", "accept", reason="second check was fine")
    assert [(each.decision, each.reason, each.person) for each in story.decisions] == [
        ("hold", "one piece is low", 1),
        ("accept", "second check was fine", 1),
    ]
    assert story.decisions[1].rule == {}
    assert show_batch(frozen, "scones", "B031").decision == "accept"
    assert list_batches(frozen, "scones")[-1].decision == "accept"
    with pytest.raises(InputError, match="needs a reason"):
        decide(frozen, "scones", "B031", "reject", reason="")
    with pytest.raises(NotFound, match="no batch X"):
        decide(frozen, "scones", "X", "reject", reason="y")


def test_lots_keep_their_days_and_every_change_has_a_reason(store):
    line = add_lot(store, "baking powder=P-1", received="1.11.2026")
    assert (line.received_on, line.opened_on) == ("2026-11-01", None)
    line = add_lot(store, "baking powder=P-1", opened="2026-11-20")
    assert (line.received_on, line.opened_on) == ("2026-11-01", "2026-11-20")
    with pytest.raises(InputError, match="has another day already"):
        add_lot(store, "baking powder=P-1", opened="2026-11-21")
    assert add_lot(store, "baking powder=P-1", opened="2026-11-21", reason="misread").opened_on == "2026-11-21"
    with pytest.raises(InputError, match="before it came in"):
        add_lot(store, "baking powder=P-1", opened="2026-10-01", reason="x")
    with pytest.raises(UsageError, match="names no lot"):
        add_lot(store, "baking powder")
    assert len(list_lots(store)) == 1
    assert verify_record(store)
