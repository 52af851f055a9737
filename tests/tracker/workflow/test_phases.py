"""Do limits that are frozen stay as they are, and is a new phase an entry that judges anew?"""

from __future__ import annotations

import pytest

from analysis.control.charts import chart_batches
from analysis.control.variables import limits_of
from analysis.errors import NotPossible, TrialDataError
from tracker.errors import Conflict, InputError, NotFound, UsageError
from tracker.workflow.alarms import answer_alarms, list_alarms
from tracker.workflow.batch_series import product_series
from tracker.workflow.correcting_batches import Mended, correct_batch
from tracker.workflow.people import add_person
from tracker.workflow.phases import freeze_limits, list_phases
from tracker.workflow.quick_entry import log_batch
from tracker.workflow.verifying import verify_record


def test_limits_are_frozen_with_period_method_author_and_reason(store, log_scones):
    log_scones(store, 30)
    add_person(store, "Ada", number=1)
    frozen = freeze_limits(store, "scones", None, first="B003", last="B024", without=["B010"], reason="calm weeks")
    (view,) = list_phases(store, "scones")
    limits = view.phase.limits
    series, _, _ = product_series(store, "scones", "rise height")
    made = limits_of(series, kind="between", first="B003", last="B024", without=["B010"])
    assert (limits.lower, limits.centre, limits.upper, limits.sd) == (made.lower, made.centre, made.upper, made.sd)
    assert dict(limits.numbers) == dict(made.numbers)
    assert (limits.batches, limits.first_batch, limits.last_batch) == (21, "B003", "B024")
    assert (limits.author, limits.reason, limits.frozen, limits.provisional) == ("Ada", "calm weeks", True, False)
    assert (view.kind, view.phase.number, view.phase.from_batch) == ("between", 1, "B003")
    assert view.rules == ("outside the limits", "eight on one side")
    assert "frozen on" in view.words()
    assert "by Ada: calm weeks" in view.words()
    assert frozen.sentences[0].startswith("Phase 1 of rise height: limits ")


def test_frozen_limits_do_not_move_with_further_batches(frozen):
    before = list_phases(frozen, "scones")[0].phase.limits
    for place in range(31, 36):
        log_batch(frozen, "scones", f"B{place}", at=f"2026-06-{place - 30:02}", readings=["rise height=47 46 48"])
    assert list_phases(frozen, "scones")[0].phase.limits == before


def test_a_new_phase_is_an_entry_and_judges_what_comes_behind_it(frozen):
    for place in range(31, 52):
        reading = (
            f"rise height={46 + 0.3 * (place % 4):.1f} {46.4 + 0.2 * (place % 3):.1f} {45.8 + 0.1 * (place % 5):.1f}"
        )
        log_batch(frozen, "scones", f"B0{place}", at=f"2026-06-{place - 30:02}", readings=[reading])
    stood = list_alarms(frozen, "scones", open_only=True)
    behind = [line for line in stood if line.batch > "B030"]
    assert {line.rule for line in behind} == {"outside the limits", "eight on one side"}
    answer_alarms(frozen, "scones", [behind[0].number], cause="a new oven")
    done = freeze_limits(frozen, "scones", "rise height", first="B031", reason="the new oven is the rule now")
    assert done.view.phase.number == 2
    assert set(done.changes.withdrawn) == {line.number for line in behind[1:]}
    left = list_alarms(frozen, "scones")
    assert behind[0].number in {line.number for line in left}  # it has a cause: it stays
    assert not [line for line in left if line.batch > "B030" and line.state == "open" and line.phase == 1]
    assert all(
        line.reason == "limits of phase 2 were frozen"
        for line in list_alarms(frozen, "scones", withdrawn=True)
        if line.state == "withdrawn"
    )
    assert [view.phase.number for view in list_phases(frozen, "scones")] == [1, 2]
    said = log_batch(frozen, "scones", "B052", at="2026-06-22", readings=["rise height=46.2 46.4 46.3"])
    assert (said.verdicts[0].phase, said.verdicts[0].as_expected) == (2, True)
    assert verify_record(frozen)


