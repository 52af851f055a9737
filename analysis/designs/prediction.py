"""How surely would the bakes predict a treatment, on average over what may be asked, and at worst?

The variance of a predicted mean in units of the variance between bakes, x' (X'X)^-1 x. The
average is exact over the box from the low to the high of every amount and all levels of every
category, by the moments of the model's columns; for shares it is taken over the baked blends,
those half way between them, and their mean; under constraints over what may be baked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np

from analysis.designs.columns import Column, Floats, Term, products
from analysis.designs.levels import Setting
from analysis.designs.model import Model
from analysis.designs.treatments import Treatments

# E[b_i b_j] for b = 1, x, x^2 with x even over [-1, 1].
EVEN = np.array([[1, 0, 1 / 3], [0, 1 / 3, 0], [1 / 3, 0, 1 / 5]])
MOST_POINTS = 20_000


@dataclass(frozen=True, kw_only=True)
class Prediction:
    """Variances of a predicted mean over the variance between bakes."""

    average_variance: float
    largest_variance: float


def prediction(model: Model, made: Treatments) -> Prediction | None:
    """None where whole plots share an error: a single figure would need their share of it."""
    if model.shared.shape[1]:
        return None
    covariance = np.linalg.inv(model.matrix.T @ model.matrix)
    mixed = any(column.kind == "share" for column in model.columns.values())
    asked = made.allowed or (_blends(made.treatments) if mixed else _corners(model, made))
    points = rows_of(model, asked)
    variances = np.einsum("ij,jk,ik->i", points, covariance, points)
    average = variances.mean() if mixed or made.allowed else np.trace(covariance @ moments(model))
    return Prediction(average_variance=float(average), largest_variance=float(variances.max()))


def moments(model: Model) -> Floats:
    """(p, p) mean of x x' over the box of amounts and all levels of categories, at the average block."""
    told = [*([0] if model.mean else []), *(at for span in model.spans.values() for at in range(span.start, span.stop))]
    constant = model.matrix.mean(axis=0)
    if model.bend:
        constant[model.fixed_columns + model.mean] = 0.0
    inner = term_moments(model.columns, list(model.spans), mean=model.mean)
    out = np.outer(constant, constant)
    means = inner[0] if model.mean else np.zeros(len(told))
    for at in range(model.rank):
        if at not in told:
            out[at, told] = out[told, at] = constant[at] * means
    out[np.ix_(told, told)] = inner
    return out


def term_moments(columns: Mapping[str, Column], terms: Sequence[Term], *, mean: bool) -> Floats:
    """(p, p) mean of x x' of the mean's column (if there is one) and the terms', over the whole box."""
    grams = {name: _gram(column) for name, column in columns.items()}
    parts = [*([{}] if mean else []), *(part for term in terms for part in _parts(term, columns))]
    out = np.ones((len(parts), len(parts)))
    for (i, one), (j, other) in product(enumerate(parts), repeat=2):
        for name in {*one, *other}:
            out[i, j] *= grams[name][one.get(name, 0), other.get(name, 0)]
    return out


def _gram(column: Column) -> Floats:
    if column.kind == "amount":
        return EVEN
    basis = np.column_stack([np.ones(len(column.settings)), column.values])
    return np.asarray(basis.T @ basis / len(basis))


def _parts(term: Term, columns: Mapping[str, Column]) -> list[Mapping[str, int]]:
    """For each column of a term: factor -> which of its basis functions it holds (1: x or first contrast, 2: x^2)."""
    if term.is_square:
        return [{term.factors[0]: 2}]
    widths = [range(1, columns[name].values.shape[1] + 1) for name in term.factors]
    return [dict(zip(term.factors, chosen, strict=True)) for chosen in product(*widths)]


def rows_of(model: Model, treatments: Sequence[Mapping[str, Setting]]) -> Floats:
    """(m, p) model rows of treatments at the average block."""
    out = np.tile(model.matrix.mean(axis=0), (len(treatments), 1))
    if model.bend:
        out[:, model.fixed_columns + model.mean] = 0.0
    per_factor = {
        name: np.array([column.at(each[name]) for each in treatments]) for name, column in model.columns.items()
    }
    for term, span in model.spans.items():
        out[:, span] = products([per_factor[name] for name in term.factors])
    return out


def _corners(model: Model, made: Treatments) -> Sequence[Mapping[str, Setting]]:
    """Lowest, middle and highest of every amount with every level; the treatments alone when those are too many."""
    choices: dict[str, Sequence[Setting]] = {
        name: column.settings
        if column.kind == "category"
        else (column.low, (column.low + column.high) / 2, column.high)
        for name, column in model.columns.items()
    }
    if np.prod([len(each) for each in choices.values()], dtype=float) > MOST_POINTS:
        return made.treatments
    return [dict(zip(choices, point, strict=True)) for point in product(*choices.values())]


def _blends(treatments: Sequence[Mapping[str, Setting]]) -> list[Mapping[str, Setting]]:
    def mean(several: Sequence[Mapping[str, Setting]]) -> Mapping[str, Setting]:
        first = several[0]
        return {
            name: value if isinstance(value, str) else float(np.mean([float(each[name]) for each in several]))
            for name, value in first.items()
        }

    distinct = list({tuple(each.items()): each for each in treatments}.values())[:200]
    return [*distinct, *(mean(pair) for pair in combinations(distinct, 2)), mean(distinct)]
