"""Where does what was baked end, and where inside it is a quadratic best?

The region is the convex hull of the settings that were baked. Its surface consists of simplices, so
that the best of a quadratic is found exactly: it is either a top inside, or the top of a quadratic on
one of the faces (of any dimension), each of which is looked at.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from analysis.surfaces.quadratic import Quadratic

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

MOST_AMOUNTS = 5  # beyond, the hull has too many faces: the corners' box stands for it
EDGE = 1e-6
GRID = {1: 201, 2: 61, 3: 17, 4: 9, 5: 7}


@dataclass(frozen=True, eq=False)
class Region:
    """``normals`` @ z <= ``offsets`` inside; ``faces`` (m, k) index ``points`` and cover the surface."""

    points: Floats
    normals: Floats
    offsets: Floats
    faces: Integers
    hull: bool

    @property
    def k(self) -> int:
        return self.points.shape[1]

    def inside(self, coded: Floats, slack: float = EDGE) -> NDArray[np.bool_]:
        """(m,) which points lie inside, the edge included."""
        return np.asarray((np.atleast_2d(coded) @ self.normals.T <= self.offsets + slack).all(axis=1))

    def at_edge(self, coded: Floats) -> bool:
        return bool((self.normals @ coded >= self.offsets - 1e-4).any())

    @property
    def reach(self) -> float:
        """The largest distance from the middle that was baked."""
        return float(np.sqrt((self.points**2).sum(axis=1)).max())

    def grid(self) -> Floats:
        """Evenly spaced points inside (m, k); its corners are among them."""
        low, high = self.points.min(axis=0), self.points.max(axis=0)
        axes = [np.linspace(a, b, GRID.get(self.k, 5)) for a, b in zip(low, high, strict=True)]
        every = np.array(np.meshgrid(*axes, indexing="ij")).reshape(self.k, -1).T
        return np.vstack([every[self.inside(every)], self.points])


def baked_region(coded: Floats) -> Region:
    """The hull of the settings (n, k); the box of them where no hull can be had."""
    from scipy.spatial import ConvexHull, QhullError

    points = np.unique(np.round(coded, 12), axis=0)
    k = points.shape[1]
    if 2 <= k <= MOST_AMOUNTS:
        try:
            hull = ConvexHull(points)
        except QhullError:
            return _box(points)
        normals, offsets = hull.equations[:, :-1], -hull.equations[:, -1]
        used = np.unique(hull.simplices)
        faces = np.searchsorted(used, hull.simplices)
        return Region(points[used], normals, offsets, faces.astype(np.int64), hull=True)
    return _box(points)


def _box(points: Floats) -> Region:
    """Between the lowest and the highest settings, no further than the corners where there are star points."""
    k = points.shape[1]
    low, high = np.maximum(points.min(axis=0), -1.0), np.minimum(points.max(axis=0), 1.0)
    corners = np.array(list(product(*zip(low, high, strict=True))))
    eye = np.eye(k)
    none = np.zeros((0, k), dtype=np.int64)
    return Region(corners, np.vstack([eye, -eye]), np.concatenate([high, -low]), none, hull=False)


def best_of(quadratic: Quadratic, region: Region, *, sign: float) -> Floats:
    """The settings (k,) inside the region where ``sign`` times the response is largest."""
    candidates = [region.points]
    top = turning_point(quadratic)
    if top is not None and region.inside(top)[0]:
        candidates.append(top[None, :])
    candidates.append(_tops_of_box(quadratic, region) if not region.hull else _tops_of_faces(quadratic, region))
    every = np.vstack(candidates)
    every = every[region.inside(every)]
    worth = sign * quadratic.mean(every)
    # Of equally good settings the one nearest to the middle, where most is known.
    good = np.flatnonzero(worth >= worth.max() - 1e-10 * max(float(np.ptp(worth)), 1e-300))
    return np.asarray(every[good[np.argmin((every[good] ** 2).sum(axis=1))]])


def turning_point(quadratic: Quadratic) -> Floats | None:
    """Where the gradient is zero; None where a direction has no bend at all."""
    sizes = np.abs(np.linalg.eigvalsh(quadratic.bends))
    if not sizes.max(initial=0.0) > 0 or sizes.min() <= 1e-9 * sizes.max():
        return None
    found = np.linalg.solve(quadratic.bends, -quadratic.linear / 2)
    return np.asarray(found, dtype=np.float64) if np.isfinite(found).all() else None


def _tops_of_faces(quadratic: Quadratic, region: Region) -> Floats:
    """Points where the gradient along a face, an edge and so on is zero, and that lie on it."""
    found = [np.zeros((0, region.k))]
    for size in range(2, region.k + 1):
        parts = {tuple(sorted(part)) for face in region.faces for part in combinations(face.tolist(), size)}
        found.append(_tops_on(quadratic, region.points[np.array(sorted(parts))]))
    return np.vstack(found)


def _tops_on(quadratic: Quadratic, corners: Floats) -> Floats:
    """``corners`` (m, s, k) of m simplices of s corners; each with a top on itself gives one point."""
    first, spans = corners[:, 0], corners[:, 1:] - corners[:, :1]
    bends = 2 * spans @ quadratic.bends @ spans.transpose(0, 2, 1)
    slopes = np.einsum("msk,mk->ms", spans, quadratic.gradient(first))
    size = np.abs(bends).max(axis=(1, 2))
    known = np.abs(np.linalg.det(bends / np.where(size > 0, size, 1.0)[:, None, None])) > 1e-10
    known &= size > 0
    along = np.linalg.solve(bends[known], -slopes[known][:, :, None])[:, :, 0]
    on = (along >= -1e-12).all(axis=1) & (along.sum(axis=1) <= 1 + 1e-12)
    return np.asarray(first[known][on] + np.einsum("ms,msk->mk", along[on], spans[known][on]))


def _tops_of_box(quadratic: Quadratic, region: Region) -> Floats:
    """The same for a box, whose faces hold some amounts at an end and leave the others free."""
    k = region.k
    high, low = region.offsets[:k], -region.offsets[k:]
    found = [np.zeros((0, k))]
    if k > 8:  # 3^9 faces: the corners alone
        return found[0]
    for held in product((-1, 0, 1), repeat=k):
        free = np.flatnonzero(np.array(held) == 0)
        if not len(free) or len(free) == k:
            continue
        point = np.where(np.array(held) < 0, low, high).astype(np.float64)
        point[free] = 0.0
        bends = 2 * quadratic.bends[np.ix_(free, free)]
        if np.linalg.matrix_rank(bends) < len(free):
            continue
        point[free] = np.linalg.solve(bends, -quadratic.gradient(point)[0][free])
        found.append(point[None, :])
    return np.vstack(found)
