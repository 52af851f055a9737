"""What does a baker ask of a size, and what is the answer in numbers?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from typing import Any

from analysis.errors import NotPossible, PlanError
from analysis.sizes import powers
from analysis.sizes.asking import SizeQuestion, check, needed
from analysis.sizes.solving import bakes_for, difference_for, up, whole_bakes_for

CURVE = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 30)
MOST_PIECES = 6


@dataclass(frozen=True, kw_only=True)
class CurvePoint:
    """With so many bakes (of each; in all) this is the smallest difference seen with the asked power."""

    each: int
    total: int
    difference: float | None
    power: float | None


@dataclass(frozen=True, kw_only=True)
class PiecesPoint:
    """``pieces`` read from each bake take ``bakes`` of each kind to reach the power."""

    pieces: int
    bakes: int
    cost: float | None


@dataclass(frozen=True, kw_only=True)
class SizeAnswer:
    """``each`` bakes (of each kind, pairs, replicates, whole plots), ``total`` in all, seen with ``power``.

    ``given`` names which of bakes, difference and power was worked out. ``curve`` and ``pieces`` stand
    beside it where they make sense.
    """

    question: SizeQuestion
    solved: str
    each: int
    total: int
    difference: float | None
    power: float
    curve: tuple[CurvePoint, ...] = ()
    pieces: tuple[PiecesPoint, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Plain values, with the question they answer."""
        return asdict(self)


def answer(question: SizeQuestion) -> SizeAnswer:
    """Work out what was left open: the bakes, else the smallest difference, else the power.

    Raises PlanError for what is missing or cannot be, NotPossible beyond 10,000 bakes.
    """
    check(question)
    if question.what in ("shares", "scores", "equivalence"):
        return _without_spread_curve(question)
    power_of = _power_of(question)
    fewest = 2.0
    if question.bakes is None:
        difference = needed(question.difference, "difference", "--matters 3")
        each = up(bakes_for(lambda n: power_of(n, difference), question.power, fewest=fewest))
        solved, reached = "bakes", power_of(each, difference)
    elif question.difference is None:
        each = question.bakes
        spread = needed(question.spread, "spread", "--spread 2")
        found = difference_for(lambda d: power_of(each, d), question.power, scale=spread)
        difference, solved, reached = found, "difference", question.power
    else:
        each, difference, solved = question.bakes, question.difference, "power"
        reached = power_of(each, difference)
    return SizeAnswer(
        question=question,
        solved=solved,
        each=each,
        total=each * _times(question),
        difference=difference,
        power=reached,
        curve=tuple(_curve(question, power_of, fewest)),
        pieces=tuple(_pieces(question)) if question.what == "pieces" and question.difference is not None else (),
    )


def _power_of(question: SizeQuestion) -> Callable[[float, float], float]:
    """(bakes of each, difference) -> power."""
    spread, sure = float(question.spread or 1), question.confidence
    if question.what == "pairs":
        return lambda n, d: powers.paired(n, d, spread, sure)
    if question.what == "effects":
        size = 2**question.factors
        return lambda n, d: powers.effect(size * n, d, spread, size * (n - 1), sure)
    if question.what == "doses":
        return lambda n, d: powers.dose_line(n, question.kinds, d, spread, sure)
    if question.what == "plots":
        between = float(question.plot_spread or 0)
        return lambda n, d: powers.whole_plot_effect(n, question.pieces, d, between, spread, sure)
    if question.what == "pieces":
        within = float(question.piece_spread or 0)
        return lambda n, d: powers.pieces_of_bakes(n, question.pieces, d, spread, within, sure)
    if question.kinds == 2:
        return lambda n, d: powers.two_means(n, d, spread, sure)
    count = question.kinds
    return lambda n, d: powers.several_means(n, count, powers.f_of_largest_difference(count, d, spread), sure)


