"""What stands on the bench sheet beside what is weighed?"""

from __future__ import annotations

BENCH_SHEET = "Bench sheet"
TO_THE_RUNS = "Go to the runs"
BEFORE_YOU_START = "Before you start"
HOW_MADE = "How each run is made"
HOW_TO_BAKE = (
    "Bake in the order of this sheet. Mix each run afresh. Write what you saw, with the time; strike through and "
    "write beside it, do not rub out.\nTasters see the code only."
)
NO_RUNS = "This plan has no runs."
KEEP_SAFE = "Keep safe."

# Beside the lines to write on.
DATE, BAKER, ROOM = "date", "baker", "room"
IN_THE_OVEN, OUT, OVEN_READ, WHO = "in the oven", "out", "oven read", "who"
DONE, FAILED, SKIPPED = "done", "failed", "skipped"
WHY = "why, weighed otherwise, anything unusual:"
SET_ONCE = "Set once for the runs that follow"
WEIGH_COLUMNS = ("done", "ingredient", "grams")
READ_COLUMNS = ("response", "value")
CHOICES = ("yes", "no")
NUMBER = "number"
PLAN = "plan"

TRIAL, KITCHEN, FORMULA, RUNS, MADE = "Trial", "Kitchen", "Formula", "Runs", "Made"
PLAN_HASH = "Plan hash"
AUDIT_HEAD = "Audit head"
FLOUR_PER_BAKE = "Flour per bake"
SETTINGS_IN_F = "Settings in °F"
CONVERTED = "converted from °C, in which the trial is planned and read"
# Raw flour and egg, closed vessels, cores and the food code: public advice of food agencies and
# university safety pages, in our words. Protecting hands and naming allergens: common practice, no source.
SAFETY = (
    "Oven, tins and steam are hot: dry cloths, clear floor.",
    "Raw flour and raw egg are not ready to eat: taste nothing unbaked, wash hands and surfaces.",
    "Tell every taster the allergens first (wheat, egg, milk, soya, nuts, sulphites).",
    "Never close a jar or bottle on soda and acid: the gas can burst it.",
    "Serving others: follow the local food code.",
)


def piece_named(piece: int) -> str:
    return f"piece {piece}"


def of_trial(trial: str) -> str:
    return f"trial {trial}"


def usual_range(low: str, high: str, unit: str) -> str:
    return f"usual {low} to {high} {unit}"


def in_title(paper: str, trial: str) -> str:
    """ "Bench sheet: soda": what the window says."""
    return f"{paper}: {trial}"


def bake_of(bake: int, runs: int) -> str:
    return f"bake {bake} of {runs}"


def to_weigh(code: str) -> str:
    return f"What to weigh for {code}"


def to_read(code: str) -> str:
    return f"What to read from {code}"
