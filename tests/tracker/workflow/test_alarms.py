"""Are alarms seen, given a cause and an action, and are causes counted by how often they were one?"""

from __future__ import annotations

import re

import pytest
from sqlmodel import select

from tracker.errors import Conflict, InputError, NotFound, UsageError
from tracker.models import AlarmAnswer
from tracker.workflow.alarms import alarms_text, answer_alarms, causes_of, list_alarms, read_numbers
from tracker.workflow.correcting_batches import Mended, correct_batch
from tracker.workflow.quick_entry import log_batch


@pytest.fixture
def alarmed(frozen):
    """Five low batches behind thirty calm ones, three readings each: an alarm of the level for each."""
    for place in range(31, 36):
        reading = f"rise height={36 + 0.1 * place:.1f} {36.2 + 0.1 * place:.1f} {35.9 + 0.1 * place:.1f}"
        log_batch(frozen, "scones", f"B{place:03}", at=f"2026-06-{place - 30:02}", readings=[reading])
    return frozen


def outside(store):
    return [line for line in list_alarms(store, "scones") if line.batch > "B030" and line.chart == "batch mean"]


def test_an_alarm_is_open_then_seen_then_answered_and_every_answer_is_an_entry(alarmed):
    first = outside(alarmed)[0]
    assert (first.state, first.rule, first.side, first.phase) == ("open", "outside the limits", "below", 1)
    (seen,) = answer_alarms(alarmed, "scones", [first.number])
    assert seen.state == "acknowledged"
    assert seen in list_alarms(alarmed, "scones", open_only=True)
    (answered,) = answer_alarms(alarmed, "scones", [first.number], cause="weak powder")
    assert (answered.state, answered.cause, answered.action) == ("answered", "weak powder", "")
    (done,) = answer_alarms(alarmed, "scones", [first.number], action="new lot opened")
    assert (done.cause, done.action) == ("weak powder", "new lot opened")
    assert first.number not in {line.number for line in list_alarms(alarmed, "scones", open_only=True)}
    with alarmed.read() as session:
        assert [row.state for row in session.exec(select(AlarmAnswer).order_by(AlarmAnswer.id))] == [
            "acknowledged",
            "answered",
            "answered",
        ]


def test_causes_are_listed_by_frequency_without_a_running_total(alarmed):
    numbers = [line.number for line in outside(alarmed)]
    answer_alarms(alarmed, "scones", numbers[:1], cause="cold oven")
    answer_alarms(alarmed, "scones", numbers[1:4], cause="Weak powder", action="new lot")
    answer_alarms(alarmed, "scones", numbers[4:5], cause="weak powder", action="new lot")
    found = causes_of(alarmed, "scones")
    assert [(each.cause, each.alarms, each.batches) for each in found.causes] == [
        ("Weak powder", 4, 4),
        ("cold oven", 1, 1),
    ]
    assert found.causes[0].actions == ("new lot",)
    assert found.open == len(list_alarms(alarmed, "scones", open_only=True))
    lines = found.summary().splitlines()
    assert lines[0].startswith("●●●● Weak powder: 4 alarms at 4 batches, last B035")
    assert lines[1].startswith("● cold oven: 1 alarm at 1 batch, last B031  nothing done yet")
    assert "%" not in found.summary()


def test_a_run_of_one_rule_is_one_line_and_json_holds_each(alarmed):
    text = alarms_text(list_alarms(alarmed, "scones"))
    assert len(text.splitlines()) < len(list_alarms(alarmed, "scones"))
    assert sum(line.number for line in list_alarms(alarmed, "scones")) == sum(
        number for row in text.splitlines() for number in read_numbers([row.split()[1].rstrip(":")])
    )
    assert all(re.match(r"Alarm \d+: batch|Alarms \d+-\d+: batches", row) for row in text.splitlines())


def test_an_alarm_whose_ground_was_a_slip_is_withdrawn_and_cannot_be_answered(alarmed):
    first = outside(alarmed)[0]
    correct_batch(alarmed, "scones", "B031", Mended(readings=("rise height=43 43.2 42.9",)), reason="wrong ruler")
    assert first.number not in {line.number for line in list_alarms(alarmed, "scones")}
    gone = next(line for line in list_alarms(alarmed, "scones", withdrawn=True) if line.number == first.number)
    assert (gone.state, gone.reason) == ("withdrawn", "batch B031 was corrected")
    with pytest.raises(Conflict, match="was withdrawn"):
        answer_alarms(alarmed, "scones", [first.number], cause="x")


def test_what_is_wrong_is_said(alarmed):
    first = outside(alarmed)[0].number
    with pytest.raises(NotFound, match="no alarm 999"):
        answer_alarms(alarmed, "scones", [first, 999], cause="x")
    assert outside(alarmed)[0].state == "open"  # nothing of the two was stored
    with pytest.raises(InputError, match="An action answers a cause"):
        answer_alarms(alarmed, "scones", [first], action="waited")
    with pytest.raises(InputError, match="No alarm was named"):
        answer_alarms(alarmed, "scones", [])


@pytest.mark.parametrize(
    ("texts", "numbers"), [(["7"], [7]), (["7-9"], [7, 8, 9]), (["3", "5-6"], [3, 5, 6]), (["4-4"], [4])]
)
def test_numbers_are_read(texts, numbers):
    assert read_numbers(texts) == numbers


@pytest.mark.parametrize("text", ["x", "7-", "-7", "9-7", "0", "1-2000", "7-8-9", "²", "9" * 30])
def test_what_is_no_number_is_refused(text):
    with pytest.raises(UsageError) as told:
        read_numbers([text])
    assert told.value.where == "batch answer"
