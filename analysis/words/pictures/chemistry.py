"""What do pictures of pH and titration say?"""

from __future__ import annotations

from collections.abc import Iterable

PH = "pH"
HERE = "here  "
CRUMB = "  crumb"
BATTER = "  batter"
SODA_GRAMS = "soda (g)"
MEASURED_PH = "measured pH"
ACID_USED_UP = " acid used up"
TITRATION_TITLE = "pH against soda"
NO_ACID = "there is no acid."
PREDICTED_CRUMB_PH = "predicted crumb pH"
PH_TITLE = "Measured against predicted pH"
HERE_THE_SODA = "Here: the soda that is in it. "
SQUARES_LIE_FAR = " Squares lie far from where their fellows would put them."
VERDICT = ("verdict",)
COLUMNS_OF_TITRATION = ("soda (g)", "pH batter", "pH crumb", "free gas (mL)", "red cabbage")


def bake_named(names: str) -> str:
    return f"  bake {names}"


def none_stands_out(count: int) -> str:
    return f"none of {count} bakes stands out"


def some_stand_out(count: int, bakes: int) -> str:
    return f"{count} of {bakes} bakes stand out"


def ph_caption(more: str) -> str:
    return f"Each mark is a bake.{more}"


def too_few_to_say(count: int) -> str:
    return f"{count} bakes, too few to say whether one stands out"


def used_up_at(neutral_g: str) -> str:
    return f"the acid is used up at {neutral_g} g."


def columns_of_ph(more: Iterable[str]) -> tuple[str, ...]:
    return ("bake", "predicted", "measured", *more)


def stands_here(grams: str, ph: str) -> str:
    return f"here {grams} g, crumb pH {ph}; "


def titration_alt(stands: str, batter: str, batter_at_end: str, crumb: str) -> str:
    return f"pH as soda is added: {stands}batter {batter} to {batter_at_end}, crumb to {crumb}; "


def titration_caption(more: str) -> str:
    return f"Batter: all gas kept in. Crumb: most of the gas gone. {more}A model of the watery part."


def ph_alt(least: str, most: str, predicted_least: str, predicted_most: str, stands: str) -> str:
    return f"Measured pH {least} to {most} against predicted {predicted_least} to {predicted_most}: {stands}."
