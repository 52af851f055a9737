"""Which corners, edges and faces has the region of blends that keep all bounds?

The region is {x: x_1 + … + x_q = 1, normals x <= bounds}. Its corners are the extreme vertices of
McLean & Anderson 1966 (Technometrics 8:447) and Snee & Marquardt 1974 (Technometrics 16:399), found here
as the points where q - 1 of the bounds are met at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, islice
from math import comb

import numpy as np
from numpy.typing import NDArray

from analysis.designs.columns import Floats
from analysis.errors import PlanError

NEAR = 1e-9
MOST_MEETINGS = 400_000
AT_ONCE = 20_000
DIGITS = 9


@dataclass(frozen=True, kw_only=True)
class Polytope:
    """``corners`` (v, q), and which of the bounds each of them meets (v, m)."""

    corners: Floats
    met: NDArray[np.bool_]

    @property
    def dimension(self) -> int:
        return _dimension(self.corners)

    def middles(self, dimension: int) -> Floats:
        """Means of the corners of every face of this dimension: 1 edges, 2 flat faces. PlanError for too many."""
        if comb(len(self.corners), dimension + 1) > MOST_MEETINGS:
            raise PlanError(
                f"A region of {len(self.corners)} corners has more faces than can be looked for.",
                where="design, degree",
                try_this="degree = 2, or fewer shares",
            )
        faces = {
            self._face(chosen)
            for chosen in combinations(range(len(self.corners)), dimension + 1)
            if self.met[list(chosen)].all(axis=0).sum() >= self.dimension - dimension
        }
        return self._means(face for face in faces if _dimension(self.corners[list(face)]) == dimension)

    def face_middles(self) -> Floats:
        """Means of the corners on each bound that is a face of the region."""
        faces = {tuple(np.flatnonzero(column).tolist()) for column in self.met.T}
        return self._means(
            face for face in faces if face and _dimension(self.corners[list(face)]) == self.dimension - 1
        )

    def middle(self) -> Floats:
        """(1, q): the mean of all corners."""
        return self.corners.mean(axis=0, keepdims=True)

    def _face(self, chosen: tuple[int, ...]) -> tuple[int, ...]:
        """The corners of the smallest face that holds the chosen ones."""
        common = self.met[list(chosen)].all(axis=0)
        return tuple(np.flatnonzero(self.met[:, common].all(axis=1)).tolist())

    def _means(self, faces: Iterator[tuple[int, ...]]) -> Floats:
        means = [self.corners[list(face)].mean(axis=0) for face in sorted(faces)]
        return np.array(means) if means else np.empty((0, self.corners.shape[1]))


def polytope(normals: Floats, bounds: Floats) -> Polytope:
    """The region of normals (m, q) and bounds (m,); no corners when it is empty. PlanError when it has too many."""
    m, q = normals.shape
    if comb(m, q - 1) > MOST_MEETINGS:
        raise PlanError(
            f"{q} shares with {m} bounds make more corners than can be looked for.",
            where="factor",
            try_this='fewer shares or bounds, or kind = "mixture lattice" with lows only',
        )
    length = np.linalg.norm(normals, axis=1)
    normals, bounds = normals / length[:, None], bounds / length
    found = np.vstack([np.empty((0, q)), *_meetings(normals, bounds)])
    corners = np.unique(np.round(found, DIGITS) + 0.0, axis=0)[::-1]
    return Polytope(corners=corners, met=np.abs(corners @ normals.T - bounds) < 10 * NEAR)


def _meetings(normals: Floats, bounds: Floats) -> Iterator[Floats]:
    """Points within all bounds where q - 1 of them are met."""
    m, q = normals.shape
    every = combinations(range(m), q - 1)
    while chunk := list(islice(every, AT_ONCE)):
        chosen = np.array(chunk, dtype=int).reshape(len(chunk), q - 1)
        left = np.concatenate([normals[chosen], np.ones((len(chunk), 1, q))], axis=1)
        right = np.concatenate([bounds[chosen], np.ones((len(chunk), 1))], axis=1)
        alone = np.abs(np.linalg.det(left)) > NEAR
        points = np.linalg.solve(left[alone], right[alone][:, :, None])[:, :, 0]
        yield points[np.all(points @ normals.T <= bounds + NEAR, axis=1)]


def _dimension(points: Floats) -> int:
    return int(np.linalg.matrix_rank(points - points.mean(axis=0), tol=1e-7)) if len(points) else -1
