"""Does the panel's page keep quiet about treatments while somebody still tastes?"""

from __future__ import annotations

from tracker.store import open_kitchen
from tracker.workflow.planning import plan_trial
from tracker.workflow.recording import record_run
from tracker.workflow.reporting import Look, report_trial
from tracker.workflow.tasting_setup import WhoTastes, set_up_tasting
from tracker.workflow.tastings import close_tasting, still_open
from tracker.workflow.verify_report import verify_report

PLAN = """
title = "Fat in a scone"
[[factor]]
name = "fat"
kind = "category"
levels = ["butter", "lard"]
[[response]]
name = "crumb score"
scale = "score"
anchors = ["gummy", "coarse", "fair", "fine"]
goal = "maximise"
[design]
kind = "completely randomised"
replicates = 4
seed = 3
"""
HIDDEN = "A tasting is still open."


def test_treatments_are_told_once_the_tasting_is_closed(sqlite_kitchen, tmp_path):
    before, after = tmp_path / "before.html", tmp_path / "after.html"
    with open_kitchen(str(sqlite_kitchen)) as store:
        planned = plan_trial(store, PLAN, name="fat")
        for place, run in enumerate(planned.plan.runs):
            record_run(
                store, "fat", run.code, [f"crumb score={3 if run.settings['fat'] == 'butter' else 1 + place % 2}"]
            )
        assert not still_open(store, "fat")
        codes = [run.code for run in planned.plan.runs][:2]
        number = set_up_tasting(
            store, "fat", runs=codes, responses=[1], who=WhoTastes(nameless=2), allergens="milk", by=1, seed=1
        ).number
        assert still_open(store, "fat")
        report_trial(store, "fat", before, look=Look(reader="panel"))
        assert HIDDEN in before.read_text(encoding="utf-8")
        assert "butter" not in before.read_text(encoding="utf-8")
    assert verify_report(before, kitchen=str(sqlite_kitchen)).same
    with open_kitchen(str(sqlite_kitchen)) as store:
        close_tasting(store, number, reason="all have tasted", by=1)
        report_trial(store, "fat", after, look=Look(reader="panel"))
    assert HIDDEN not in after.read_text(encoding="utf-8")
    assert "butter" in after.read_text(encoding="utf-8")
    assert verify_report(after, kitchen=str(sqlite_kitchen)).same
    assert verify_report(before, kitchen=str(sqlite_kitchen)).same  # it is judged as of when it was made
