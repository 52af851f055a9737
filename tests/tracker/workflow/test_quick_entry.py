"""Does a batch that is logged say at once what it is, and does nothing wrong get in?"""

from __future__ import annotations

from datetime import UTC, datetime
from functools import partial

import pytest
from sqlalchemy import event
from sqlmodel import func, select

from analysis.control.charts import chart_batches
from tracker import current_batches
from tracker.current import plain_rows_of
from tracker.errors import Conflict, InputError, NotFound, TrackerError, UsageError
from tracker.models import AlarmEntry, AuditEntry, Batch, Lot, Reading, Specification
from tracker.workflow.alarms import list_alarms
from tracker.workflow.batch_series import product_series
from tracker.workflow.batches import list_batches, show_batch
from tracker.workflow.phases import freeze_limits
from tracker.workflow.products import add_product
from tracker.workflow.quick_entry import add_readings, log_batch
from tracker.workflow.verifying import verify_record

AT = "2026-06-01 05:30"


def test_a_usual_batch_is_said_in_two_sentences_kept_apart(frozen):
    said = log_batch(frozen, "scones", "B031", at=AT, oven="upper", readings=["rise height=43.1, 42.8, 43.4"])
    (verdict,) = said.verdicts
    assert verdict.as_expected is True
    assert (verdict.meets, verdict.phase, verdict.provisional) == (True, 1, False)
    assert verdict.limits_words.startswith("Rise height 43.1")
    assert "is what this process does by itself" in verdict.limits_words
    assert "Limits of phase 1, frozen on" in verdict.limits_words
    assert verdict.specification_words == "Every piece meets the specification (40 to 48 mm, target 44 mm)."
    assert "specification" not in verdict.limits_words
    assert "limit" not in verdict.specification_words
    assert said.changes.raised == ()
    assert show_batch(frozen, "scones", "B031").values == {"rise height": (43.1, 42.8, 43.4)}


def test_the_name_of_a_response_may_hold_an_equals_sign(lite):
    add_product(lite, "buns", specs=["oven = top, rise:lower=40,unit=mm"])
    said = log_batch(lite, "buns", "1", at=AT, readings=["oven = top, rise=41.5"])
    assert said.verdicts[0].specification_words == "It meets the specification (at least 40 mm)."


def test_an_unusual_batch_enters_its_alarms_in_the_same_transaction(frozen):
    said = log_batch(frozen, "scones", "B031", at=AT, readings=["rise height=37.1 36.8 37.4"])
    (verdict,) = said.verdicts
    assert verdict.as_expected is False
    assert verdict.meets is False
    assert "is not what this process does by itself" in verdict.limits_words
    assert "below the lower limit" in verdict.limits_words
    assert verdict.specification_words.startswith("3 of 3 pieces miss the specification")
    assert verdict.specification_words.endswith("the mean misses it too.")
    assert set(said.changes.raised) == set(verdict.alarms) != set()
    assert {line.batch for line in list_alarms(frozen, "scones") if line.number in verdict.alarms} == {"B031"}
    with frozen.read() as session:
        entries = session.exec(select(AuditEntry).where(AuditEntry.action == "log batch")).all()
        tables = [entry.table_name for entry in entries]
        assert tables[:1] == ["batch"]
        assert tables.count("alarm") == len(verdict.alarms)
        assert len({entry.at for entry in entries}) == 1
    assert f'batch answer "scones" {min(verdict.alarms)}' in said.summary()
    assert verify_record(frozen).rows > 100


def test_the_verdict_is_that_of_the_whole_chart(frozen):
    """Judging from a few points gives the alarms the chart of all batches gives for the last one."""
    for place, level in enumerate([43.0, 44.2, 44.5, 44.1, 44.6, 44.4, 44.9, 44.3, 44.8, 47.5, 40.0], start=31):
        readings = f"rise height={level - 0.5:.1f} {level} {level + 0.5:.1f}"
        said = log_batch(frozen, "scones", f"B{place:03}", at=f"2026-06-{place - 30:02} 05:30", readings=[readings])
        series, phases, _ = product_series(frozen, "scones", "rise height")
        charts = chart_batches(series, kind="between", phases=phases)
        expected = {(c.kind, a.rule, a.side) for c in charts for a in c.alarms if a.batch == f"B{place:03}"}
        found = {
            (line.chart, line.rule, line.side) for line in list_alarms(frozen, "scones") if line.batch == f"B{place:03}"
        }
        assert found == expected
        assert said.verdicts[0].as_expected == (not expected)
    assert {line.rule for line in list_alarms(frozen, "scones")} >= {"eight on one side", "outside the limits"}


