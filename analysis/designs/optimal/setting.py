"""In which surroundings does an optimal design stand: blocks, runs already baked, whole plots?

Every run is a row of the model, [terms | blocks]. A whole plot of m runs that share an error
of variance ``ratio`` times that of a bake takes c = ratio / (1 + ratio m) of the squared sum of
its rows away from the information (the inverse of I + ratio 11' is I - c 11'). With the other
rows of its plot held, a run still adds to the information along one direction only,

    sqrt(1 - c) (x - k s),   k = c / (1 - c),   s = sum of the other rows,

so runs within whole plots are exchanged by the same formulas as free runs (Goos and Vandebroek
2001, Technometrics 43, 436, have the determinant; the direction is worked out here).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.designs.optimal.updates import Floats


def centred_blocks(sizes: Sequence[int]) -> Floats:
    """(runs, blocks - 1) columns that tell the blocks apart, each with mean 0; runs stand block by block."""
    labels = np.repeat(np.arange(len(sizes)), sizes)
    columns = np.asarray(labels[:, None] == np.arange(len(sizes) - 1), dtype=np.float64)
    return columns - columns.mean(axis=0)


def slices(sizes: Sequence[int]) -> tuple[slice, ...]:
    """Where each group of runs stands when groups follow each other."""
    ends = np.cumsum(sizes)
    return tuple(slice(int(end - size), int(end)) for end, size in zip(ends, sizes, strict=True))


def information(rows: Floats, plots: Sequence[slice], ratio: float) -> Floats:
    """X'V^-1 X (…, P, P) of rows (…, n, P); without plots X'X."""
    total = np.swapaxes(rows, -1, -2) @ rows
    for plot in plots:
        inside = rows[..., plot, :]
        along = inside.sum(axis=-2)
        total = total - shrink(ratio, inside.shape[-2]) * along[..., :, None] * along[..., None, :]
    return total


def shrink(ratio: float, size: int) -> float:
    """How much of the squared sum of a whole plot's rows its shared error takes away: c above."""
    return ratio / (1 + ratio * size)


@dataclass(frozen=True, kw_only=True)
class Surroundings:
    """``blocks`` (runs, q): block columns of each place in the design, q = 0 without blocks.

    ``plots``: whole plots as slices of places, empty when every bake stands for itself.
    ``held`` (P, P): information of runs already baked. P = terms + q.
    """

    blocks: Floats
    held: Floats
    plots: tuple[slice, ...] = ()
    ratio: float = 0.0

    @property
    def runs(self) -> int:
        return len(self.blocks)

    @property
    def plain(self) -> bool:
        """Does a run add the same information wherever it stands?"""
        return not self.blocks.shape[1] and not self.plots

    def rows(self, terms: Floats) -> Floats:
        """(s, n, terms) -> (s, n, P)."""
        if not self.blocks.shape[1]:
            return terms
        return np.concatenate([terms, np.broadcast_to(self.blocks, (len(terms), *self.blocks.shape))], axis=2)

    def information(self, terms: Floats) -> Floats:
        """(s, n, terms) -> (s, P, P)."""
        return information(self.rows(terms), self.plots, self.ratio) + self.held

    def place(self, terms: Floats, at: int) -> Place:
        """How a run at place ``at`` of each design enters its information; ``terms`` (s, n, terms)."""
        shift = np.zeros((len(terms), len(self.held)))
        plot = next((each for each in self.plots if each.start <= at < each.stop), None)
        scale = 1.0
        if plot is not None:
            taken = shrink(self.ratio, plot.stop - plot.start)
            scale = float(np.sqrt(1 - taken))
            inside = self.rows(terms)[:, plot]
            shift = -taken / (1 - taken) * (inside.sum(axis=1) - inside[:, at - plot.start])
        if self.blocks.shape[1]:
            shift[:, -self.blocks.shape[1] :] += self.blocks[at]
        return Place(scale=scale, shift=shift)


@dataclass(frozen=True, kw_only=True)
class Place:
    """A run with terms x enters as ``scale`` * ([x | 0] + ``shift``); ``shift`` (s, P)."""

    scale: float
    shift: Floats

    def row(self, terms: Floats) -> Floats:
        """(s, terms) -> (s, P)."""
        row = self.shift.copy()
        row[:, : terms.shape[1]] += terms
        return self.scale * row
