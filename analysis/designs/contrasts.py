"""Which weights on a model's coefficients make the effect of a term?

A main effect averages over all else. A share's effect runs along the line on which the other
shares keep their proportions to each other (Cox 1971, Biometrika 58:155; the direction through
the design's mean blend); the effect of a blend of two or three is how far an even blend of them
lies from the straight line between them.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations, product

import numpy as np

from analysis.designs.columns import Column, Floats, Term, products
from analysis.designs.model import Model


def contrasts(model: Model, term: Term) -> list[Floats]:
    """Weights (p,) that make the effect of a term; several where levels can be compared in several ways."""
    columns = [model.columns[name] for name in term.factors]
    if columns[0].kind == "share":
        return [_along(model, columns[0])] if len(columns) == 1 else [_even_blend(model, term)]
    if len(columns) == 1:
        name = term.factors[0]
        return [row_at(model, {name: high}) - row_at(model, {name: low}) for low, high in columns[0].extremes()]
    first, second = term.factors
    if first == second:
        return [_bend(model, columns[0])]
    pairs = list(product(columns[0].extremes(), columns[1].extremes()))
    if all(column.kind == "amount" for column in columns):
        pairs = [_corners(model, first, second)]
    return [
        row_at(model, {first: b, second: d})
        - row_at(model, {first: a, second: d})
        - row_at(model, {first: b, second: c})
        + row_at(model, {first: a, second: c})
        for (a, b), (c, d) in pairs
    ]


def _corners(model: Model, first: str, second: str) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
    """The widest settings of two amounts of which all four combinations are baked; their ends without any."""
    rows = {
        (round(float(x), 9), round(float(y), 9))
        for x, y in zip(model.runs[first][:, 0], model.runs[second][:, 0], strict=True)
    }
    partners: dict[float, set[float]] = {}
    for x, y in rows:
        partners.setdefault(x, set()).add(y)
    best, widest = (model.columns[first].extremes()[0], model.columns[second].extremes()[0]), 0.0
    for low, high in combinations(sorted(partners), 2):
        both = partners[low] & partners[high]
        if len(both) > 1 and (high - low) * (max(both) - min(both)) > widest * (1 + 1e-9):
            ends = (np.array([low]), np.array([high])), (np.array([min(both)]), np.array([max(both)]))
            best, widest = ends, (high - low) * (max(both) - min(both))
    return best


def _bend(model: Model, column: Column) -> Floats:
    """The middle against the mean of both ends."""
    low, high = column.extremes()[0]
    ends = (row_at(model, {column.name: low}) + row_at(model, {column.name: high})) / 2
    return row_at(model, {column.name: (low + high) / 2}) - ends


def _along(model: Model, column: Column) -> Floats:
    """From the lowest to the highest share, the others in the proportions of the mean blend."""
    shares = [each for each in model.columns.values() if each.kind == "share"]
    blends = np.unique(np.round(np.hstack([model.runs[each.name] for each in shares]), 9), axis=0)
    mean = {each.name: float(share) for each, share in zip(shares, blends.mean(axis=0), strict=True)}
    rest = 1 - mean[column.name]
    low, high = column.extremes()[0]
    rows = []
    for share in (low, high):
        others = {
            each.name: np.array([mean[each.name] * (1 - share[0]) / rest if rest > 0 else 0.0])
            for each in shares
            if each is not column
        }
        rows.append(row_at(model, {**others, column.name: share}))
    return np.asarray(rows[1] - rows[0])


def _even_blend(model: Model, term: Term) -> Floats:
    row = np.zeros(model.rank)
    for other, span in model.spans.items():
        if len(other.factors) > 1 and set(other.factors) <= set(term.factors):
            row[span] = len(term.factors) ** -len(other.factors)
    return row


def row_at(model: Model, chosen: Mapping[str, Floats]) -> Floats:
    """One row of the model with some factors set, other amounts at their mean over the runs, other levels evenly."""
    parts = {
        name: chosen[name]
        if name in chosen
        else (column.values if column.kind == "category" else model.runs[name]).mean(axis=0)
        for name, column in model.columns.items()
    }
    row = np.zeros(model.rank)
    row[0] = 1.0 if model.mean else 0.0
    for term, span in model.spans.items():
        row[span] = products([parts[name][None, :] for name in term.factors])[0]
    return row
