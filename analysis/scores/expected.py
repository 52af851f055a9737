"""What score, share or count is to be expected at a setting, over all assessors and days?

Groups are averaged over: each expectation is the mean over the normal distribution of their effects,
by 24-point Gauss-Hermite quadrature. Uncertainty by the delta method with central differences.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.scores.data import Data
from analysis.scores.links import below

Floats = NDArray[np.float64]
NODES = 24


@dataclass(frozen=True, eq=False)
class Expected:
    """Expectations of a fitted model; ``params`` (k,) and ``covariance`` (k, k) in its own parameters."""

    data: Data
    params: Floats
    covariance: Floats | None

    def shares(self, x: Floats, params: Floats | None = None) -> Floats:
        """Chance of each score (m, k) at rows x (m, p)."""
        params = self.params if params is None else params
        lead, p = self.data.lead, self.data.x.shape[1]
        eta = x @ params[lead : lead + p]
        edges = params[None, :lead] - eta[:, None]
        spread = float(np.sqrt((params[lead + p :] ** 2).sum()))
        if spread == 0:
            cumulative = below(self.data.link, edges)
        else:
            nodes, weights = np.polynomial.hermite.hermgauss(NODES)
            shifted = edges[:, :, None] + np.sqrt(2) * spread * nodes
            cumulative = below(self.data.link, shifted) @ (weights / np.sqrt(np.pi))
        ends = np.ones((len(x), 1))
        return np.diff(np.hstack([0 * ends, cumulative, ends]), axis=1)

    def mean(self, x: Floats, params: Floats | None = None) -> Floats:
        """Expected score, share of yes, or count a piece (m,)."""
        params = self.params if params is None else params
        if not self.data.counted:
            return self.shares(x, params) @ np.array(self.data.values)
        lead, p = self.data.lead, self.data.x.shape[1]
        spread = float((params[lead + p :] ** 2).sum())
        return np.exp(np.clip(params[0] + x @ params[lead : lead + p] + spread / 2, -300, 300))

    def averaged(self, grids: list[Floats], params: Floats | None = None) -> Floats:
        """Means over each grid of rows, even over its rows (len(grids),)."""
        means = self.mean(np.vstack(grids), params)
        ends = np.cumsum([len(grid) for grid in grids])
        return np.array([part.mean() for part in np.split(means, ends[:-1])])

    def jacobian(self, grids: list[Floats]) -> Floats:
        """d averaged / d params (len(grids), k)."""
        columns = []
        for at, number in enumerate(self.params):
            step = 1e-5 * (1 + abs(number))
            up, down = self.params.copy(), self.params.copy()
            up[at] += step
            down[at] -= step
            columns.append((self.averaged(grids, up) - self.averaged(grids, down)) / (2 * step))
        return np.array(columns).T

    def spread(self, grids: list[Floats]) -> Floats | None:
        """Covariance of the averaged means; None without a covariance of the parameters."""
        if self.covariance is None:
            return None
        rows = self.jacobian(grids)
        return np.asarray(rows @ self.covariance @ rows.T, dtype=np.float64)
