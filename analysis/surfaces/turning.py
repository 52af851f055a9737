"""Where does the surface turn, and how surely is that place known?

The region holds the settings at which the gradient may be zero: Box & Hunter 1954, Biometrika 41:190.
With g the fitted gradient at a setting and V its covariance, g'V^-1 g / k <= F(k, df). It covers the true
turning point exactly as often as it says.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtri

from analysis.surfaces.quadratic import Quadratic

Floats = NDArray[np.float64]

FAR = 8.0  # half ranges from the turning point beyond which the region counts as open
RAYS = {1: 2, 2: 240, 3: 300}


@dataclass(frozen=True, eq=False)
class TurningRegion:
    """``low`` and ``high`` (k,) coded, infinite where open; ``closed`` when no side is."""

    low: Floats
    high: Floats
    closed: bool


def distance(quadratic: Quadratic, coded: Floats) -> Floats | None:
    """g'V^-1 g / k at each of the settings (m, k)."""
    if quadratic.covariance is None or quadratic.df is None:
        return None
    points = np.atleast_2d(coded)
    rows = quadratic.gradient_rows(points)
    spread = rows @ quadratic.covariance @ rows.transpose(0, 2, 1)
    gradient = quadratic.gradient(points)
    solved = np.linalg.solve(spread, gradient[:, :, None])[:, :, 0]
    return np.asarray((gradient * solved).sum(axis=1) / quadratic.k)


def bound(quadratic: Quadratic, confidence: float) -> float:
    """F(k, df) at the confidence."""
    assert quadratic.df is not None
    return float(fdtri(quadratic.k, quadratic.df, confidence))


def turning_region(quadratic: Quadratic, point: Floats, confidence: float) -> TurningRegion | None:
    """The ends of the region along every amount, by rays from the turning point; None unjudged."""
    if quadratic.covariance is None or quadratic.df is None:
        return None
    limit = bound(quadratic, confidence)
    rays = _rays(quadratic.k)
    near, far, still = _brackets(quadratic, point, rays, limit)
    ends = point + _crossing(quadratic, point, rays, near, far, limit)[:, None] * rays
    low, high = ends[~still].min(axis=0, initial=np.inf), ends[~still].max(axis=0, initial=-np.inf)
    low, high = np.minimum(low, point), np.maximum(high, point)
    # A ray that never leaves the region opens it on the side of every amount it moves.
    low[(rays[still] < -1e-3).any(axis=0)] = -np.inf
    high[(rays[still] > 1e-3).any(axis=0)] = np.inf
    return TurningRegion(low, high, bool(not still.any()))


def _brackets(
    quadratic: Quadratic, point: Floats, rays: Floats, limit: float
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Lengths (r,) on either side of the edge along each ray, and which rays never leave the region."""
    near, far = np.zeros(len(rays)), np.full(len(rays), FAR)
    still = np.ones(len(rays), dtype=bool)
    before = 0.0
    for length in FAR * np.linspace(0, 1, 25)[1:] ** 2:
        at = np.flatnonzero(still)
        found = distance(quadratic, point + length * rays[at])
        assert found is not None
        out = at[found > limit]
        near[out], far[out], still[out] = before, length, False
        before = length
        if not still.any():
            break
    return near, far, still


def _crossing(quadratic: Quadratic, point: Floats, rays: Floats, near: Floats, far: Floats, limit: float) -> Floats:
    low, high = near, far
    for _ in range(22):
        middle = (low + high) / 2
        found = distance(quadratic, point + middle[:, None] * rays)
        assert found is not None
        low, high = np.where(found <= limit, middle, low), np.where(found <= limit, high, middle)
    return high


def _rays(k: int) -> Floats:
    """Unit vectors all around, the axes among them; the same every time."""
    if k == 2:
        angles = 2 * np.pi * np.arange(RAYS[2]) / RAYS[2]
        return np.column_stack([np.cos(angles), np.sin(angles)])
    chance = np.random.Generator(np.random.PCG64(k))
    free = chance.standard_normal((RAYS.get(k, 1500), k))
    every = np.vstack([np.eye(k), -np.eye(k), free, -free])
    return np.asarray(every / np.linalg.norm(every, axis=1)[:, None])
