"""What do pictures of several goals and of what one costs the other say?"""

from __future__ import annotations

from collections.abc import Iterable

NEAREST = "nearest"
BEST_COMPROMISE = "best compromise"
SURENESS_AXIS = "sureness of all goals (%)"
HOW_SURELY = "How surely all goals are met"
GOOD_IN_BOTH = " good enough in both "


def compromise_row(sure: str) -> str:
    return f"best compromise{sure}"


def and_more(chance: str) -> str:
    return f"{chance} and more"


def region_alt(over: str, sure: str, more: str) -> str:
    return f"All goals over {over}: {sure}{more}."


def with_others(others: str) -> str:
    return f", with {others}"


def at_places(places: str) -> str:
    return f" at {places},"


def best_is_sure(where: str, chance: str) -> str:
    return f"best compromise{where} {chance} sure"


def mostly_over(share: str) -> str:
    return f"; 80 % and more over {share} of what was baked"


def lines_caption(others: str) -> str:
    return f"How surely all goals are met{others}; the pale lines stand at 50, 80 and 95 %."


def contours_caption(others: str) -> str:
    return (
        f"Shaded: all goals are met with a sureness of 50, 80 and 95 %{others}. Dots: treatments that "
        "were baked; outlined mark: the best compromise."
    )


def columns_of_region(amounts: Iterable[str]) -> tuple[str, ...]:
    return ("sureness", "of what was baked", *amounts)


def one_against_other(first: str, second: str) -> str:
    return f"{first} against {second}"


def value_with_ends(value: str, low: str, high: str) -> str:
    return f"{value} ({low} to {high})"


def path_alt(first: str, first_at: str, second: str, second_at: str, first_to: str, second_to: str) -> str:
    return f"{first} {first_at} with {second} {second_at}, to {first_to} with {second_to}."


def path_caption(first: str, second: str) -> str:
    return (
        f"Treatments of which none is better in both {first} and {second}: along the path a gain in one "
        "is paid for in the other. Shaded: good enough in both."
    )