@pytest.mark.parametrize("freeze", [True, False])
def test_one_batch_is_judged_without_reading_the_whole_log(lite, log_scones, freeze, monkeypatch):
    """The same queries and rows whether 120 or 360 batches stand before it."""
    read = {}
    for name, count in (("short", 120), ("long", 360)):
        log_scones(lite, count, product=name)
        if freeze:
            freeze_limits(lite, name, "rise height", first="B001", last="B030", reason="calm weeks")
        deed = partial(log_batch, lite, name, "new", at="2027-06-01", readings=["rise height=43 44 43"])
        read[name] = counted(lite, deed, monkeypatch)
    assert read["short"] == read["long"]
    assert read["long"]["batches"] <= (20 if freeze else 120)


def counted(store, deed, monkeypatch):
    """What a deed asks the database: queries, and rows of batches and readings that were loaded."""
    seen = {"queries": 0, "batches": 0, "readings": 0}

    def query(*_):
        seen["queries"] += 1

    def batch(*_):
        seen["batches"] += 1

    def plain(session, table, column, numbers):
        rows = plain_rows_of(session, table, column, numbers)
        seen["readings"] += len(rows) if table is Reading else 0
        return rows

    event.listen(store.engine, "before_cursor_execute", query)
    event.listen(Batch, "load", batch)
    try:
        with monkeypatch.context() as patched:
            patched.setattr(current_batches, "plain_rows_of", plain)
            deed()
    finally:
        event.remove(store.engine, "before_cursor_execute", query)
        event.remove(Batch, "load", batch)
    assert seen["batches"] > 0
    assert seen["readings"] > 0
    return seen


def test_few_batches_are_logged_and_not_judged_until_there_are_provisional_limits(store):
    add_product(store, "scones", responses=["rise height:unit=mm"])
    for place in range(1, 7):
        said = log_batch(
            store, "scones", str(place), at=f"2026-03-{place:02}", readings=[f"rise height={42 + place % 3}"]
        )
        (verdict,) = said.verdicts
        if place <= 5:
            assert verdict.as_expected is None
            assert "is logged and not judged" in verdict.limits_words
        else:
            assert verdict.as_expected is True
            assert verdict.provisional is True
            assert "Provisional limits, from the 5 batches before it; from 20 on" in verdict.limits_words
    assert "there is 1 batch before it" in log_words(store, 2)


def log_words(store, number):
    from tracker.workflow.dispositions import batch_story

    return batch_story(store, "scones", str(number)).summary()


def test_batches_that_are_all_alike_have_no_limits_and_nobody_is_told_that_all_is_well(lite):
    add_product(lite, "scones", responses=["rise height:unit=mm", "split:scale=share"])
    for place in range(1, 12):
        readings = ["rise height=5 5 5", "split=0/40"]
        said = log_batch(lite, "scones", str(place), at=f"2026-03-{place:02}", readings=readings)
    assert [verdict.as_expected for verdict in said.verdicts] == [None, None]
    assert "not judged: the batches behind its limits are all alike, there is no spread." in said.summary()
    assert "all alike, none (or every piece) was counted." in said.summary()
    for response in ("rise height", "split"):
        with pytest.raises(Conflict, match="no spread to make limits from"):
            freeze_limits(lite, "scones", response, reason="why")


def test_a_batch_that_was_baked_earlier_takes_its_place_and_the_clock_is_said(frozen):
    log_batch(frozen, "scones", "B031", at=AT, readings=["rise height=43 43 43"])
    said = log_batch(frozen, "scones", "B032", at="2026-05-01 05:30", readings=["rise height=43 44 43"])
    assert any("The clock goes back: batch B031 was baked later" in notice for notice in said.notices)
    assert [line.number for line in list_batches(frozen, "scones")][-2:] == ["B032", "B031"]


def test_a_clock_that_runs_ahead_is_said(frozen):
    said = log_batch(frozen, "scones", "B031", at="2999-01-01", readings=["rise height=43 43 43"])
    assert any("ahead of this machine's clock" in notice for notice in said.notices)


def test_without_a_time_it_was_baked_now(frozen):
    frozen.now = lambda: datetime(2026, 7, 1, 4, 5, 6, 789, tzinfo=UTC)
    assert log_batch(frozen, "scones", "B031", readings=["rise height=43 43 43"]).baked_at == "2026-07-01T04:05:06Z"


def test_a_new_lot_is_made_with_a_notice_and_a_known_one_without(frozen):
    known = log_batch(frozen, "scones", "B031", at=AT, lots=["flour=F-1"], readings=["rise height=43 43 43"])
    assert known.notices == ()
    new = log_batch(frozen, "scones", "B032", at="2026-06-02", lots=["flour=F-9"], readings=["rise height=43 43 43"])
    assert new.notices[0].startswith("Lot F-9 of flour is new (the nearest known is F-")
    assert 'crumbwise batch lot add "flour=F-9"' in new.notices[0]
    with frozen.read() as session:
        assert session.exec(select(func.count()).select_from(Lot).where(Lot.code == "F-9")).one() == 1


