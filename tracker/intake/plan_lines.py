"""Do the factors set lines that the formula has?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from difflib import get_close_matches

from tracker.formulas import same_ingredient
from tracker.intake.plan_checks import Numbered, nearest_or_all
from tracker.intake.plan_problems import Problem
from tracker.intake.plan_tables import FactorTable

SODA = ("baking soda", "soda", "bicarbonate of soda", "sodium bicarbonate")
MISSPELT = 0.85  # more alike than "baking soda" and "baking powder"


def check_lines(factors: Numbered, ingredients: Sequence[str]) -> Iterator[Problem]:
    """What the factors say of formula lines, against the formula's ingredients."""
    doses = [factor.ingredient for _, factor in factors if factor.ingredient]
    known = [*ingredients, *doses]
    for number, factor in factors:
        table = f"factor {number}"
        if factor.ingredient and not _holds(ingredients, factor.ingredient):
            close = get_close_matches(
                factor.ingredient.casefold(), [i.casefold() for i in ingredients], n=1, cutoff=MISSPELT
            )
            if close:
                yield Problem(
                    what=f'The formula has no line "{factor.ingredient}".',
                    try_this=f'"{close[0]}"',
                    table=table,
                    key="ingredient",
                )
        for key, line in (("replaces", factor.replaces), ("water_back", factor.water_line)):
            if line is not None and not _holds(known, line):
                yield Problem(
                    what=f'The formula has no line "{line}".',
                    try_this=nearest_or_all(line, known),
                    table=table,
                    key=key,
                )
        yield from _check_weighed_levels(table, factor, known)


def _check_weighed_levels(table: str, factor: FactorTable, known: Sequence[str]) -> Iterator[Problem]:
    if isinstance(factor.neutralises, str):
        wanted = SODA if factor.neutralises.casefold() in SODA else (factor.neutralises,)
        if not any(_holds(known, name) for name in wanted):
            yield Problem(
                what=f'"{factor.neutralises}" is to be neutralised, but is not in the formula.',
                try_this=f'a line "{factor.neutralises}", or neutralises = 1.5 (% of flour)',
                table=table,
                key="neutralises",
            )
    if factor.lines and factor.neutralises is None and not factor.amounts and factor.replaces is None:
        for level in factor.level_names:
            line = factor.lines.get(level, level)
            if not _holds(known, line):
                yield Problem(
                    what=f'The level "{level}" sets the line "{line}", which is not in the formula.',
                    try_this=nearest_or_all(line, known),
                    table=table,
                    key="lines",
                )


def _holds(ingredients: Sequence[str], name: str) -> bool:
    return any(same_ingredient(each, name) for each in ingredients)
