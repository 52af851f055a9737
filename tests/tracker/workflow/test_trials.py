"""Does the list of trials say how far each has come?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest
from sqlalchemy import Engine, event

from tracker.models import Bake, Outcome, Run, Trial, TrialState
from tracker.store import Store
from tracker.workflow.trials import list_trials, show_trial

AT = "2026-11-25T09:00:00Z"


def add_trial(store: Store, name: str, ended: Sequence[str]) -> None:
    """A trial with one run for each word of ``ended``; "" is not baked, "a, b" was corrected from a to b."""
    with store.write(person=1, action="plan") as deed:
        trial = deed.add(Trial(name=name, title=name.title(), seed=1, design="{}", made_at=AT))
        for order, states in enumerate(ended, start=1):
            run = deed.add(
                Run(trial_id=trial.id, place_in_design=order, bake_order=order, code=f"{100 + order}", settings="{}")
            )
            bake = deed.add(Bake(run_id=run.id, made_at=AT)) if states else None
            before = None
            for state in states.split(", ") if bake else ():
                before = deed.add(
                    Outcome(
                        bake_id=bake.id,
                        state=state,
                        reason="looked again",
                        person_id=1,
                        at=AT,
                        replaces_id=before.id if before else None,
                    )
                )


def test_each_trial_is_listed_with_what_stands_of_it(store):
    add_trial(store, "soda", ["done", "done", "failed", "", "failed, done"])
    add_trial(store, "second", ["", "done, skipped"])
    with store.write(person=1, action="close") as deed:
        deed.add(TrialState(trial_id=1, state="baking", at=AT, person_id=1))
        deed.add(TrialState(trial_id=1, state="closed", at=AT, person_id=1))
    listed = list_trials(store)
    assert [(line.name, line.state, line.runs, line.baked) for line in listed] == [
        ("soda", "closed", 5, 3),
        ("second", "planned", 2, 0),
    ]
    assert show_trial(store, "soda").line == listed[0]


@pytest.mark.parametrize("many", [1, 12])
def test_many_trials_are_listed_in_as_many_queries_as_one(store, many):
    for number in range(many):
        add_trial(store, f"trial {number}", ["done", ""])
    asked: list[str] = []

    def note(*said: Any) -> None:
        asked.append(said[2])

    event.listen(Engine, "before_cursor_execute", note)
    try:
        assert [line.baked for line in list_trials(store)] == [1] * many
    finally:
        event.remove(Engine, "before_cursor_execute", note)
    assert len([statement for statement in asked if statement.startswith("SELECT")]) == 5
