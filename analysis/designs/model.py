"""What model will the design be read with, and what can its runs tell apart?

The terms of the design's model with blocks, rows and columns as fixed effects, each in the
stratum in which it changes: a factor that is constant within every whole plot is judged by
the differences between whole plots.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from analysis.designs.columns import Column, Floats, Term, products, wanted_terms
from analysis.designs.entering import RANK_TOLERANCE, Entering, Stratum, indicators, rank_of
from analysis.designs.levels import Setting
from analysis.designs.requests import MIXTURE_MODELS, ModelName


@dataclass(frozen=True, kw_only=True)
class Model:
    """``matrix`` (runs, p) has full rank: the mean, fixed groups, the bend of centre points, then ``spans``.

    A mixture has no mean: its shares add up to one. ``spans`` are the terms it can tell; ``lost``
    are terms that others or the blocks already say. ``shared`` (runs, q) has one indicator column
    for each whole plot or strip that carries an error of its own. ``runs``: factor -> its coded
    settings (runs, d).
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
    runs: Mapping[str, Floats]

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

    def with_an_error(self) -> Model:
        """Without the highest interactions and bends of strata that have no error left, as the analysis reads them."""
        model = self
        for place in range(len(self.strata)):
            while (stratum := model.strata[place]).df_error <= 0 and any(len(t.factors) > 1 for t in stratum.terms):
                highest = max(len(term.factors) for term in stratum.terms)
                model = model._without(place, [term for term in stratum.terms if len(term.factors) == highest])
        return model

    def _without(self, place: int, terms: Sequence[Term]) -> Model:
        kept = np.ones(self.rank, dtype=bool)
        for term in terms:
            kept[self.spans[term]] = False
        renumbered = np.cumsum(kept) - 1
        spans = {
            term: slice(int(renumbered[span.start]), int(renumbered[span.stop - 1]) + 1)
            for term, span in self.spans.items()
            if term not in terms
        }
        poorer = self.strata[place]
        richer = replace(
            poorer,
            terms=tuple(term for term in poorer.terms if term not in terms),
            df_error=poorer.df_error + int((~kept).sum()),
        )
        strata = (*self.strata[:place], richer, *self.strata[place + 1 :])
        return replace(self, matrix=self.matrix[:, kept], spans=spans, lost=(*self.lost, *terms), strata=strata)


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
    dummies = [indicators([each[name] for each in groups])[:, 1:] for name in fixed]
    if mixture:  # shares add up to one: centred, blocks leave what the shares say of the mean alone
        dummies = [part - part.mean(axis=0) for part in dummies]
    base = np.hstack([np.ones((len(runs), 0 if mixture else 1)), *dummies])
    wanted = wanted_terms(columns, model)
    bend = None if mixture or errors else _bend(columns, per_factor, wanted, fixed_columns=base.shape[1] - 1)
    if bend is not None and rank_of(np.column_stack([base, bend])) <= base.shape[1]:
        bend = None  # all centre points stand in a block of their own, whose difference the bend would be
    builder = Entering(
        base=base if bend is None else np.column_stack([base, bend]),
        partitions=[indicators([each[name] for each in groups]) for name in errors],
        names=errors,
        mean=not mixture,
    )
    for _, peers in groupby(wanted, key=lambda term: (len(term.factors), term.is_square)):
        builder.offer_together({term: products([per_factor[name] for name in term.factors]) for term in peers})
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
        runs=per_factor,
    )


def _bend(
    columns: Mapping[str, Column], per_factor: Mapping[str, Floats], wanted: Sequence[Term], *, fixed_columns: int
) -> Floats | None:
    """(n,) 1 at centre points, which tell of a bend that all amounts share, as the analysis reads them.

    None without centre points, when so few runs are repeated that the error needs them all, and
    when single effects or interactions need the centre points to be told at all.
    """
    amounts = [per_factor[name][:, 0] for name, column in columns.items() if column.kind == "amount"]
    met = [len(np.unique(np.round(per_factor[name], 9), axis=0)) for name in columns]
    if len(amounts) < 2 or met != [3 if column.kind == "amount" else 2 for column in columns.values()]:
        return None
    middle = np.abs(np.column_stack(amounts)) < RANK_TOLERANCE
    centre = np.asarray(middle.all(axis=1))
    treatments = np.unique(np.round(np.hstack(list(per_factor.values())), 9), axis=0)
    repeated = len(centre) - len(treatments)
    if not centre.any() or np.any(middle.any(axis=1) != centre) or repeated <= fixed_columns:
        return None
    told = [products([per_factor[name] for name in term.factors]) for term in wanted if not term.is_square]
    model = np.hstack([np.ones((len(centre), 1)), *told])
    return np.asarray(centre, dtype=np.float64) if rank_of(model[~centre]) == rank_of(model) else None
