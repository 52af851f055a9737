"""What stands on the papers for the bench: labels to cut, the weighing list, the oven map?

The templates place these words and hold none of their own.
"""

from __future__ import annotations

ALL_RUNS = "All runs"
IN_ALL = "in all"
RUN = "run"

LABELS = "Code labels"
OVEN_MAP = "Oven map"
WEIGHING_LIST = "Weighing list"

# Keeping allergens apart and raw flour off the tongue: public advice of food agencies, in our words.
RAW = (
    "Raw flour and raw egg are not ready to eat: taste nothing unbaked. "
    "Keep allergens apart and labelled, as your local rules ask."
)
EACH_INGREDIENT = "Grams of each ingredient in all and for each run"
NOTHING_TO_WEIGH = "This trial has no formula with an amount of flour, so there is nothing to weigh."


def of_trial(paper: str, trial: str) -> str:
    """ "Oven map of soda": the heading of a paper."""
    return f"{paper} of {trial}"


def in_title(paper: str, trial: str) -> str:
    """ "Oven map: soda": what the window says."""
    return f"{paper}: {trial}"


def say_labels(labels: int, runs: int) -> str:
    return (
        f"{labels} labels for {runs} runs, in the order of baking. Cut along the lines; "
        "keep them away from food that is eaten."
    )


def say_piece(piece: str) -> str:
    return f"piece {piece}"


def say_places(*, planned: bool) -> str:
    """How the places came about, and what is hot."""
    how = (
        "Places were drawn by chance; keep to them, and note on the bench sheet where you could not."
        if planned
        else "The plan names no oven loads and no places in the oven, so this is the order of baking."
    )
    return f"{how} Oven, tins and steam are hot."


def say_formula(formula: str, spare: str) -> str:
    """``spare``: percent as text, "" without any."""
    more = f", then {with_spare(spare)}" if spare else ""
    return f"Formula: {formula}. Grams; totals are the sums of the runs' weights{more}."


def with_spare(spare: str) -> str:
    return f"with {spare} % to spare"


def of_day(block: str, runs: int) -> str:
    return f"{block or ALL_RUNS}: {runs} runs"


def bake_in_order(bake_order: int) -> str:
    return f"bake {bake_order}"


def place_named(place: str) -> str:
    return f"place {place}"