def _times(question: SizeQuestion) -> int:
    """How many bakes in all for one of each."""
    if question.what == "pairs":
        return 2
    if question.what == "effects":
        return int(2**question.factors)
    if question.what == "plots":
        return 2 * question.pieces
    return question.kinds if question.what in ("means", "doses") else 2


def _curve(question: SizeQuestion, power_of: Callable[[float, float], float], fewest: float) -> Sequence[CurvePoint]:
    found = []
    for each in CURVE:
        if each < fewest:
            continue
        try:
            seen = difference_for(partial(power_of, each), question.power, scale=float(question.spread or 1))
        except NotPossible:
            continue
        chance = None if question.difference is None else power_of(each, question.difference)
        found.append(CurvePoint(each=each, total=each * _times(question), difference=seen, power=chance))
    return found


def _pieces(question: SizeQuestion) -> Sequence[PiecesPoint]:
    """More pieces or more bakes? The bakes of each that every number of pieces takes, with their cost."""
    found = []
    difference = needed(question.difference, "difference", "--matters 3")
    for pieces in range(1, MOST_PIECES + 1):
        power_of = _power_of(replace(question, pieces=pieces))
        try:
            each = up(bakes_for(lambda n, of=power_of: of(n, difference), question.power))  # type: ignore[misc]
        except NotPossible:
            continue
        cost = None
        if question.bake_cost is not None or question.piece_cost is not None:
            cost = 2 * each * ((question.bake_cost or 0) + pieces * (question.piece_cost or 0))
        found.append(PiecesPoint(pieces=pieces, bakes=each, cost=cost))
    return found


def _without_spread_curve(question: SizeQuestion) -> SizeAnswer:
    """Shares, scores and equivalence: bakes for a power, or the power of so many bakes."""
    power_of = _counted(question)
    if question.bakes is None:
        if question.what == "shares":
            each = whole_bakes_for(lambda n: power_of(float(n)), question.power)
        else:
            each = up(bakes_for(power_of, question.power))
        solved = "bakes"
    else:
        each, solved = question.bakes, "power"
    points = [CurvePoint(each=n, total=2 * n, difference=None, power=power_of(float(n))) for n in (*CURVE, 40, 60, 100)]
    return SizeAnswer(
        question=question,
        solved=solved,
        each=each,
        total=2 * each,
        difference=question.difference,
        power=power_of(float(each)),
        curve=tuple(points),
    )


def _counted(question: SizeQuestion) -> Callable[[float], float]:
    if question.what == "equivalence":
        margin = needed(question.margin, "margin", "--margin 3")
        true = question.difference or 0.0
        if true >= margin:
            raise PlanError(
                f"A true difference of {true:g} is not inside the margin of {margin:g}.",
                where="--margin",
                try_this="a wider margin, or leave --matters out",
            )
        spread = float(question.spread or 1)
        return lambda n: powers.equivalent(n, margin, spread, true, question.confidence)
    if question.what == "shares":
        if len(question.shares) != 2 or not all(0 < share < 1 for share in question.shares):
            raise PlanError(
                "Two shares between 0 and 1 are compared.", where="--share", try_this="--share 0.6 --share 0.9"
            )
        if question.shares[0] == question.shares[1]:
            raise PlanError("Both shares are the same.", where="--share", try_this="--share 0.6 --share 0.9")
        one, other = question.shares
        return lambda n: powers.shares_exact(up(n), one, other, question.confidence)
    ratio = needed(question.odds_ratio, "odds ratio", "--odds-ratio 3")
    shares = question.shares
    if len(shares) < 2 or not all(0 < share < 1 for share in shares) or abs(sum(shares) - 1) > 1e-6:
        raise PlanError(
            "The shares of the scores, from the lowest up, add up to 1.",
            where="--share",
            try_this="--share 0.1 --share 0.3 --share 0.4 --share 0.2",
        )
    if ratio == 1:
        raise PlanError("An odds ratio of 1 is no difference.", where="--odds-ratio", try_this="--odds-ratio 3")
    return lambda n: powers.scores(n, shares, ratio, question.confidence)
