"""What does a formula give while its amounts are still being changed?

Lines are taken as they are typed: the balance is told of those that can be read, and
what keeps the formula from being kept is said beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from analysis.errors import AnalysisError
from analysis.words.formula_balance import balance_facts, balance_said
from analysis.words.numbers import say_number
from tracker.errors import InputError
from tracker.formulas import MOST_PERCENT, BakersFormula, FormulaLine, checked
from tracker.intake.numbers import number_text, read_number
from tracker.store import Store
from tracker.workflow.formulas import StoredFormula
from tracker.workflow.ingredients import own_values

FLOUR_G = 100.0  # baker's percent are grams for so much flour


@dataclass(frozen=True, kw_only=True)
class TypedLine:
    """A line of the editor as it stands in its fields."""

    ingredient: str
    percent: str
    flour: bool = False

    @property
    def empty(self) -> bool:
        return not self.ingredient.strip() and not self.percent.strip()


@dataclass(frozen=True, kw_only=True)
class LiveBalance:
    """For 100 g of flour, of the lines that can be read. ``wrong``: why the formula cannot be kept like that."""

    said: tuple[str, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    total: str = ""
    wrong: str = ""

    def to_json(self) -> dict[str, Any]:
        return {
            "said": list(self.said),
            "facts": [list(each) for each in self.facts],
            "total": self.total,
            "wrong": self.wrong,
        }


def lines_of(stored: StoredFormula) -> tuple[TypedLine, ...]:
    """A stored formula as it would be typed."""
    return tuple(
        TypedLine(ingredient=line.ingredient, percent=number_text(line.bakers_percent), flour=line.flour)
        for line in stored.formula.lines
    )


def read_typed(name: str, lines: Sequence[TypedLine], *, method: str = "") -> BakersFormula:
    """The formula as it was typed; empty lines count for nothing. Raises InputError that says what is wrong."""
    return checked(" ".join(name.split()), [_line(line) for line in lines if not line.empty], method=method.strip())


def live_balance(store: Store, lines: Sequence[TypedLine], *, name: str = "") -> LiveBalance:
    """Gas, what is left over and pH of what is typed so far; never raises for what is typed."""
    from analysis.leavening.balance import balance
    from analysis.leavening.names import known_amounts

    wrong, read = "", []
    for line in lines:
        try:
            if not line.empty:
                read.append(_line(line))
        except InputError as problem:
            wrong = wrong or problem.what
    if not wrong:
        try:
            checked(name or "a formula", read)
        except InputError as problem:
            wrong = problem.what
    with store.read() as session:
        own = own_values(session)
    total = f"{say_number(sum(line.bakers_percent for line in read))} % of flour" if read else ""
    weights = [(line.ingredient, line.bakers_percent * FLOUR_G / 100) for line in read if line.ingredient]
    try:
        known, left_out = known_amounts(weights, own)
        account = balance(known)
    except AnalysisError as problem:
        return LiveBalance(said=(problem.what,), total=total, wrong=wrong)
    return LiveBalance(said=balance_said(account, left_out), facts=balance_facts(account), total=total, wrong=wrong)


def ingredient_names() -> tuple[str, ...]:
    """Names whose acid or water is known, to be offered."""
    from analysis.leavening.names import known_names

    return known_names()


def _line(line: TypedLine) -> FormulaLine:
    ingredient = " ".join(line.ingredient.split())
    value = read_number(line.percent.replace("%", ""), what=ingredient or "a line", where="formula")
    if not 0 <= value <= MOST_PERCENT:
        raise InputError(
            f"{ingredient or 'A line'} at {value:g} % of flour is no amount.", where="formula", try_this="0 to 10000"
        )
    return FormulaLine(ingredient=ingredient, bakers_percent=value, flour=line.flour)
