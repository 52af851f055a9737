"""Where two kinds of strips cut across each other, at which level does a setting change?

A strip-plot sets one factor for whole rows and another for whole columns of a block, so that
its rows, its columns and their intersections have an error each (Cochran & Cox 1957, Experimental
Designs, 7.3). Exact when every row meets every column of its block equally often.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.errors import NotPossible
from analysis.linear.coding import Variable
from analysis.linear.ground import Ground
from analysis.linear.grouping import joint_codes
from analysis.linear.stratum import BAKES
from analysis.questions import Question

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class StripGround(Ground):
    """``plots`` number the row strips, ``columns`` (n,) the column strips, ``blocks`` (n,) what both lie in."""

    columns: Integers | None = None
    blocks: Integers | None = None

    @property
    def _codes(self) -> tuple[Integers, Integers, Integers]:
        assert self.plots is not None
        assert self.columns is not None
        assert self.blocks is not None
        return self.plots, self.columns, self.blocks

    @property
    def _counts(self) -> tuple[int, int, int]:
        rows, columns, blocks = self._codes
        return int(rows.max()) + 1, int(columns.max()) + 1, int(blocks.max()) + 1

    @property
    def rows(self) -> tuple[int, ...]:
        in_rows, in_columns, _ = self._counts
        return (in_rows, in_columns, len(self.y))

    @property
    def absorbed(self) -> tuple[int, ...]:
        in_rows, in_columns, in_blocks = self._counts
        return (0, in_blocks, in_rows + in_columns - in_blocks)

    def readings(self) -> tuple[Floats, ...]:
        return tuple(part[:, 0] for part in self.parts(self.y[:, None]))

    def fitted(self, parts: tuple[Floats, ...]) -> Floats:
        rows, columns, _ = self._codes
        per_row, per_column = self._sizes()
        return np.asarray(parts[0][rows] / np.sqrt(per_row) + parts[1][columns] / np.sqrt(per_column) + parts[2])

    def even(self, columns: Floats) -> bool:
        """Checked when the strips were laid."""
        return True

    def _sizes(self) -> tuple[float, float]:
        in_rows, in_columns, _ = self._counts
        return len(self.y) / in_rows, len(self.y) / in_columns

    def parts(self, values: Floats) -> tuple[Floats, ...]:
        """Row means, column means less those of their block, and what is left of each bake; each (·, d)."""
        rows, columns, blocks = self._codes
        by_row, by_column, by_block = (_means(values, codes) for codes in (rows, columns, blocks))
        block_of_column = np.zeros(int(columns.max()) + 1, dtype=np.int64)
        block_of_column[columns] = blocks
        across = by_column - by_block[block_of_column]
        per_row, per_column = self._sizes()
        whole = values - by_row[rows] - across[columns]
        return np.sqrt(per_row) * by_row, np.sqrt(per_column) * across, whole


def _means(values: Floats, codes: Integers) -> Floats:
    totals = np.zeros((int(codes.max()) + 1, values.shape[1]))
    np.add.at(totals, codes, values)
    return np.asarray(totals / np.bincount(codes)[:, None])


def lay_strips(
    bakes: pd.DataFrame, question: Question, variables: Sequence[Variable], y: Floats
) -> tuple[Ground, list[Variable]]:
    """The three strata of a strip-plot. Raises NotPossible unless every row meets every column of its block alike."""
    (rows, _), (columns, _) = (joint_codes(bakes, (name,)) for name in question.strips)
    blocks = _blocks(rows, columns)
    meetings = np.zeros((int(rows.max()) + 1, int(columns.max()) + 1), dtype=np.int64)
    np.add.at(meetings, (rows, columns), 1)
    met = meetings[meetings > 0]
    pairs = sum(
        len(np.unique(rows[blocks == block])) * len(np.unique(columns[blocks == block])) for block in np.unique(blocks)
    )
    sizes = {
        (len(np.unique(rows[blocks == block])), len(np.unique(columns[blocks == block]))) for block in np.unique(blocks)
    }
    if len(set(met.tolist())) != 1 or len(met) != pairs or len(sizes) != 1:
        named = " and ".join(question.strips)
        raise NotPossible(
            f"Not every {question.strips[0]} met every {question.strips[1]} of its block equally often, so that "
            f"the errors of {named} cannot be parted.",
            where=named,
            try_this="bake the missing runs, or analyse with --group for the strips of one kind",
        )
    names = (*question.strips, BAKES)
    return StripGround(names, y, rows, columns=columns, blocks=blocks), list(variables)


def _blocks(rows: Integers, columns: Integers) -> Integers:
    """(n,) which bakes hang together through shared rows and columns."""
    labels = rows.copy()
    while True:
        lowest = np.full(int(columns.max()) + 1, len(rows), dtype=np.int64)
        np.minimum.at(lowest, columns, labels)
        by_row = np.full(int(rows.max()) + 1, len(rows), dtype=np.int64)
        np.minimum.at(by_row, rows, lowest[columns])
        fresh = by_row[rows]
        if np.array_equal(fresh, labels):
            return np.unique(labels, return_inverse=True)[1].astype(np.int64)
        labels = fresh
