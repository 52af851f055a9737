"""What do rows of one assessor, day or bake share, and how likely are the data then?

Each group has an effect of its own on the hidden scale, normal with mean 0. The integral over the
effects is approximated around its highest point (Laplace), with any number of groups that nest or
cross; for one kind of group adaptive Gauss-Hermite quadrature gives it as exactly as wanted. Both
have exact gradients. Parameters are the fixed ones, then one standard deviation for each kind.
Sources: Pinheiro & Bates 1995, J. Comput. Graph. Stat. 4, 12; Liu & Pierce 1994, Biometrika 81, 624.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.scores.problem import Problem, Rows

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
NEAR = 1e-9  # expected gain from which a step needs no more watching
INNER = 60  # steps to the highest point of the effects
MOST_TOGETHER = 1500  # groups of crossing kinds; their matrix is dense
DENSE = 20_000  # cells of a membership matrix up to which plain arrays are faster


@dataclass(frozen=True, eq=False)
class Kin:
    """One kind of group: ``codes`` (n,) of each row, 0 ... count - 1."""

    name: str
    codes: Integers
    count: int


def _membership(kin: Sequence[Kin], n: int, sign: float) -> Any:
    """Which row belongs to which group (n, G): a plain matrix while small, a sparse one beyond."""
    if n * sum(one.count for one in kin) <= DENSE:
        return np.hstack([sign * (one.codes[:, None] == np.arange(one.count)[None, :]) for one in kin])
    from scipy.sparse import csr_array, hstack

    parts = [csr_array((np.full(n, sign), (np.arange(n), one.codes)), shape=(n, one.count)) for one in kin]
    return hstack(parts).tocsr()


class Shared:
    """A problem whose rows share group effects. Groups' effects are kept between calls as the next start."""

    def __init__(self, problem: Problem, kin: Sequence[Kin]) -> None:
        self.problem, self.kin = problem, tuple(kin)
        self.own = np.repeat(np.arange(len(kin)), [one.count for one in kin])
        self.alone = len(kin) == 1
        self.z = _membership(kin, len(problem.a), problem.kind.sign)
        self.zt = self.z.T.tocsr() if hasattr(self.z, "tocsr") else np.ascontiguousarray(self.z.T)
        self.members = abs(self.zt)
        self._start = np.zeros(self.z.shape[1])

    @cached_property
    def dense(self) -> Floats:
        return np.asarray(self.z.toarray() if hasattr(self.z, "toarray") else self.z, dtype=np.float64)

    # The highest point of the effects

    def modes(self, params: Floats) -> _Modes | None:
        """Standardised effects (G,) at their highest point; None where the fixed part is impossible."""
        q = self.problem.width
        spread = params[q:][self.own]
        u0, v0 = self.problem.predictors(params[:q])
        c = self._start.copy()
        found = self._at(c, spread, u0, v0)
        if found is None:
            c = np.zeros_like(c)
            found = self._at(c, spread, u0, v0)
        if found is None:
            return None
        for _ in range(INNER):
            step = found.solve(found.pull)
            if float(step @ found.pull) < NEAR:  # Newton doubles the digits: one more step is exact
                c = c + step
                found = self._at(c, spread, u0, v0) or found
                break
            moved = self._halved(c, step, spread, u0, v0, found.value)
            if moved is None:
                break
            c, found = moved
        self._start = c
        return found

    def _at(self, c: Floats, spread: Floats, u0: Floats, v0: Floats) -> _Modes | None:
        shift = self.z @ (spread * c)
        rows = self.problem.kind.rows(u0 + shift, v0 + shift)
        if not rows.possible:
            return None
        w = -(rows.uu + 2 * rows.uv + rows.vv)
        return _Modes(self, c, spread, u0 + shift, v0 + shift, rows, w)

    def _halved(
        self, c: Floats, step: Floats, spread: Floats, u0: Floats, v0: Floats, value: float
    ) -> tuple[Floats, _Modes] | None:
        share = 1.0
        for _ in range(30):
            found = self._at(c + share * step, spread, u0, v0)
            if found is not None and found.value >= value:
                return c + share * step, found
            share /= 2
        return None

    # The integral

    def laplace(self, params: Floats) -> tuple[float, Floats]:
        """Log of the integral and its gradient, to second order around the highest point."""
        at = self.modes(params)
        if at is None:
            return -np.inf, np.zeros(len(params))
        value = at.value - 0.5 * at.log_curvature
        return value, at.slope() - 0.5 * at.curvature_slope()

    def quadrature(self, params: Floats, nodes: int = 10) -> tuple[float, Floats]:
        """The same by ``nodes`` points for each group, placed by its highest point and curvature. One kind only."""
        at = self.modes(params)
        if at is None:
            return -np.inf, np.zeros(len(params))
        return _quadrature(self, at, params, nodes)


