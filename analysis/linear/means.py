"""What would each level give, averaged evenly over the rest of the design?

Predictions of the model: other categories and blocks count evenly, other amounts
stand at their mean over the bakes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from analysis.estimates import Mean
from analysis.linear.coding import Term, Variable
from analysis.linear.stratum import Contrast, Model

Floats = NDArray[np.float64]

MOST_LEVELS = 6  # an amount with more distinct settings than this gets a slope, not a table of means


@dataclass(frozen=True)
class Slice:
    """Levels of one variable, with another one held at a level (or averaged over)."""

    variable: int
    at: tuple[tuple[int, int], ...] = ()

    def rows(self, model: Model) -> Floats:
        """One model row for each level (k, columns)."""
        levels = range(len(model.variables[self.variable].levels))
        return np.array([model.row({**dict(self.at), self.variable: level}) for level in levels])

    def named(self, model: Model) -> dict[str, str]:
        return {model.variables[v].name: model.variables[v].levels[level] for v, level in self.at}


def has_table(variable: Variable) -> bool:
    return not variable.amount or len(variable.levels) <= MOST_LEVELS


def slices(model: Model) -> Iterator[Slice]:
    """Main-effect slices of every fitted factor, then the cells of two-factor interactions."""
    for term in model.terms:
        if not term.block and term.order == 1 and has_table(model.variables[term.members[0]]):
            yield Slice(term.members[0])
    for term in model.terms:
        if term.order == 2 and not term.square and all(has_table(model.variables[member]) for member in term.members):
            along, by = axis_and_lines(model, term)
            for level in _lines(model.variables[along], model.variables[by]):
                yield Slice(along, ((by, level),))


def _lines(along: Variable, by: Variable) -> range:
    """Levels that get a line of their own; of two amounts those that were baked as corners, not star points."""
    if not (along.amount and by.amount):
        return range(len(by.levels))
    _, (first, last) = _corners(along, by)
    return range(first, last + 1)


def axis_and_lines(model: Model, term: Term) -> tuple[int, int]:
    """Which member of an interaction lies along the axis: an amount, else the one with more levels."""
    first, second = term.members
    one, two = model.variables[first], model.variables[second]
    if (two.amount, len(two.levels)) > (one.amount, len(one.levels)):
        return second, first
    return first, second


def estimated_means(model: Model, slice_: Slice, confidence: float, letters: list[str | None]) -> list[Mean]:
    """The means of a slice, in the stored order of levels."""
    variable = model.variables[slice_.variable]
    found: list[Mean] = []
    for level, contrast, letter in zip(variable.levels, model.contrasts(slice_.rows(model)), letters, strict=True):
        low, high = contrast.interval(confidence)
        found.append(
            Mean(
                factor=variable.name,
                level=level,
                mean=contrast.estimate + model.offset,
                se=contrast.se,
                low=None if low is None else low + model.offset,
                high=None if high is None else high + model.offset,
                df=contrast.df,
                letters=letter,
                at=slice_.named(model),
            )
        )
    return found


def low_to_high(model: Model, variable: int, at: tuple[tuple[int, int], ...] = ()) -> Contrast:
    """Response at the last level less response at the first."""
    last = len(model.variables[variable].levels) - 1
    return model.contrast(model.row({**dict(at), variable: last}) - model.row({**dict(at), variable: 0}))


@dataclass(frozen=True)
class Tetrad:
    """The change of one factor's effect between two levels of another.

    ``along`` runs from level ``start`` to ``end``; ``by`` from ``first`` to ``second``.
    ``count`` is how many such changes there are to choose from.
    """

    along: int
    by: int
    start: int
    end: int
    first: int
    second: int
    count: int

    def effect_row(self, model: Model, level: int) -> Floats:
        """Row of the effect of ``along`` at one level of ``by``."""
        at = {self.by: level}
        return model.row({**at, self.along: self.end}) - model.row({**at, self.along: self.start})

    def row(self, model: Model) -> Floats:
        return self.effect_row(model, self.second) - self.effect_row(model, self.first)


def largest_tetrad(model: Model, term: Term) -> Tetrad:
    """The largest change of one factor's effect between the levels of the other.

    An amount enters with its ends only: its effect is from the lowest to the highest, of two
    amounts between the widest corners that were baked (star points reach further out than those).
    """
    along, by = axis_and_lines(model, term)
    one, other = model.variables[along], model.variables[by]
    rows = [model.row({along: a, by: b}) for a in range(len(one.levels)) for b in range(len(other.levels))]
    cells = np.array([contrast.estimate for contrast in model.contrasts(np.array(rows))])
    cells = cells.reshape(len(one.levels), len(other.levels))
    choices = [_corners(one, other)] if one.amount and other.amount else list(product(_pairs(one), _pairs(other)))
    changes = [abs(cells[a2, b2] - cells[a, b2] - cells[a2, b] + cells[a, b]) for (a, a2), (b, b2) in choices]
    (start, end), (first, second) = choices[int(np.argmax(changes))]
    return Tetrad(along, by, start, end, first, second, len(choices))


def _pairs(variable: Variable) -> list[tuple[int, int]]:
    count = len(variable.levels)
    if variable.amount:
        return [(0, count - 1)]
    return [(i, j) for i in range(count) for j in range(i + 1, count)]


def _corners(one: Variable, other: Variable) -> tuple[tuple[int, int], tuple[int, int]]:
    """The widest settings of two amounts of which all four combinations were baked; their ends without any."""
    baked = np.zeros((len(one.levels), len(other.levels)), dtype=bool)
    baked[one.codes, other.codes] = True
    best, widest = ((0, len(one.levels) - 1), (0, len(other.levels) - 1)), 0.0
    for low, high in combinations(range(len(one.levels)), 2):
        both = np.flatnonzero(baked[low] & baked[high])
        if len(both) > 1:
            size = float(
                (one.coded[high, 0] - one.coded[low, 0]) * (other.coded[both[-1], 0] - other.coded[both[0], 0])
            )
            if size > widest * (1 + 1e-9):
                best, widest = ((low, high), (int(both[0]), int(both[-1]))), size
    return best