def test_alarms_that_are_entered_are_those_of_the_chart(frozen):
    series, phases, _ = product_series(frozen, "scones", "rise height")
    charts = chart_batches(series, kind="between", phases=phases)
    expected = {(alarm.batch, chart.kind, alarm.rule) for chart in charts for alarm in chart.alarms}
    assert {(line.batch, line.chart, line.rule) for line in list_alarms(frozen, "scones")} == expected


def test_a_phase_whose_first_batch_was_taken_back_begins_at_the_next(frozen):
    correct_batch(frozen, "scones", "B001", Mended(void=True), reason="logged twice")
    _, phases, _ = product_series(frozen, "scones", "rise height")
    assert [(phase.number, phase.from_batch) for phase in phases] == [(1, "B002")]
    said = log_batch(frozen, "scones", "B031", at="2026-06-01", readings=["rise height=43 43 44"])
    assert said.verdicts[0].phase == 1


def test_a_batch_before_the_first_phase_has_provisional_limits(store, log_scones):
    log_scones(store, 40)
    freeze_limits(store, "scones", "rise height", first="B021", reason="calm weeks")
    said = log_batch(store, "scones", "early", at="2026-03-07 00:10", readings=["rise height=43 43 44"])
    assert (said.verdicts[0].phase, said.verdicts[0].provisional) == (None, True)


def test_few_batches_stay_provisional_and_alarms_in_the_base_are_told(store, log_scones):
    log_scones(store, 12)
    log_batch(store, "scones", "B013", at="2026-03-09", readings=["rise height=60 60 60"])
    done = freeze_limits(store, "scones", "rise height", reason="all there is")
    assert "They stay provisional: they rest on 13 batches, good ones on 20." in done.sentences
    # The one far out has drawn the centre above the others.
    assert done.sentences[-1].startswith("Of the batches they were made from, B011, B012 and B013 raise an alarm")
    assert {line.batch for line in list_alarms(store, "scones")} == {"B011", "B012", "B013"}
    assert list_phases(store, "scones")[0].phase.limits.provisional is True


WRONG = [
    ({"reason": " "}, InputError, "with a reason"),
    ({"product": "scone"}, NotFound, "no product"),
    ({"response": "rise"}, NotFound, 'no response "rise"'),
    ({"first": "B999"}, NotFound, "no batch B999"),
    ({"without": ["X"]}, NotFound, "no batch X"),
    ({"first": "B020", "last": "B010"}, TrialDataError, "comes before"),
    ({"kind": "betwen"}, UsageError, "not frozen"),
    ({"rules": ["seven on one side"]}, TrialDataError, "no rule"),
    ({"first": "B005", "last": "B005"}, NotPossible, "One batch"),
]


@pytest.mark.parametrize(("change", "error", "said"), WRONG, ids=[said for _, _, said in WRONG])
def test_what_is_wrong_is_said_and_nothing_is_stored(frozen, change, error, said):
    before = verify_record(frozen).entries
    with pytest.raises(error, match=said) as told:
        freeze_limits(frozen, **({"product": "scones", "response": "rise height", "reason": "why"} | change))
    assert told.value.try_this
    assert verify_record(frozen).entries == before


def test_a_phase_does_not_begin_before_the_last_one(frozen):
    freeze_limits(frozen, "scones", "rise height", first="B010", reason="another recipe")
    with pytest.raises(Conflict, match="Phase 2 of rise height begins at batch B010") as told:
        freeze_limits(frozen, "scones", "rise height", first="B005", reason="again")
    assert told.value.try_this == "--from B010 or a later batch"


def test_without_readings_there_is_nothing_to_freeze(lite):
    from tracker.workflow.products import add_product

    add_product(lite, "scones", responses=["rise height:unit=mm"])
    with pytest.raises(Conflict, match="no reading of rise height yet"):
        freeze_limits(lite, "scones", None, reason="why")
