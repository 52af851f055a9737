"""How likely are the data, and which way do the parameters pull?

Each row hangs on one or two linear predictors, u = A g + shift and v = B g + shift. For an ordered
score they are the upper and lower edge of the score given, and the row's chance is F(u) - F(v); for
a count u is the log of its mean. Derivatives are exact, up to the third order, because the Laplace
approximation of random groups needs them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from analysis.scores.links import Link, between, densities

Floats = NDArray[np.float64]
SMALLEST = 1e-140  # a chance below this counts as impossible; the step that led there is halved
HIGHEST = 300.0  # log of the largest mean of a count


@dataclass(frozen=True, eq=False)
class Rows:
    """Log-likelihood of each row (n,) with its derivatives in u and v; ``possible`` is False beyond the edge."""

    value: Floats
    u: Floats
    v: Floats
    uu: Floats
    uv: Floats
    vv: Floats
    possible: bool = True


class Kind(Protocol):
    """How one row answers to its predictors."""

    @property
    def sign(self) -> float:
        """Of a group's effect in u and v."""
        ...

    def rows(self, u: Floats, v: Floats) -> Rows: ...

    def thirds(self, u: Floats, v: Floats) -> tuple[Floats, Floats]:
        """d(l_uu + 2 l_uv + l_vv) / du and / dv, each (n,)."""
        ...


@dataclass(frozen=True, eq=False)
class Ordered:
    """A score between two edges. ``w`` (n,) is how often the row was seen."""

    link: Link
    w: Floats
    sign: float = -1.0

    def rows(self, u: Floats, v: Floats) -> Rows:
        p = between(self.link, u, v)
        possible = bool((p > SMALLEST).all())
        p = np.maximum(p, SMALLEST)
        (fu, du, _), (fv, dv, _) = densities(self.link, u), densities(self.link, v)
        lu, lv = fu / p, -fv / p
        w = self.w
        return Rows(
            value=w * np.log(p),
            u=w * lu,
            v=w * lv,
            uu=w * (du / p - lu * lu),
            uv=-w * lu * lv,
            vv=w * (-dv / p - lv * lv),
            possible=possible,
        )

    def thirds(self, u: Floats, v: Floats) -> tuple[Floats, Floats]:
        p = np.maximum(between(self.link, u, v), SMALLEST)
        (fu, du, ddu), (fv, dv, ddv) = densities(self.link, u), densities(self.link, v)
        lu, lv, au, av = fu / p, -fv / p, du / p, dv / p
        luuu = ddu / p - 3 * au * lu + 2 * lu**3
        luuv = -au * lv + 2 * lu * lu * lv
        luvv = av * lu + 2 * lv * lv * lu
        lvvv = -ddv / p + 3 * av * lv + 2 * lv**3
        return self.w * (luuu + 2 * luuv + luvv), self.w * (luuv + 2 * luvv + lvvv)


@dataclass(frozen=True, eq=False)
class Counted:
    """A Poisson count ``y`` (n,) whose mean is exp(u); v plays no part."""

    y: Floats
    sign: float = 1.0

    def rows(self, u: Floats, v: Floats) -> Rows:
        from scipy.special import gammaln

        possible = bool((u < HIGHEST).all())
        mean, zero = np.exp(np.minimum(u, HIGHEST)), np.zeros_like(u)
        return Rows(
            value=self.y * u - mean - gammaln(self.y + 1),
            u=self.y - mean,
            v=zero,
            uu=-mean,
            uv=zero,
            vv=zero,
            possible=possible,
        )

    def thirds(self, u: Floats, v: Floats) -> tuple[Floats, Floats]:
        return -np.exp(np.minimum(u, HIGHEST)), np.zeros_like(u)


@dataclass(frozen=True, eq=False, kw_only=True)
class Problem:
    """Rows with the designs of both predictors: A and B (n, q), offsets (n,) that may be infinite.

    ``scale`` (n, r) lets the hidden scale stretch: u and v are multiplied by exp(-scale z).
    """

    kind: Kind
    a: Floats
    b: Floats
    a_offset: Floats
    b_offset: Floats
    scale: Floats | None = None

    @property
    def width(self) -> int:
        return self.a.shape[1]

    def predictors(self, g: Floats) -> tuple[Floats, Floats]:
        """u and v for fixed parameters (q,), without groups and stretching."""
        return self.a @ g + self.a_offset, self.b @ g + self.b_offset

    def likelihood(self, params: Floats) -> tuple[float, Floats, Floats]:
        """Log-likelihood, gradient and Hessian in (g, z). Value -inf where a row is impossible."""
        g, z = params[: self.width], params[self.width :]
        u, v = self.predictors(g)
        ju, jv = self.a, self.b
        if self.scale is not None:
            shrink = np.exp(-np.clip(self.scale @ z, -50, 50))
            u, v = u * shrink, v * shrink
            ju = np.hstack([self.a * shrink[:, None], -_finite(u)[:, None] * self.scale])
            jv = np.hstack([self.b * shrink[:, None], -_finite(v)[:, None] * self.scale])
        rows = self.kind.rows(u, v)
        if not rows.possible:
            return -np.inf, np.zeros(len(params)), np.zeros((len(params), len(params)))
        value = float(rows.value.sum())
        gradient = ju.T @ rows.u + jv.T @ rows.v
        cross = ju.T @ (rows.uv[:, None] * jv)
        hessian = ju.T @ (rows.uu[:, None] * ju) + cross + cross.T + jv.T @ (rows.vv[:, None] * jv)
        if self.scale is not None:
            hessian += self._stretched(rows, ju, jv)
        return value, gradient, hessian

    def _stretched(self, rows: Rows, ju: Floats, jv: Floats) -> Floats:
        """First derivatives times the second derivatives of u and v, which stretching makes non-zero."""
        assert self.scale is not None
        q = self.width
        mixed = -(ju[:, :q].T @ (rows.u[:, None] * self.scale) + jv[:, :q].T @ (rows.v[:, None] * self.scale))
        # d²u / dz² = u z z', and ju holds -u z.
        both = -(ju[:, q:].T @ (rows.u[:, None] * self.scale) + jv[:, q:].T @ (rows.v[:, None] * self.scale))
        return np.block([[np.zeros((q, q)), mixed], [mixed.T, both]])


def _finite(x: Floats) -> Floats:
    """Infinite edges do not move."""
    return np.where(np.isfinite(x), x, 0.0)
