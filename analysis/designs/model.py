"""What model will the design be read with, and what can its runs tell apart?

Main effects and interactions of two factors, for a ladder of one amount its square as well,
for centre points the bend that all amounts share, with blocks as fixed effects, as
``analysis.linear`` reads the bakes: an amount becomes one column from -1 to 1, a category of
k levels k - 1 columns that add up to zero.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from analysis.designs.levels import Setting, coded

Floats = NDArray[np.float64]
RANK_TOLERANCE = 1e-8


@dataclass(frozen=True, kw_only=True)
class Column:
    """How one factor's settings become numbers. ``values`` (k, d): one row for each setting."""

    name: str
    amount: bool
    settings: tuple[Setting, ...]
    values: Floats

    def at(self, setting: Setting) -> Floats:
        """Model columns of a setting (d,); an amount may lie between its settings."""
        if self.amount:
            return np.array([coded(float(setting), self.settings)])  # type: ignore[arg-type]
        return self.values[self.settings.index(setting)]

    def extremes(self) -> list[tuple[Floats, Floats]]:
        """Pairs to compare: lowest and highest dose, or every two levels."""
        if self.amount:
            return [(self.values[0], self.values[-1])]
        return [(self.values[a], self.values[b]) for a, b in combinations(range(len(self.values)), 2)]


@dataclass(frozen=True, kw_only=True)
class Term:
    """``factors``: names; twice the same name is a square."""

    factors: tuple[str, ...]

    @property
    def name(self) -> str:
        first = self.factors[0]
        return f"{first}^2" if self.factors == (first, first) else ":".join(self.factors)


@dataclass(frozen=True, kw_only=True)
class Model:
    """``matrix`` (runs, p) has full rank: the mean, blocks, the bend of centre points, then ``spans``.

    ``spans`` are the terms it can tell; ``lost`` are terms that other terms or the blocks already say. ``rank`` = p.
    """

    columns: Mapping[str, Column]
    matrix: Floats
    spans: Mapping[Term, slice]
    lost: tuple[Term, ...]
    block_columns: int

    @property
    def rank(self) -> int:
        return self.matrix.shape[1]

    @property
    def df_error(self) -> int:
        return self.matrix.shape[0] - self.rank


def column_of(name: str, settings: tuple[Setting, ...]) -> Column:
    if isinstance(settings[0], str):
        eye = np.vstack([-np.ones((1, len(settings) - 1)), np.eye(len(settings) - 1)])
        return Column(name=name, amount=False, settings=settings, values=eye)
    doses = tuple(float(value) for value in settings)
    return Column(name=name, amount=True, settings=doses, values=np.array([[coded(value, doses)] for value in doses]))


def wanted_terms(columns: Mapping[str, Column], *, squares: bool) -> list[Term]:
    """Main effects, then squares, then interactions of two factors."""
    names = list(columns)
    squared = [name for name in names if squares and columns[name].amount and len(columns[name].settings) > 2]
    return [
        *(Term(factors=(name,)) for name in names),
        *(Term(factors=(name, name)) for name in squared),
        *(Term(factors=pair) for pair in combinations(names, 2)),
    ]


def build_model(
    settings: Mapping[str, tuple[Setting, ...]],
    runs: Sequence[Mapping[str, Setting]],
    blocks: Sequence[int],
    *,
    squares: bool,
) -> Model:
    """The model of these runs (``blocks``: the block of each), with what cannot be told left out."""
    columns = {name: column_of(name, doses) for name, doses in settings.items()}
    per_factor = {name: np.array([column.at(run[name]) for run in runs]) for name, column in columns.items()}
    count = max(blocks) + 1
    labels = np.array(blocks)
    base = [np.ones(len(runs)), *(np.where(labels == block, 1.0, 0.0) for block in range(1, count))]
    bend = _bend(columns, per_factor, block_columns=count - 1)
    matrix = np.column_stack(base if bend is None else [*base, bend])
    spans: dict[Term, slice] = {}
    lost = []
    for term in wanted_terms(columns, squares=squares):
        added = np.column_stack([matrix, products([per_factor[name] for name in term.factors])])
        if np.linalg.matrix_rank(added, tol=RANK_TOLERANCE * max(added.shape)) < added.shape[1]:
            lost.append(term)
        else:
            spans[term] = slice(matrix.shape[1], added.shape[1])
            matrix = added
    return Model(columns=columns, matrix=matrix, spans=spans, lost=tuple(lost), block_columns=count - 1)


def _bend(columns: Mapping[str, Column], per_factor: Mapping[str, Floats], *, block_columns: int) -> Floats | None:
    """(n,) 1 at centre points, which tell of a bend that all amounts share, as the analysis reads them.

    None without centre points, or when so few runs are repeated that the error needs them all.
    """
    amounts = [per_factor[name][:, 0] for name, column in columns.items() if column.amount]
    if len(amounts) < 2 or any(len(column.settings) != 2 for column in columns.values()):
        return None
    middle = np.abs(np.column_stack(amounts)) < RANK_TOLERANCE
    centre = np.asarray(middle.all(axis=1))
    treatments = np.unique(np.round(np.hstack(list(per_factor.values())), 9), axis=0)
    repeated = len(centre) - len(treatments)
    if not centre.any() or np.any(middle.any(axis=1) != centre) or repeated <= block_columns:
        return None
    return np.asarray(centre, dtype=np.float64)


def products(parts: Sequence[Floats]) -> Floats:
    """All products of one column from each part; parts are (n, d), the answer (n, d1 d2 …)."""
    out = parts[0]
    for part in parts[1:]:
        out = (out[:, :, None] * part[:, None, :]).reshape(len(out), -1)
    return out
