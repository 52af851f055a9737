"""At which level does a setting change: from bake to bake, or only from whole plot to whole plot?

A ground splits readings and columns into strata. Without groups there is one. With
groups (bakes that share an oven load, a batch of dough, a day) whole-plot means make
the first stratum and deviations from them the second, which holds whole plots fixed.
Exact when every whole plot holds the same settings; see the check "uneven whole plots".
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.linear.stratum import BAKES

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

SAME = 1e-12


@dataclass(frozen=True, eq=False)
class Ground:
    """``plots`` (n,) number each bake's whole plot, or None when there is one stratum.

    ``weights`` (n,) are what each bake weighs (above 0), with one stratum only: readings and columns
    are then seen times their square roots.
    """

    names: tuple[str, ...]
    y: Floats
    plots: Integers | None = None
    weights: Floats | None = None

    @property
    def rows(self) -> tuple[int, ...]:
        """Rows of each stratum."""
        return (len(self.y),) if self.plots is None else (self.count, len(self.y))

    @property
    def count(self) -> int:
        return 0 if self.plots is None else int(self.plots.max()) + 1

    @property
    def per_plot(self) -> float:
        """Bakes in a whole plot, on average: brings whole-plot squares to the scale of bakes."""
        return len(self.y) / self.count if self.count else 1.0

    @property
    def absorbed(self) -> tuple[int, ...]:
        """Degrees of freedom taken out of each stratum before any fit."""
        return (0,) if self.plots is None else (0, self.count)

    @property
    def stretch(self) -> Floats:
        """(n,) what readings and columns are multiplied by: 1 without weights."""
        return np.ones(len(self.y)) if self.weights is None else np.sqrt(self.weights)

    def readings(self) -> tuple[Floats, ...]:
        """The readings (centred) as each stratum sees them."""
        if self.plots is None:
            return (self.y * self.stretch,)
        means = self._means(self.y[:, None])
        return (np.sqrt(self.per_plot) * means[:, 0], self.y - means[self.plots, 0])

    def constant(self) -> Floats:
        """The column of the overall mean in the first stratum."""
        return np.full((self.rows[0], 1), np.sqrt(self.per_plot)) * (self.stretch[:, None] if self.plots is None else 1)

    def parts(self, columns: Floats) -> tuple[Floats, ...]:
        """Columns (n, d) as each stratum sees them."""
        if self.plots is None:
            return (columns * self.stretch[:, None],)
        means = self._means(columns)
        return np.sqrt(self.per_plot) * means, columns - means[self.plots]

    def place(self, columns: Floats) -> tuple[int, Floats]:
        """(stratum, columns as that stratum sees them): the finest in which columns (n, d) change."""
        parts = self.parts(columns)
        at = len(parts) - 1
        while at and np.abs(parts[at]).max(initial=0.0) < SAME:
            at -= 1
        return at, parts[at]

    def fitted(self, parts: tuple[Floats, ...]) -> Floats:
        """Fitted values of each bake from those of the strata."""
        if self.plots is None:
            return parts[0] / self.stretch
        return parts[0][self.plots] / np.sqrt(self.per_plot) + parts[1]

    def even(self, columns: Floats) -> bool:
        """Does every whole plot hold as many bakes and, on average, the same settings?

        Of ``columns`` (n, d) those that change within whole plots are looked at.
        """
        if self.plots is None:
            return True
        sizes = np.bincount(self.plots)
        means = self._means(columns)
        within = np.abs(columns - means[self.plots]).max(axis=0) > 1e-12
        uneven = np.abs(means - means[0])[:, within].max(initial=0.0)
        return bool(sizes.min() == sizes.max() and uneven < 1e-9)

    def _means(self, columns: Floats) -> Floats:
        assert self.plots is not None
        totals = np.zeros((self.count, columns.shape[1]))
        np.add.at(totals, self.plots, columns)
        return totals / np.bincount(self.plots)[:, None]


def flat(y: Floats, weights: Floats | None = None) -> Ground:
    return Ground((BAKES,), y, weights=weights)


def whole_plots(y: Floats, plots: Integers, name: str) -> Ground:
    return Ground((name, BAKES), y, plots)