class _Modes:
    """The joint log-likelihood h = rows - c'c / 2 at effects c, and what hangs on it."""

    def __init__(self, shared: Shared, c: Floats, spread: Floats, u: Floats, v: Floats, rows: Rows, w: Floats) -> None:
        self.shared, self.c, self.spread, self.u, self.v, self.rows, self.w = shared, c, spread, u, v, rows, w
        self.value = float(rows.value.sum() - 0.5 * c @ c)
        self.pull = spread * (shared.zt @ (rows.u + rows.v)) - c

    @cached_property
    def root(self) -> Floats:
        """Curvature I + M'WM of the effects: its diagonal (G,) for one kind, else its Cholesky factor."""
        if self.shared.alone:
            return np.asarray(1 + self.spread**2 * (self.shared.members @ self.w), dtype=np.float64)
        inside = self.shared.zt @ (self.w[:, None] * self.shared.dense)
        curvature = np.eye(len(self.c)) + self.spread[:, None] * inside * self.spread[None, :]
        return np.asarray(np.linalg.cholesky(curvature), dtype=np.float64)

    def solve(self, right: Floats) -> Floats:
        """Curvature^-1 times (G,) or (G, k)."""
        if self.shared.alone:
            return np.asarray((right.T / self.root).T, dtype=np.float64)
        return np.asarray(self.inverse @ right, dtype=np.float64)

    @cached_property
    def inverse(self) -> Floats:
        """Curvature^-1 (G, G), of crossing kinds."""
        half = np.linalg.inv(self.root)
        return np.asarray(half.T @ half, dtype=np.float64)

    @property
    def log_curvature(self) -> float:
        return float(np.log(self.root).sum() if self.shared.alone else 2 * np.log(np.diag(self.root)).sum())

    def into_groups(self, right: Any) -> Floats:
        """M' times (n,) or (n, k)."""
        summed = self.shared.zt @ right
        return np.asarray((summed.T * self.spread).T, dtype=np.float64)

    def effects_of(self, kind: int) -> Floats:
        """d shift / d spread of one kind, at fixed c (n,)."""
        return np.asarray(self.shared.z @ np.where(self.shared.own == kind, self.c, 0.0), dtype=np.float64)

    def slope(self) -> Floats:
        """Gradient of h in the parameters, at fixed c."""
        problem, rows = self.shared.problem, self.rows
        fixed = problem.a.T @ rows.u + problem.b.T @ rows.v
        pulls = rows.u + rows.v
        return np.concatenate([fixed, [pulls @ self.effects_of(kind) for kind in range(len(self.shared.kin))]])

    @cached_property
    def thirds(self) -> tuple[Floats, Floats]:
        return self.shared.problem.kind.thirds(self.u, self.v)

    @cached_property
    def moves(self) -> Floats:
        """How the highest point moves with the parameters (G, k)."""
        problem, rows = self.shared.problem, self.rows
        mixed = (rows.uu + rows.uv)[:, None] * problem.a + (rows.uv + rows.vv)[:, None] * problem.b
        columns = [self.into_groups(mixed)]
        for kind in range(len(self.shared.kin)):
            own = self.shared.own == kind
            summed = np.where(own, self.shared.zt @ (rows.u + rows.v), 0.0)
            columns.append((self.into_groups(-self.w * self.effects_of(kind)) + summed)[:, None])
        return self.solve(np.hstack(columns))

    def weight_moves(self) -> Floats:
        """How each row's curvature w moves with the parameters, the highest point moving along (n, k)."""
        problem, (tu, tv) = self.shared.problem, self.thirds
        shifts = self.shared.z @ (self.spread[:, None] * self.moves)
        fixed = -(tu[:, None] * problem.a + tv[:, None] * problem.b)
        spreads = [-(tu + tv) * self.effects_of(kind) for kind in range(len(self.shared.kin))]
        return np.hstack([fixed, np.array(spreads).T]) - (tu + tv)[:, None] * shifts

    def curvature_slope(self) -> Floats:
        """Gradient of the log of the determinant of the curvature."""
        if self.shared.alone:
            return np.asarray((self.diagonal_moves() / self.root[:, None]).sum(axis=0), dtype=np.float64)
        solved = self.shared.dense @ (self.spread[:, None] * self.inverse)  # (n, G)
        leverage = ((self.shared.dense * self.spread) * solved).sum(axis=1)
        slope = leverage @ self.weight_moves()
        for kind in range(len(self.shared.kin)):
            own = self.shared.own == kind
            both = (self.shared.dense[:, own] * solved[:, own]).sum(axis=1)
            slope[self.shared.problem.width + kind] += 2 * float(self.w @ both)
        return np.asarray(slope, dtype=np.float64)

    def diagonal_moves(self) -> Floats:
        """How the curvature of each group (G, k) moves with the parameters; one kind only."""
        summed = self.shared.members
        moves = self.spread[:, None] ** 2 * (summed @ self.weight_moves())
        moves[:, -1] += 2 * self.spread * (summed @ self.w)
        return np.asarray(moves, dtype=np.float64)


