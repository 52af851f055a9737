"""In which numbers is the best set of variances sought?

theta holds for each term the lower triangle of L with relative covariance L L' (Bates et al. 2015);
gamma holds L L' itself: variance, or level, covariance and slope. theta is free of bounds and the
edge (a variance of 0, a correlation of ±1) lies inside its range.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate

import numpy as np

from analysis.mixed.terms import FloatArray


@dataclass(frozen=True)
class Layout:
    """``widths``: random effects of each group, 1 or 2, term by term."""

    widths: tuple[int, ...]

    @property
    def size(self) -> int:
        return sum(1 if w == 1 else 3 for w in self.widths)

    def slices(self) -> tuple[slice, ...]:
        return _slices(self.widths)

    def gamma(self, theta: FloatArray) -> FloatArray:
        out = theta * theta
        for s, w in zip(self.slices(), self.widths, strict=True):
            if w == 2:
                a, b, c = theta[s]
                out[s] = a * a, a * b, b * b + c * c
        return out

    def theta(self, gamma: FloatArray) -> FloatArray:
        """The other way; what is no covariance matrix is moved to the nearest edge."""
        out = np.sqrt(np.maximum(gamma, 0.0))
        for s, w in zip(self.slices(), self.widths, strict=True):
            if w == 2:
                level, both, slope = gamma[s]
                values, vectors = np.linalg.eigh(np.array([[level, both], [both, slope]]))
                values = np.maximum(values, 0.0)
                near = (vectors * values) @ vectors.T
                a = np.sqrt(near[0, 0])
                b = near[0, 1] / a if a > 0 else 0.0
                out[s] = a, b, np.sqrt(max(near[1, 1] - b * b, 0.0))
        return out

    def jacobian(self, theta: FloatArray) -> FloatArray:
        """d gamma / d theta, (m, m)."""
        out = np.diag(2 * theta)
        for s, w in zip(self.slices(), self.widths, strict=True):
            if w == 2:
                a, b, c = theta[s]
                out[s, s] = [[2 * a, 0, 0], [b, a, 0], [0, 2 * b, 2 * c]]
        return out

    def curvature(self, gradient: FloatArray) -> FloatArray:
        """sum_a gradient_a d2 gamma_a / d theta d theta', (m, m)."""
        out = np.diag(2 * gradient)
        for s, w in zip(self.slices(), self.widths, strict=True):
            if w == 2:
                level, both, slope = gradient[s]
                out[s, s] = [[2 * level, both, 0], [both, 2 * slope, 0], [0, 0, 2 * slope]]
        return out

    def ones(self) -> FloatArray:
        """theta of relative variances 1 without correlation."""
        return (
            np.concatenate([[1.0] if w == 1 else [1.0, 0.0, 1.0] for w in self.widths]) if self.widths else np.zeros(0)
        )


@lru_cache(maxsize=64)
def _slices(widths: tuple[int, ...]) -> tuple[slice, ...]:
    sizes = [1 if w == 1 else 3 for w in widths]
    ends = list(accumulate(sizes))
    return tuple(slice(end - size, end) for end, size in zip(ends, sizes, strict=True))
