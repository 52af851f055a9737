"""A kitchen in which every page has something to show, so that every form stands on one. No test; loaded by them."""

from __future__ import annotations

from tracker.workflow.batch_writing import BatchEntry
from tracker.workflow.logging_batches import log_batches
from tracker.workflow.planning import plan_trial
from tracker.workflow.quick_entry import log_batch
from tracker.workflow.recording import add_note, record_run
from tracker.workflow.tasting_passes import make_cards
from tracker.workflow.tasting_setup import WhoTastes, set_up_tasting
from tracker.workflow.trials import show_trial

PLAN = """
title = "Cookies"
name = "cookies"
flour_per_bake_g = 200

[formula]
name = "cookies"
[[formula.line]]
ingredient = "wheat flour"
bakers_percent = 100
flour = true
[[formula.line]]
ingredient = "baking soda"
bakers_percent = 1.2
[[formula.line]]
ingredient = "cream of tartar"
bakers_percent = 2.4

[[factor]]
name = "sugar"
kind = "amount"
unit = "%"
low = 40
high = 60

[[factor]]
name = "fat"
kind = "category"
levels = ["butter", "oil"]

[[response]]
name = "spread ratio"
matters = 0.5
spread = 0.3
goal = "maximise"

[design]
kind = "full factorial"
replicates = 2
seed = 11
"""


def fill(store) -> None:
    """A trial with its findings, notes beside a run, and a log with an alarm."""
    plan_trial(store, PLAN)
    for place, run in enumerate(show_trial(store, "cookies").to_json()["runs"]):
        record_run(store, "cookies", run["code"], [f"spread ratio={6 + (place * 7 % 5) / 10}"])
    add_note(store, "soda", "107", "a little soapy", tags=["soapy"])
    record_run(store, "soda", "105", ["rise height=42"])
    entries = [
        BatchEntry(
            number=f"{place}",
            baked_at=f"2026-11-0{place}T05:30:00Z",
            oven="left",
            shift="early",
            lots={"flour": "F-1"},
            readings={"rise height": (40.0 + place % 3, 41.0)},
        )
        for place in range(1, 9)
    ]
    log_batches(store, "scones", entries, units={"rise height": "mm"})
    log_batch(store, "scones", "9", at="2026-11-09T05:30:00Z", readings=["rise height=90"], person=1)


def taste(store) -> list[str]:
    """A tasting of three bakes of "soda" by two nameless assessors; their codes."""
    for run in ("108", "107", "106"):
        record_run(store, "soda", run)
    who = WhoTastes(nameless=2)
    made = set_up_tasting(
        store, "soda", runs=("108", "107", "106"), responses=[2, 3], who=who, allergens="milk", by=1, rest_s=0, seed=5
    )
    return [card.code for card in make_cards(store, made.number, by=1)]
