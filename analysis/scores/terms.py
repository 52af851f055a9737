"""Which columns stand for which factor, and what do they hold at any setting?

Categories are set against their reference (the first level when none is named), amounts enter as
they are. Columns are built from positions; no name is read as a formula.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.errors import TrialDataError
from analysis.questions import Question

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False, kw_only=True)
class Variable:
    """A factor, block or covariate as it was baked. ``levels``: names of a category, or the distinct amounts.

    ``asked`` is False for blocks and covariates: they are allowed for, nobody asked about them.
    ``log`` takes the logarithm of an amount. ``middle`` and ``half`` centre and scale the column inside.
    """

    name: str
    amount: bool
    levels: tuple[str, ...]
    reference: str = ""
    values: tuple[float, ...] = ()
    unit: str = ""
    asked: bool = True
    log: bool = False
    middle: float = 0.0
    half: float = 1.0

    @property
    def block(self) -> bool:
        """Is it only allowed for?"""
        return not self.asked

    @property
    def labels(self) -> tuple[str, ...]:
        """What its columns are called."""
        if self.amount:
            return (f"log({self.name})" if self.log else self.name,)
        return tuple(f"{self.name}[{level}]" for level in self.levels if level != self.reference)

    def columns(self, cells: Sequence[object]) -> Floats:
        """(m, d) columns of settings. Raises TrialDataError for a level that was not baked."""
        if self.amount:
            numbers = np.array([float(str(cell)) for cell in cells])
            return ((np.log(numbers) if self.log else numbers)[:, None] - self.middle) / self.half
        texts = [str(cell) for cell in cells]
        unknown = sorted(set(texts) - set(self.levels))
        if unknown:
            raise TrialDataError(
                f'"{self.name}" has no level "{unknown[0]}".', where=self.name, try_this=f"Use {self.levels[0]}."
            )
        shown = [level for level in self.levels if level != self.reference]
        return np.array([[float(text == level) for level in shown] for text in texts]).reshape(len(texts), len(shown))

    @property
    def typical(self) -> float | None:
        """Where an amount is held while others are compared: the mean over the rows, as its column has it."""
        return 0.0 if self.amount else None


@dataclass(frozen=True)
class Term:
    """A variable or a product of several, by their positions; one twice is its square."""

    name: str
    members: tuple[int, ...]
    asked: bool

    def contains(self, other: Term) -> bool:
        own, its = list(self.members), list(other.members)
        if len(own) <= len(its):
            return False
        for member in its:
            if member not in own:
                return False
            own.remove(member)
        return True


@dataclass(frozen=True, eq=False, kw_only=True)
class Layout:
    """The variables and terms of a model with the columns each term takes. ``dropped``: terms that cannot be told."""

    variables: tuple[Variable, ...]
    terms: tuple[Term, ...]
    dropped: tuple[Term, ...] = ()

    def matrix(self, cells: Mapping[str, Sequence[object]], count: int) -> Floats:
        """(m, p) of settings: name -> one cell for each of ``count`` rows."""
        parts = {i: v.columns(list(cells[v.name])) for i, v in enumerate(self.variables)}
        columns = [_product([parts[i] for i in term.members]) for term in self.terms]
        return np.hstack(columns) if columns else np.zeros((count, 0))

    def places(self) -> list[list[int]]:
        """Which columns each term takes."""
        found, at = [], 0
        for term in self.terms:
            width = int(np.prod([len(self.variables[i].labels) for i in term.members]))
            found.append(list(range(at, at + width)))
            at += width
        return found

    def labels(self) -> list[str]:
        """What the columns are called, as coefficients."""
        found: list[str] = []
        for term in self.terms:
            if len(set(term.members)) < len(term.members):
                found.append(term.name)
                continue
            names = [""]
            for i in term.members:
                names = [
                    f"{before}:{label}" if before else label for before in names for label in self.variables[i].labels
                ]
            found += names
        return found

    def halves(self) -> Floats:
        """By what each column was divided (p,)."""
        found: list[float] = []
        for term in self.terms:
            width = int(np.prod([len(self.variables[i].labels) for i in term.members]))
            found += [float(np.prod([self.variables[i].half for i in term.members]))] * width
        return np.array(found)


def _product(parts: Sequence[Floats]) -> Floats:
    found = parts[0]
    for part in parts[1:]:
        found = (found[:, :, None] * part[:, None, :]).reshape(len(found), -1)
    return found


def lay_out_terms(frame: pd.DataFrame, question: Question, *, log: str | None = None) -> Layout:
    """The terms a question leads to, without those the rows cannot tell apart."""
    variables = _variables(frame, question, log)
    singles = [Term(v.name, (i,), v.asked) for i, v in enumerate(variables)]
    asked = [i for i, v in enumerate(variables) if v.asked]
    terms = list(singles)
    if question.model in ("interactions", "quadratic"):
        for size in range(2, min(question.order, len(asked)) + 1):
            terms += [_joint(variables, members) for members in combinations(asked, size)]
    if question.model == "quadratic":
        squares = [i for i in asked if variables[i].amount and len(variables[i].values) > 2]
        terms += [_joint(variables, (i, i)) for i in squares]
    return told_apart(Layout(variables=tuple(variables), terms=tuple(terms)), frame)


def with_pairs(layout: Layout, frame: pd.DataFrame) -> Layout:
    """The layout with every interaction and every bend of asked variables that the rows can tell."""
    asked = [i for i, v in enumerate(layout.variables) if v.asked]
    bends = [(i, i) for i in asked if layout.variables[i].amount and len(layout.variables[i].values) > 2]
    known = {term.members for term in layout.terms}
    more = [_joint(layout.variables, pair) for pair in (*combinations(asked, 2), *bends) if pair not in known]
    return told_apart(Layout(variables=layout.variables, terms=(*layout.terms, *more)), frame)


def _joint(variables: Sequence[Variable], members: tuple[int, ...]) -> Term:
    """An interaction, or the square of an amount."""
    if len(members) == 2 and members[0] == members[1]:
        return Term(f"{variables[members[0]].name}^2", members, True)
    return Term(":".join(variables[i].name for i in members), members, True)


def told_apart(layout: Layout, frame: pd.DataFrame) -> Layout:
    """Without the terms that add nothing, or not all their columns, to those before them."""
    kept: list[Term] = []
    dropped: list[Term] = []
    columns = np.ones((len(frame), 1))
    rank = 1
    parts = {i: v.columns(frame[v.name].tolist()) for i, v in enumerate(layout.variables)}
    for term in layout.terms:
        own = _product([parts[i] for i in term.members])
        more = np.hstack([columns, own])
        found = int(np.linalg.matrix_rank(more / np.maximum(np.abs(more).max(axis=0), 1e-300), tol=1e-8))
        if own.shape[1] and found == rank + own.shape[1]:
            kept.append(term)
            columns, rank = more, found
        else:
            dropped.append(term)
    return Layout(variables=layout.variables, terms=tuple(kept), dropped=(*layout.dropped, *dropped))


def _variables(frame: pd.DataFrame, question: Question, log: str | None) -> list[Variable]:
    factors = {factor.name: factor for factor in question.factors}
    names = [*question.blocks, *question.covariates, *factors]
    found = []
    for name in dict.fromkeys(names):
        factor = factors.get(name)
        numeric = frame[name].dtype.kind == "f" and (factor is None or factor.kind != "category")
        unit = factor.unit if factor else ""
        if numeric:
            found.append(_amount(name, frame[name].to_numpy(np.float64), unit, factor is not None, name == log))
        else:
            wanted = factor.reference if factor else None
            found.append(_category(name, frame[name], wanted, factor is not None))
    return [v for v in found if len(v.levels) > 1]


def _amount(name: str, numbers: Floats, unit: str, asked: bool, log: bool) -> Variable:
    values = np.unique(numbers)
    inside = np.log(numbers) if log else numbers
    half = float(np.ptp(inside)) / 2
    return Variable(
        name=name,
        amount=True,
        levels=tuple(f"{value:.12g}" for value in values),
        values=tuple(map(float, values)),
        unit=unit,
        asked=asked,
        log=log,
        middle=float(inside.mean()),
        half=half if half > 0 else 1.0,
    )


def _category(name: str, cells: pd.Series, reference: str | None, asked: bool) -> Variable:
    occurring = set(map(str, cells))
    stored = [str(level) for level in cells.cat.categories] if hasattr(cells, "cat") else sorted(occurring)
    levels = tuple(level for level in stored if level in occurring)
    first = reference if reference in levels else levels[0]
    return Variable(name=name, amount=False, levels=levels, reference=str(first), asked=asked)
