"""Which formulas does the kitchen keep, and what do they weigh?

A version of a formula never changes: the same name again makes the next version.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, col, select

from tracker.errors import InputError, NotFound
from tracker.formulas import BakersFormula, FormulaLine, checked, from_weights
from tracker.intake.amounts import read_amount
from tracker.intake.numbers import plain_number, read_number
from tracker.intake.plan_file import load_formula
from tracker.intake.spreadsheet import nearest
from tracker.models import Formula
from tracker.models import FormulaLine as LineRow
from tracker.workflow.lookup import key

if TYPE_CHECKING:
    from tracker.deeds import Deed
    from tracker.store import Store


@dataclass(frozen=True, kw_only=True)
class StoredFormula:
    """One version as it stands. ``written`` is False when it stood already, just so."""

    id: int
    version: int
    made_at: str
    formula: BakersFormula
    written: bool = False

    @property
    def title(self) -> str:
        return f"{self.formula.name}, version {self.version}"

    def to_json(self) -> dict[str, Any]:
        return {
            "name": self.formula.name,
            "version": self.version,
            "made_at": self.made_at,
            "method": self.formula.method,
            "total_percent": round(self.formula.total_percent, 6),
            "lines": [
                {"ingredient": line.ingredient, "bakers_percent": line.bakers_percent, "flour": line.flour}
                for line in self.formula.lines
            ],
        }

    def summary(self) -> str:
        width = max(len(line.ingredient) for line in self.formula.lines)
        lines = [
            f"  {line.ingredient:<{width}}  {line.bakers_percent:8.2f} %{'  flour' if line.flour else ''}"
            for line in self.formula.lines
        ]
        method = [f"\n{self.formula.method}"] if self.formula.method else []
        return "\n".join([f"{self.title} (in % of flour)", *lines, *method])


@dataclass(frozen=True, kw_only=True)
class WeighedFormula:
    """A formula scaled to ``flour_g``; ``grams`` in line order."""

    stored: StoredFormula
    flour_g: float
    grams: tuple[tuple[str, float], ...]

    def to_json(self) -> dict[str, Any]:
        weighed = [{"ingredient": item, "grams": round(grams, 6)} for item, grams in self.grams]
        total = round(sum(grams for _, grams in self.grams), 6)
        return {
            "name": self.stored.formula.name,
            "version": self.stored.version,
            "flour_g": self.flour_g,
            "total_g": total,
            "lines": weighed,
        }

    def summary(self) -> str:
        width = max(len(item) for item, _ in self.grams)
        lines = [f"  {item:<{width}}  {_grams(grams):>9} g" for item, grams in self.grams]
        total = f"  {'together':<{width}}  {_grams(sum(grams for _, grams in self.grams)):>9} g"
        return "\n".join([f"{self.stored.title}, for {self.flour_g:g} g of flour", *lines, total])


def _grams(grams: float) -> str:
    return f"{grams:.2f}" if 0 < grams < 10 else f"{grams:.1f}"


def read_formula(source: str, lines: Sequence[str], *, flours: Sequence[str] = (), method: str = "") -> BakersFormula:
    """A formula as it is typed: a TOML file alone, or a name with lines.

    Lines are all percentages of flour ("water=65") or all weights ("195 g water").
    """
    if not lines:
        if Path(source).suffix.casefold() != ".toml":
            raise InputError(
                f'"{source}" is no TOML file, and no lines are given.',
                where="formula",
                try_this=f'crumbwise formula add "{source}" --line "wheat flour=100" --line "water=65"',
            )
        return load_formula(source)
    weights = [line for line in lines if "=" not in line]
    if not weights:
        return checked(source, [_percent_line(line, flours) for line in lines], method=method)
    if len(weights) < len(lines):
        raise InputError(
            "Some lines are weights and some percentages.",
            where="formula",
            try_this='all as "water=65" (% of flour) or all as "195 g water"',
        )
    return from_weights(source, [_weight(line) for line in lines], flours=flours, method=method)


def _percent_line(text: str, flours: Sequence[str]) -> FormulaLine:
    name, _, percent = text.rpartition("=")
    name = " ".join(name.split())
    value = read_number(percent.replace("%", ""), what=name or "a line", where=f'line "{text}"')
    named = {" ".join(flour.split()).casefold() for flour in flours}
    return FormulaLine(ingredient=name, bakers_percent=value, flour=name.casefold() in named)


def _weight(text: str) -> tuple[str, float]:
    amount = read_amount(text, where="formula")
    if amount.grams is None:
        raise InputError(
            f'What "{text}" weighs depends on the ingredient.', where="formula", try_this=f'"… g {amount.ingredient}"'
        )
    return amount.ingredient, amount.grams


def add_formula(store: Store, formula: BakersFormula, *, person: int = 1) -> StoredFormula:
    """Keep a formula; the next version when the name is known and something differs."""
    with store.write(person=person, action="add formula") as deed:
        return keep_formula(deed, formula)


def keep_formula(deed: Deed, formula: BakersFormula) -> StoredFormula:
    """The same inside a larger deed. What stands already, just so, is not written again."""
    last = _latest(deed.session, formula.name)
    if last is not None and last.formula == formula:
        return last
    version = 1 if last is None else last.version + 1
    row = deed.add(Formula(name=formula.name, version=version, method=formula.method, made_at=deed.at))
    deed.add_many(
        LineRow(
            formula_id=key(row),
            position=position,
            ingredient=line.ingredient,
            bakers_percent=line.bakers_percent,
            flour=line.flour,
        )
        for position, line in enumerate(formula.lines, start=1)
    )
    return StoredFormula(id=key(row), version=version, made_at=row.made_at, formula=formula, written=True)


def _latest(session: Session, name: str) -> StoredFormula | None:
    row = session.exec(
        select(Formula).where(Formula.name == name).order_by(col(Formula.version).desc()).limit(1)
    ).first()
    return None if row is None else as_stored(session, row)


def as_stored(session: Session, row: Formula) -> StoredFormula:
    wanted = select(LineRow).where(LineRow.formula_id == row.id).order_by(col(LineRow.position))
    lines = tuple(
        FormulaLine(ingredient=line.ingredient, bakers_percent=line.bakers_percent, flour=line.flour)
        for line in session.exec(wanted)
    )
    formula = BakersFormula(name=row.name, lines=lines, method=row.method)
    return StoredFormula(id=key(row), version=row.version, made_at=row.made_at, formula=formula)


def find_formula(session: Session, name: str, version: int | None = None) -> StoredFormula:
    """The newest version of a formula, or the one asked for. Raises NotFound with the nearest name."""
    newest = _latest(session, name)
    if newest is None:
        known = list(session.exec(select(Formula.name).distinct()))
        near = nearest(name, known)
        listed = f'"{near}"' if near else f"one of {', '.join(sorted(known)[:10])}" if known else None
        raise NotFound(
            f'There is no formula "{name}".',
            where="kitchen",
            try_this=listed or f'crumbwise formula add "{name}" --line "wheat flour=100" --line "water=65"',
        )
    if version is None or version == newest.version:
        return newest
    row = session.exec(select(Formula).where(Formula.name == name, Formula.version == version)).first()
    if row is None:
        raise NotFound(
            f'The formula "{name}" has no version {version}.', where="kitchen", try_this=f"1 to {newest.version}"
        )
    return as_stored(session, row)


def show_formula(store: Store, name: str, version: int | None = None) -> StoredFormula:
    with store.read() as session:
        return find_formula(session, name, version)


def list_formulas(store: Store) -> tuple[StoredFormula, ...]:
    """The newest version of every formula, by name."""
    with store.read() as session:
        names = sorted(session.exec(select(Formula.name).distinct()))
        return tuple(find_formula(session, name) for name in names)


def newest_first(formulas: Sequence[StoredFormula]) -> dict[str, Sequence[str]]:
    """Name -> ingredients, what was written last first: the usual answer of a plan."""
    listed = sorted(formulas, key=lambda each: each.id, reverse=True)
    return {each.formula.name: each.formula.ingredients() for each in listed}


def weigh_formula(store: Store, name: str, *, flour: str, version: int | None = None) -> WeighedFormula:
    """Scale a formula to an amount of flour such as "300" (g) or "1.5 kg"."""
    flour_g = _flour_grams(flour)
    stored = show_formula(store, name, version)
    return WeighedFormula(stored=stored, flour_g=flour_g, grams=stored.formula.grams(flour_g))


def _flour_grams(text: str) -> float:
    number = plain_number(text)
    if isinstance(number, float):
        return number
    try:
        grams = read_amount(f"{text} flour").grams
    except InputError:
        grams = None
    if grams is None:
        raise InputError(f'"{text}" is no weight.', where="--flour-g", try_this='--flour-g 300, or "1.5 kg"')
    return grams
