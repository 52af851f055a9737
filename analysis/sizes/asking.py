"""What does a baker ask of a size, and can it be answered?"""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.errors import PlanError
from analysis.sizes.solving import MOST_BAKES, MOST_COUNTED

KINDS = ("means", "pairs", "effects", "doses", "plots", "pieces", "equivalence", "shares", "scores")
MOST_KINDS, MOST_FACTORS, MOST_IN_ONE = 100, 12, 1_000
WIDEST_RANGE = 1e6  # a difference further from the spread than this is a slip of the unit


@dataclass(frozen=True, kw_only=True)
class SizeQuestion:
    """``what`` is one of KINDS. ``bakes``: of each kind, pairs, replicates of a two-level design, whole plots of each.

    ``spread`` between bakes of one treatment, ``difference`` the one that matters, ``piece_spread``
    between pieces of one bake, ``plot_spread`` between whole plots. ``kinds``: how many are compared
    (or doses); ``factors`` two-level factors; ``shares`` the two shares of yes, or the shares of each
    score; ``odds_ratio`` for scores; ``margin`` for equivalence. Costs are in any one unit.
    """

    what: str
    spread: float | None = None
    difference: float | None = None
    bakes: int | None = None
    power: float = 0.8
    confidence: float = 0.95
    kinds: int = 2
    factors: int = 3
    pieces: int = 1
    piece_spread: float | None = None
    plot_spread: float | None = None
    margin: float | None = None
    shares: tuple[float, ...] = ()
    odds_ratio: float | None = None
    bake_cost: float | None = None
    piece_cost: float | None = None


def needed(value: float | None, what: str, try_this: str) -> float:
    """The value; raises PlanError that names ``what`` where there is none."""
    if value is None:
        raise PlanError(f"The {what} is missing.", where="size", try_this=try_this)
    return value


def check(question: SizeQuestion) -> None:
    """Raises PlanError for what is missing, out of range, or more than a kitchen could bake."""
    if question.what not in KINDS:
        raise PlanError(f'"{question.what}" is no question of size.', where="--what", try_this=", ".join(KINDS))
    _check_amounts(question)
    _check_chances(question)
    _check_counts(question)
    if question.what not in ("shares", "scores"):
        needed(question.spread, "spread between bakes of one treatment", "--spread 2")
    if question.what == "pieces":
        needed(question.piece_spread, "spread between pieces of one bake", "--piece-spread 1")
    if question.what == "plots":
        needed(question.plot_spread, "spread between whole plots", "--plot-spread 1")


def _check_amounts(question: SizeQuestion) -> None:
    for name, option in (
        ("spread", "--spread"),
        ("difference", "--matters"),
        ("piece_spread", "--piece-spread"),
        ("plot_spread", "--plot-spread"),
        ("margin", "--margin"),
        ("odds_ratio", "--odds-ratio"),
    ):
        value = getattr(question, name)
        if value is not None and not (math.isfinite(value) and value > 0):
            raise PlanError(f"{option} {value:g} is not above 0.", where=option, try_this=f"{option} 2")
    for name, option in (("bake_cost", "--bake-cost"), ("piece_cost", "--piece-cost")):
        value = getattr(question, name)
        if value is not None and not (math.isfinite(value) and value >= 0):
            raise PlanError(f"{option} {value:g} is no cost.", where=option, try_this=f"{option} 1")
    for name, option in (
        ("difference", "--matters"),
        ("piece_spread", "--piece-spread"),
        ("plot_spread", "--plot-spread"),
        ("margin", "--margin"),
    ):
        value = getattr(question, name)
        if value is None or question.spread is None:
            continue
        if not 1 / WIDEST_RANGE <= value / question.spread <= WIDEST_RANGE:
            raise PlanError(
                f"{option} {value:g} and a spread of {question.spread:g} cannot be in the same unit.",
                where=option,
                try_this="give both in the unit of the response",
            )


def _check_chances(question: SizeQuestion) -> None:
    for name, option in (("power", "--power"), ("confidence", "--confidence")):
        value = getattr(question, name)
        if not 0 < value < 1:
            raise PlanError(f"{option} {value:g} is not between 0 and 1.", where=option, try_this=f"{option} 0.8")
    if question.confidence < 0.5:
        raise PlanError(
            f"--confidence {question.confidence:g} is less than even.",
            where="--confidence",
            try_this="--confidence 0.95",
        )
    by_chance = 1 - question.confidence
    if question.power <= by_chance:
        raise PlanError(
            f"{100 * by_chance:.3g} of 100 trials see a difference where there is none, "
            f"so --power {question.power:g} asks for nothing.",
            where="--power",
            try_this="--power 0.8",
        )


def _check_counts(question: SizeQuestion) -> None:
    most_bakes = MOST_COUNTED if question.what == "shares" else MOST_BAKES
    for name, option, least, most in (
        ("kinds", "--kinds", 2, MOST_KINDS),
        ("factors", "--factors", 1, MOST_FACTORS),
        ("pieces", "--pieces", 1, MOST_IN_ONE),
        ("bakes", "--bakes", 2, most_bakes),
    ):
        value = getattr(question, name)
        if value is not None and value < least:
            raise PlanError(f"{option} {value} is too few.", where=option, try_this=f"{option} {least}")
        if value is not None and value > most:
            raise PlanError(f"{option} {value} is too many.", where=option, try_this=f"{option} {most} or fewer")
