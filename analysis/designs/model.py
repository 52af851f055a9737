"""What model will the design be read with, and what can its runs tell apart?

The terms of the design's model with blocks, rows and columns as fixed effects, each in the
stratum in which it changes: a factor that is constant within every whole plot is judged by
the differences between whole plots.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.designs.columns import Column, Floats, Term, products, wanted_terms
from analysis.designs.levels import Setting
from analysis.designs.requests import MIXTURE_MODELS, ModelName

RANK_TOLERANCE = 1e-8
BAKES = "bakes"


@dataclass(frozen=True, kw_only=True)
class Stratum:
    """``group``: an error group, or "bakes" for single bakes; ``terms`` are judged by its ``df_error``."""

    group: str
    terms: tuple[Term, ...]
    df_error: int


@dataclass(frozen=True, kw_only=True)
class Model:
    """``matrix`` (runs, p) has full rank: the mean, fixed groups, the bend of centre points, then ``spans``.

    A mixture has no mean: its shares add up to one. ``spans`` are the terms it can tell; ``lost``
    are terms that others or the blocks already say. ``shared`` (runs, q) has one indicator column
    for each whole plot or strip that carries an error of its own.
    """

    name: ModelName
    columns: Mapping[str, Column]
    matrix: Floats
    spans: Mapping[Term, slice]
    lost: tuple[Term, ...]
    fixed_columns: int
    mean: bool
    bend: bool
    strata: tuple[Stratum, ...]
    shared: Floats

    @property
    def rank(self) -> int:
        return self.matrix.shape[1]

    @property
    def df_error(self) -> int:
        """Error degrees of freedom between single bakes."""
        return self.strata[-1].df_error

    @property
    def fewest_df(self) -> int:
        """The error degrees of freedom of the poorest stratum that has to judge a term."""
        return min((stratum.df_error for stratum in self.strata if stratum.terms), default=self.df_error)

    def stratum_of(self, term: Term) -> Stratum:
        return next(stratum for stratum in self.strata if term in stratum.terms)


def build_model(
    columns: Mapping[str, Column],
    runs: Sequence[Mapping[str, Setting]],
    groups: Sequence[Mapping[str, str]],
    *,
    model: ModelName,
    fixed: Sequence[str] = (),
    errors: Sequence[str] = (),
) -> Model:
    """The model of these runs (``groups``: those of each), with what cannot be told left out."""
    per_factor = {name: np.array([column.at(run[name]) for run in runs]) for name, column in columns.items()}
    mixture = model in MIXTURE_MODELS
    dummies = [_indicators([each[name] for each in groups])[:, 1:] for name in fixed]
    if mixture:  # shares add up to one: centred, blocks leave what the shares say of the mean alone
        dummies = [part - part.mean(axis=0) for part in dummies]
    base = np.hstack([np.ones((len(runs), 0 if mixture else 1)), *dummies])
    bend = None if mixture or errors else _bend(columns, per_factor, fixed_columns=base.shape[1] - 1)
    if bend is not None and _rank(np.column_stack([base, bend])) <= base.shape[1]:
        bend = None  # all centre points stand in a block of their own, whose difference the bend would be
    builder = _Builder(
        base=base if bend is None else np.column_stack([base, bend]),
        partitions=[_indicators([each[name] for each in groups]) for name in errors],
        names=errors,
    )
    for term in wanted_terms(columns, model):
        builder.offer(term, products([per_factor[name] for name in term.factors]))
    return Model(
        name=model,
        columns=columns,
        matrix=builder.matrix,
        spans=builder.spans,
        lost=tuple(builder.lost),
        fixed_columns=base.shape[1] - (0 if mixture else 1),
        mean=not mixture,
        bend=bend is not None,
        strata=builder.strata(),
        shared=np.hstack([np.ones((len(runs), 0)), *builder.partitions]),
    )


class _Builder:
    """Takes terms one by one: each enters the matrix and one stratum, or is lost."""

    def __init__(self, base: Floats, partitions: Sequence[Floats], names: Sequence[str]) -> None:
        self.matrix = base
        self.partitions = list(partitions)
        self.names = list(names)
        self.spans: dict[Term, slice] = {}
        self.lost: list[Term] = []
        self.terms: list[list[Term]] = [[] for _ in range(len(partitions) + 1)]
        # What each stratum already says: the fixed columns that are constant in its groups, its coarser groups.
        self.known = [self._constant_columns(base, part) for part in self.partitions]
        self.known.append(np.hstack([base, *self.partitions]))

    def _constant_columns(self, columns: Floats, part: Floats) -> Floats:
        return columns[:, [constant_within(columns[:, [at]], part) for at in range(columns.shape[1])]]

    def offer(self, term: Term, columns: Floats) -> None:
        at = next((i for i, part in enumerate(self.partitions) if constant_within(columns, part)), len(self.partitions))
        in_stratum = np.hstack([self.known[at], columns])
        whole = np.hstack([self.matrix, columns])
        if _rank(in_stratum) < _rank(self.known[at]) + columns.shape[1] or _rank(whole) < whole.shape[1]:
            self.lost.append(term)
            return
        self.spans[term] = slice(self.matrix.shape[1], whole.shape[1])
        self.matrix, self.known[at] = whole, in_stratum
        self.terms[at].append(term)

    def strata(self) -> tuple[Stratum, ...]:
        rows = [_rank(part) for part in self.partitions] + [len(self.matrix)]
        return tuple(
            Stratum(group=name, terms=tuple(terms), df_error=count - _rank(known))
            for name, terms, count, known in zip([*self.names, BAKES], self.terms, rows, self.known, strict=True)
        )


def constant_within(columns: Floats, part: Floats) -> bool:
    """Is every column (n, d) the same for all runs of each group of ``part`` (n, groups)?"""
    means = part @ ((part.T @ columns) / part.sum(axis=0)[:, None])
    return bool(np.all(np.abs(columns - means) < RANK_TOLERANCE))


def _indicators(labels: Sequence[str]) -> Floats:
    known = list(dict.fromkeys(labels))
    return np.array([[1.0 if label == each else 0.0 for each in known] for label in labels])


def _rank(matrix: Floats) -> int:
    return int(np.linalg.matrix_rank(matrix, tol=RANK_TOLERANCE * max(matrix.shape))) if matrix.shape[1] else 0


def _bend(columns: Mapping[str, Column], per_factor: Mapping[str, Floats], *, fixed_columns: int) -> Floats | None:
    """(n,) 1 at centre points, which tell of a bend that all amounts share, as the analysis reads them.

    None without centre points, or when so few runs are repeated that the error needs them all.
    """
    amounts = [per_factor[name][:, 0] for name, column in columns.items() if column.kind == "amount"]
    if len(amounts) < 2 or any(len(column.settings) != 2 for column in columns.values()):
        return None
    middle = np.abs(np.column_stack(amounts)) < RANK_TOLERANCE
    centre = np.asarray(middle.all(axis=1))
    treatments = np.unique(np.round(np.hstack(list(per_factor.values())), 9), axis=0)
    repeated = len(centre) - len(treatments)
    if not centre.any() or np.any(middle.any(axis=1) != centre) or repeated <= fixed_columns:
        return None
    return np.asarray(centre, dtype=np.float64)