WRONG = [
    ({"number": "B001"}, Conflict, "in the log already"),
    ({"number": "  "}, InputError, "needs a number"),
    ({"readings": ["rise heigt=43"]}, NotFound, 'no response "rise heigt"'),
    ({"readings": ["rise height=high"]}, InputError, "text in a number"),
    ({"readings": ["rise height=43,1,42,8"]}, InputError, "several ways"),
    ({"readings": ["rise height=nan"]}, InputError, "not a number"),
    ({"readings": ["rise height"]}, UsageError, "says nothing"),
    ({"readings": ["rise height=43", "rise_height=44"]}, UsageError, "given twice"),
    ({"lots": ["flower=F-1"]}, NotFound, 'No lot of "flower"'),
    ({"lots": ["flour"]}, UsageError, "says nothing"),
    ({"lots": ["flour=F-1", "flour=F-2"]}, UsageError, "Two lots of flour"),
    ({"at": "11/12/2026"}, InputError, "no day or time"),
    ({"product": "scone"}, NotFound, 'no product "scone"'),
    ({"person": 9}, NotFound, "no person 9"),
]


@pytest.mark.parametrize(("change", "error", "said"), WRONG, ids=[said for _, _, said in WRONG])
def test_what_is_wrong_is_said_and_nothing_is_stored(frozen, change, error, said):
    before = verify_record(frozen).entries
    asked = {"product": "scones", "number": "B031", "at": AT, "readings": ["rise height=43 43 43"]} | change
    with pytest.raises(error, match=said) as told:
        log_batch(frozen, **asked)
    assert isinstance(told.value, TrackerError)
    assert told.value.try_this
    assert verify_record(frozen).entries == before


def test_the_way_out_names_the_nearest(frozen):
    with pytest.raises(NotFound) as told:
        log_batch(frozen, "scones", "B031", readings=["rise heigt=43"])
    assert told.value.try_this == '"rise height"'
    with pytest.raises(NotFound) as told:
        log_batch(frozen, "scones", "B031", lots=["flower=F-1"])
    assert told.value.try_this == '--lot "flour=…"'


def test_a_batch_without_readings_is_kept_and_read_later(frozen):
    said = log_batch(frozen, "scones", "B 031", at=AT).summary()
    assert said.endswith(
        "  Nothing was read of it yet. When something is: "
        'crumbwise batch log "scones" "B 031" --more --reading "rise height=43.1"'
    )
    said = add_readings(frozen, "scones", "B 031", ["rise height=37.1 36.8 37.4"])
    assert said.verdicts[0].as_expected is False
    assert said.changes.raised
    with pytest.raises(Conflict, match="readings of rise height already") as told:
        add_readings(frozen, "scones", "B 031", ["rise height=43"])
    assert "batch correct" in told.value.try_this


def test_counts_are_judged_by_their_size(lite):
    add_product(lite, "scones", responses=["split:scale=share"])
    for place in range(1, 26):
        log_batch(lite, "scones", str(place), at=f"2026-03-{place:02}", readings=[f"split={place % 4}/40"])
    freeze_limits(lite, "scones", "split", reason="calm weeks")
    usual = log_batch(lite, "scones", "26", at="2026-03-26", readings=["split=2/40"])
    assert usual.verdicts[0].as_expected is True
    assert usual.verdicts[0].limits_words.startswith("Split, 2 of 40 (5.0 %), is what this process does by itself")
    many = log_batch(lite, "scones", "27", at="2026-03-27", readings=["split=15 of 40"])
    assert many.verdicts[0].as_expected is False
    assert "above the upper limit" in many.verdicts[0].limits_words
    few = log_batch(
        lite, "scones", "28", at="2026-03-28", readings=["split=15/400"]
    )  # the same count of ten times as many
    assert few.verdicts[0].as_expected is True
    line = show_batch(lite, "scones", "28")
    assert (line.values, line.sizes) == ({"split": (15.0,)}, {"split": (400.0,)})


def test_alarms_of_two_products_have_numbers_of_their_own(frozen, log_scones):
    log_scones(frozen, 30, product="muffins", seed=9)
    freeze_limits(frozen, "muffins", "rise height", reason="calm weeks")
    with frozen.read() as session:
        for product in (1, 2):
            numbers = session.exec(select(AlarmEntry.number).where(AlarmEntry.product_id == product)).all()
            assert sorted(numbers) == list(range(1, len(numbers) + 1))
        assert session.exec(select(Specification)).all()
