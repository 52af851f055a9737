"""What does it change when one run is exchanged for another?

All for many designs at once: the first axis of every array is the design. With M the
information of a design, A its inverse, y the run that leaves and z the run that comes,

    M_new = M + z z' - y y',   |M_new| / |M| = (1 + z'Az)(1 - y'Ay) + (z'Ay)^2

and the inverse follows from the same five numbers (Fedorov 1972, Theory of Optimal
Experiments, chapter 3; Sherman-Morrison-Woodbury).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Booleans = NDArray[np.bool_]

NO_RATIO = 1e-9  # an exchange that leaves less of the determinant would leave a term untold


def times(matrices: Floats, vectors: Floats) -> Floats:
    """(s, P, P) times (s, P) -> (s, P)."""
    return np.matmul(matrices, vectors[:, :, None])[:, :, 0]


def dots(left: Floats, right: Floats) -> Floats:
    """(s, P) and (s, P) -> (s,)."""
    return np.einsum("sp,sp->s", left, right)


def variance_saved(ratio: Floats, leaves: Floats, comes: Floats, cross: Floats, seen: tuple[Floats, ...]) -> Floats:
    """By how much trace(AB) falls: (s, k) for k runs that may come to each of s designs.

    ``leaves`` (s, 1) is y'Ay, ``comes`` (s, k) z'Az, ``cross`` z'Ay; ``seen`` are the same three of ABA
    in the order y, z, cross. -inf where the exchange would make the design singular.
    """
    of_leaving, of_coming, of_cross = seen
    saved = (1 - leaves) * of_coming + 2 * cross * of_cross - (1 + comes) * of_leaving
    return np.where(ratio > NO_RATIO, saved / np.maximum(ratio, NO_RATIO), -np.inf)


@dataclass(frozen=True, kw_only=True)
class Exchange:
    """One run for another in each of s designs: ``u`` = Ay and ``v`` = Az, both (s, P); the rest (s,)."""

    u: Floats
    v: Floats
    leaves: Floats
    comes: Floats
    cross: Floats

    @property
    def ratio(self) -> Floats:
        """|M_new| / |M| (s,)."""
        return (1 + self.comes) * (1 - self.leaves) + self.cross**2

    def weights(self, along_v: Floats, along_u: Floats) -> tuple[Floats, Floats]:
        """A x loses b v + g u for any x with x'v = ``along_v`` and x'u = ``along_u``, both (s, k): (b, g)."""
        ratio = self.ratio[:, None]
        of_v, of_both, of_u = (part[:, None] / ratio for part in (1 - self.leaves, self.cross, 1 + self.comes))
        return of_v * along_v + of_both * along_u, of_both * along_v - of_u * along_u

    def inverse(self, before: Floats) -> Floats:
        """The inverse (s, P, P) after the exchange."""
        by_v, by_u = self.weights(self.v, self.u)
        return before - (by_v[:, :, None] * self.v[:, None, :] + by_u[:, :, None] * self.u[:, None, :])
