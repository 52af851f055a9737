"""What stands on the bench sheet beside what is weighed?"""

from __future__ import annotations

PLAN_HASH = "Plan hash"
AUDIT_HEAD = "Audit head"
FLOUR_PER_BAKE = "Flour per bake"
SETTINGS_IN_F = "Settings in °F"
CONVERTED = "converted from °C, in which the trial is planned and read"
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
