"""What is in the dough, in baker's percent, and what does that weigh for this much flour?

Baker's percent: grams per 100 g of flour. The flour lines add up to 100.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from tracker.errors import InputError

FLOUR_TOLERANCE = 0.05  # per cent: three flours of 33.33 are a whole
MOST_PERCENT = 10_000.0  # as the record's CHECK constraint


@dataclass(frozen=True, kw_only=True)
class FormulaLine:
    """One ingredient; ``bakers_percent`` >= 0."""

    ingredient: str
    bakers_percent: float
    flour: bool = False


@dataclass(frozen=True, kw_only=True)
class BakersFormula:
    """A formula in baker's percent, checked: see ``checked``."""

    name: str
    lines: tuple[FormulaLine, ...]
    method: str = ""

    @property
    def total_percent(self) -> float:
        """The whole dough in % of flour."""
        return math.fsum(line.bakers_percent for line in self.lines)

    def grams(self, flour_g: float) -> tuple[tuple[str, float], ...]:
        """(ingredient, grams) for this much flour in all, in line order. Raises InputError unless flour_g > 0."""
        if not (math.isfinite(flour_g) and flour_g > 0):
            raise InputError(f"{flour_g:g} g of flour cannot be baked.", where="flour", try_this="--flour-g 300")
        return tuple((line.ingredient, line.bakers_percent * flour_g / 100) for line in self.lines)

    def ingredients(self) -> tuple[str, ...]:
        return tuple(line.ingredient for line in self.lines)


def same_ingredient(a: str, b: str) -> bool:
    """Case and doubled spaces do not make another ingredient."""
    return _folded(a) == _folded(b)


def _folded(name: str) -> str:
    return " ".join(name.split()).casefold()


def checked(name: str, lines: Sequence[FormulaLine], *, method: str = "", where: str = "formula") -> BakersFormula:
    """A formula whose flour lines add up to 100.

    When no line says that it is flour, those with "flour" in their name are. Raises
    InputError that tells every problem at once.
    """
    if lines and not any(line.flour for line in lines):
        lines = [
            FormulaLine(
                ingredient=line.ingredient,
                bakers_percent=line.bakers_percent,
                flour="flour" in _folded(line.ingredient),
            )
            for line in lines
        ]
    problems = list(_problems(name, lines))
    if problems:
        raise InputError(" ".join(problem for problem, _ in problems), where=where, try_this=problems[0][1])
    return BakersFormula(name=name, lines=tuple(lines), method=method)


def _problems(name: str, lines: Sequence[FormulaLine]) -> Iterable[tuple[str, str]]:
    if not name.strip():
        yield "The formula has no name.", 'name = "yogurt loaf"'
    if not lines:
        yield "The formula has no lines.", 'a line such as "wheat flour=100"'
        return
    seen: set[str] = set()
    for line in lines:
        if not line.ingredient.strip():
            yield "A line names no ingredient.", 'a line such as "water=65"'
        if not (math.isfinite(line.bakers_percent) and 0 <= line.bakers_percent <= MOST_PERCENT):
            yield (
                f'"{line.ingredient}" at {line.bakers_percent:g} % of flour is no amount.',
                f"a percentage from 0 to {MOST_PERCENT:g}",
            )
        if _folded(line.ingredient) in seen:
            yield f'"{line.ingredient}" stands in two lines.', "one line with the sum"
        seen.add(_folded(line.ingredient))
    yield from _flour_problems(lines)


def _flour_problems(lines: Sequence[FormulaLine]) -> Iterable[tuple[str, str]]:
    flours = [line for line in lines if line.flour]
    total = math.fsum(line.bakers_percent for line in flours)
    if not flours:
        yield "No line is flour, so that nothing is 100 %.", 'flour = true for a line, or a name with "flour" in it'
    elif not abs(total - 100) <= FLOUR_TOLERANCE:
        named = ", ".join(f"{line.ingredient} {line.bakers_percent:g}" for line in flours)
        yield (
            f"The flour lines add up to {total:g} %, not to 100 ({named}).",
            "percentages of flour that add up to 100, or give weights in grams",
        )


def from_weights(
    name: str, weights: Sequence[tuple[str, float]], *, flours: Sequence[str] = (), method: str = ""
) -> BakersFormula:
    """The formula of a weighed dough: (ingredient, grams) pairs, ``flours`` naming what counts as flour.

    Without ``flours`` the ingredients with "flour" in their name are. Raises InputError without any flour.
    """
    named = {_folded(flour) for flour in flours}
    flags = [_folded(item) in named if named else "flour" in _folded(item) for item, _ in weights]
    flour_g = math.fsum(grams for (_, grams), flag in zip(weights, flags, strict=True) if flag)
    if not (math.isfinite(flour_g) and flour_g > 0):
        raise InputError(
            "No flour is weighed, so that nothing is 100 %.", where="formula", try_this='"300 g wheat flour"'
        )
    lines = [
        FormulaLine(ingredient=item, bakers_percent=100 * grams / flour_g, flour=flag)
        for (item, grams), flag in zip(weights, flags, strict=True)
    ]
    return checked(name, lines, method=method)
