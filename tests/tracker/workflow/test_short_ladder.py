"""Is a ladder of three doses read as the curve it was planned to show?"""

import pytest

from tracker.workflow.analysing import analyse_trial
from tracker.workflow.options import Options
from tracker.workflow.planning import plan_trial
from tracker.workflow.recording import record_run

PLAN = """
title = "Soda small"
name = "small"

[[factor]]
name = "soda"
kind = "amount"
unit = "% flour"
values = [1, 1.5, 2]

[[response]]
name = "rise height"
unit = "mm"
goal = "maximise"
matters = 3

[design]
kind = "dose ladder"
replicates = 3
seed = 777
"""
# The middle dose rises most: a straight line through these would foretell it 4 mm too low.
RISE = {1.0: [41.5, 42.0, 41.0], 1.5: [50.0, 51.0, 50.4], 2.0: [49.0, 47.5, 48.0]}


def baked(store, *, leave_out=()):
    left = {dose: list(values) for dose, values in RISE.items()}
    for run in plan_trial(store, PLAN).plan.runs:
        dose = run.settings["soda"]
        if dose not in leave_out:
            record_run(store, "small", run.code, [f"rise height={left[dose].pop()}"])


def result_of(store, **asked):
    return analyse_trial(store, "small", options=Options(**asked)).analysis.responses[0]


def test_three_doses_are_read_as_a_curve_that_bends(store):
    baked(store)
    curve = result_of(store).family.dose.curves[0]
    # The parabola through the three means (41.5, 50.467, 48.167) turns at 1.648 (worked out by hand).
    assert curve.optimum.dose == pytest.approx(1.648, abs=0.002)
    assert curve.recommended.dose < 1.5


def test_what_is_asked_otherwise_stands(store):
    baked(store)
    assert result_of(store, model="main effects").family.dose is None


def test_two_doses_that_were_baked_are_no_curve(store):
    baked(store, leave_out=(1.5,))
    assert result_of(store).family.dose is None