def _quadrature(shared: Shared, at: _Modes, params: Floats, nodes: int) -> tuple[float, Floats]:
    points, weights = np.polynomial.hermite.hermgauss(nodes)
    problem, q = shared.problem, shared.problem.width
    groups = len(at.c)
    width = 1 / np.sqrt(at.root)  # standard deviation of each effect around its highest point
    # d width = -1/2 curvature^-3/2 d curvature
    width_moves = -0.5 * (width**3)[:, None] * at.diagonal_moves()
    u0, v0 = problem.predictors(params[:q])
    own_rows = shared.members
    logs, slopes = np.empty((nodes, groups)), np.empty((nodes, groups, len(params)))
    for node, (x, weight) in enumerate(zip(points, weights, strict=True)):
        c = at.c + np.sqrt(2) * width * x
        shift = shared.z @ (at.spread * c)
        rows = problem.kind.rows(u0 + shift, v0 + shift)
        pulls = shared.zt @ (rows.u + rows.v)
        logs[node] = own_rows @ rows.value - c * c / 2 + x * x + np.log(weight)
        slopes[node, :, :q] = own_rows @ (rows.u[:, None] * problem.a + rows.v[:, None] * problem.b)
        slopes[node, :, q] = pulls * c
        slopes[node] += (at.spread * pulls - c)[:, None] * (at.moves + np.sqrt(2) * x * width_moves)
    top = logs.max(axis=0)
    shares = np.exp(logs - top)
    total = shares.sum(axis=0)
    value = float((top + np.log(total) + np.log(width)).sum() - groups * 0.5 * np.log(np.pi))
    slope = (shares[:, :, None] * slopes).sum(axis=0) / total[:, None] + width_moves / width[:, None]
    return value, np.asarray(slope.sum(axis=0), dtype=np.float64)
