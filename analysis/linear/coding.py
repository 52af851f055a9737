"""How do settings become numbers a model can use?

A category with k levels becomes k - 1 columns that add to zero over its levels
(the first level is the one written as -1, so that two levels read -1 and +1 in
their stored order). An amount becomes one column from -1 at its lowest baked
value to +1 at its highest. A term's columns are products of its members' columns.
Matrices are built from positions; no name is ever read as a formula.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.questions import Factor

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True, eq=False, kw_only=True)
class Variable:
    """One factor or block as it was baked.

    ``codes`` (n,) give each bake's level; ``levels`` its names; ``coded`` (k, d) one row
    of model columns for each level. For an amount ``values`` (k,) are the distinct
    settings, ``middle`` and ``half`` the centre and half width of their range. A ``covariate`` was
    measured, not set: it enters like a block, a number as a slope from its mean.
    """

    name: str
    block: bool
    amount: bool
    unit: str
    codes: Integers
    levels: tuple[str, ...]
    coded: Floats
    values: Floats | None = None
    middle: float = 0.0
    half: float = 1.0
    covariate: bool = False

    @property
    def width(self) -> int:
        return self.coded.shape[1]

    @cached_property
    def columns(self) -> Floats:
        """Model columns, one row a bake (n, d)."""
        return self.coded[self.codes]

    @cached_property
    def average(self) -> Floats:
        """The row that stands for "averaged over": even over levels, mean over bakes for an amount.

        A bend shown by centre points (``centre_points``) is left out: means are those of the corners.
        """
        return self.columns.mean(axis=0) if self.amount and not self.block else np.zeros(self.width)


@dataclass(frozen=True)
class Term:
    """A block, a factor, a bend or an interaction: positions of its members among the variables."""

    name: str = field(compare=False)  # names may collide when one holds a colon; positions cannot
    members: tuple[int, ...]
    block: bool = field(default=False, compare=False)

    @property
    def order(self) -> int:
        return len(self.members)

    @property
    def square(self) -> bool:
        """One amount twice: its bend."""
        return len(self.members) == 2 and self.members[0] == self.members[1]

    def contains(self, other: Term) -> bool:
        return Counter(other.members) < Counter(self.members)


def category(name: str, labels: pd.Series, *, block: bool = False) -> Variable:
    """A variable from a column of names (ordered categorical, or anything that prints)."""
    if isinstance(labels.dtype, pd.CategoricalDtype):
        raw, stored = labels.cat.codes.to_numpy(), [str(level) for level in labels.cat.categories]
    else:
        raw, found = pd.factorize(labels.astype(str))
        stored = [str(level) for level in found]
    present, codes = np.unique(raw, return_inverse=True)
    return from_codes(name, codes.astype(np.int64), tuple(stored[code] for code in present), block=block)


def from_codes(name: str, codes: Integers, levels: tuple[str, ...], *, block: bool = False) -> Variable:
    identity = np.eye(len(levels) - 1)
    coded = np.vstack([-np.ones((1, len(levels) - 1)), identity])
    return Variable(name=name, block=block, amount=False, unit="", codes=codes, levels=levels, coded=coded)


def amount(name: str, numbers: pd.Series, unit: str = "") -> Variable:
    """A variable from a column of numbers; distinct values are its levels."""
    values, codes = np.unique(numbers.to_numpy(dtype=np.float64), return_inverse=True)
    middle, half = (values[0] + values[-1]) / 2, (values[-1] - values[0]) / 2
    coded = ((values - middle) / half if half > 0 else values * 0.0)[:, None]
    return Variable(
        name=name,
        block=False,
        amount=True,
        unit=unit,
        codes=codes.astype(np.int64),
        levels=tuple(number_label(value) for value in values),
        coded=coded,
        values=values,
        middle=float(middle),
        half=float(half),
    )


def covariate(name: str, column: pd.Series) -> Variable:
    """A measured column: numbers from their mean over the bakes (where means are adjusted to), or levels."""
    if isinstance(column.dtype, pd.CategoricalDtype):
        return replace(category(name, column, block=True), covariate=True)
    found = amount(name, column)
    assert found.values is not None
    numbers = column.to_numpy(dtype=np.float64)
    mean = float(numbers[0] + (numbers - numbers[0]).mean())
    coded = ((found.values - mean) / found.half if found.half > 0 else found.values * 0.0)[:, None]
    return replace(found, block=True, covariate=True, middle=mean, coded=coded)


def number_label(value: float) -> str:
    """The shortest writing of a setting: 2, 2.5, 0.125."""
    return f"{value:.12g}"


def variables_of(
    bakes: pd.DataFrame, factors: Sequence[Factor], blocks: Sequence[str], covariates: Sequence[str] = ()
) -> list[Variable]:
    """Blocks first, then covariates, then factors, in the order of the question."""
    found = [category(name, bakes[name], block=True) for name in blocks]
    found += [covariate(name, bakes[name]) for name in covariates]
    for factor in factors:
        if factor.kind == "category":
            found.append(category(factor.name, bakes[factor.name]))
        else:
            found.append(amount(factor.name, bakes[factor.name], factor.unit))
    return found


def make_term(variables: Sequence[Variable], members: tuple[int, ...]) -> Term:
    name = ":".join(variables[member].name for member in members)
    if len(members) == 2 and members[0] == members[1]:
        name = f"{variables[members[0]].name}^2"
    return Term(name=name, members=members, block=variables[members[0]].block)


def term_width(variables: Sequence[Variable], term: Term) -> int:
    return int(np.prod([variables[member].width for member in term.members]))


def term_columns(variables: Sequence[Variable], term: Term) -> Floats:
    """Columns of a term, one row a bake (n, d)."""
    columns = variables[term.members[0]].columns
    for member in term.members[1:]:
        more = variables[member].columns
        columns = (columns[:, :, None] * more[:, None, :]).reshape(len(columns), -1)
    return columns


def term_row(variables: Sequence[Variable], term: Term, settings: Mapping[int, int]) -> Floats:
    """A term's part of the row for a setting: variable position -> level; the rest averaged over."""
    row = np.ones(1)
    for member in term.members:
        variable = variables[member]
        part = variable.coded[settings[member]] if member in settings else variable.average
        row = np.outer(row, part).ravel()
    return row
