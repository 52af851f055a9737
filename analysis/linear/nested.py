"""In which group does a setting change, where groups lie within groups: days, batches of a day, bakes?

Means of the coarsest groups make the first stratum, deviations of finer groups from those they lie
in the next, deviations of bakes from their group the last (Cochran & Cox 1957, Experimental Designs,
ch. 7). Exact when groups of a kind are equally large and no column lies between two strata.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.linear.ground import Ground
from analysis.linear.random_groups import RandomGroup
from analysis.linear.stratum import BAKES

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class NestedGround(Ground):
    """``levels`` number each bake's group, coarse ones first; ``plots`` are the finest of them."""

    levels: tuple[Integers, ...] = ()

    @property
    def counts(self) -> tuple[int, ...]:
        return tuple(int(codes.max()) + 1 for codes in self.levels)

    @property
    def rows(self) -> tuple[int, ...]:
        return (*self.counts, len(self.y))

    @property
    def absorbed(self) -> tuple[int, ...]:
        return (0, *self.counts)

    def readings(self) -> tuple[Floats, ...]:
        return tuple(part[:, 0] for part in self.parts(self.y[:, None]))

    def constant(self) -> Floats:
        return np.full((self.counts[0], 1), np.sqrt(len(self.y) / self.counts[0]))

    def parts(self, columns: Floats) -> tuple[Floats, ...]:
        found: list[Floats] = []
        above: tuple[Integers, Floats] | None = None
        for codes, count in zip(self.levels, self.counts, strict=True):
            means = _means(columns, codes, count)
            own = means if above is None else means - above[1][_lies_in(codes, above[0], count)]
            found.append(np.sqrt(len(self.y) / count) * own)
            above = codes, means
        assert above is not None
        return (*found, columns - above[1][above[0]])

    def fitted(self, parts: tuple[Floats, ...]) -> Floats:
        total = parts[-1].copy()
        for part, codes, count in zip(parts, self.levels, self.counts, strict=False):
            total += part[codes] / np.sqrt(len(self.y) / count)
        return total

    def even(self, columns: Floats) -> bool:
        """Checked when the groups were laid."""
        return True


def _means(values: Floats, codes: Integers, count: int) -> Floats:
    totals = np.zeros((count, values.shape[1]))
    np.add.at(totals, codes, values)
    return np.asarray(totals / np.bincount(codes, minlength=count)[:, None])


def _lies_in(fine: Integers, coarse: Integers, count: int) -> Integers:
    """(count,) the coarse group of each fine one."""
    of = np.zeros(count, dtype=np.int64)
    of[fine] = coarse
    return of


def nested_ground(y: Floats, groups: Sequence[RandomGroup]) -> NestedGround:
    """``groups`` lie within each other, coarse ones first."""
    names = (*(group.name for group in groups), BAKES)
    levels = tuple(group.codes for group in groups)
    return NestedGround(names, y, plots=levels[-1], levels=levels)


def equally_large(groups: Sequence[RandomGroup]) -> bool:
    return all(np.ptp(np.bincount(group.codes)) == 0 for group in groups)


def parted(ground: Ground, columns: Sequence[Floats]) -> bool:
    """Do the parts of the model's columns (n, d) that each stratum sees lie in the model themselves?

    Then the strata hold all there is to know of each term, and their tests are exact.
    """
    x = np.hstack([np.ones((len(ground.y), 1)), *columns])
    x = x / np.linalg.norm(x, axis=0)
    return sum(_rank(part) for part in ground.parts(x)) == _rank(x)


def _rank(matrix: Floats) -> int:
    return int((np.linalg.svd(matrix, compute_uv=False) > 1e-8).sum()) if matrix.size else 0
