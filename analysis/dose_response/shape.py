"""What is a curve to the fitter? A few nonlinear numbers, and columns that are linear in the rest.

Every shape is linear in some of its parameters once the others are known:

    mean(x) = basis(x, theta) @ beta

``theta`` (the nonlinear ones) and ``beta`` together are the *inner* parameters, in this
order, that the fitter works on; ``report`` turns them into the names a reader sees.
All functions of a shape are safe for complex arguments, so that derivatives can be taken
by the complex step (exact to rounding).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
AnyArray = npt.NDArray[np.number]
_STEP = 1e-30  # complex step: no subtraction, so no rounding error however small


@dataclass(frozen=True, kw_only=True)
class Shape:
    """One family of curves.

    ``distinct`` is how many different doses each curve needs. ``wave`` maps doses (n,)
    and ``theta`` (..., q) to (..., n); None for the polynomials. ``powers`` are the
    powers of (x - centre) in the linear part. ``logarithmic`` shapes want doses >= 0.
    ``low_ok`` tells that the lower bound of theta is a fit of its own, not a simpler shape.
    A wave of several ``columns`` gives (..., n, columns). ``slopes`` are its derivatives by
    theta, (..., n, columns, q); without them the complex step is taken. ``accepts`` tells from
    the inner parameters whether a fit is what the name says. ``turns``: rises and falls (or
    falls and rises) inside. ``at_fraction`` (inner, fraction) -> dose by formula, where there is one.
    ``fused`` gives a single wave (..., n) with a list of its derivatives in one go, for speed.
    ``free``: held by heights at the doses, without a formula.
    ``on_request``: takes part only when asked for by name.
    """

    name: str
    powers: tuple[int, ...]
    distinct: int
    wave: Callable[[Array, AnyArray], AnyArray] | None = None
    q: int = 0
    bounds: Callable[[Array], tuple[Array, Array]] | None = None
    steps: tuple[int, ...] = ()
    logarithmic: bool = False
    low_ok: bool = False
    report: Callable[[AnyArray, float], dict[str, complex]]
    columns: int = 1
    slopes: Callable[[Array, Array], Array] | None = None
    fused: Callable[[Array, Array], tuple[Array, list[Array]]] | None = None
    accepts: Callable[[Array], bool] | None = None
    turns: bool = False
    on_request: bool = False
    free: bool = False
    at_fraction: Callable[[AnyArray, float], complex] | None = None

    @property
    def linear(self) -> int:
        return len(self.powers) + (self.columns if self.wave else 0)

    @property
    def size(self) -> int:
        """How many parameters one curve has."""
        return self.q + self.linear

    def basis(self, x: Array, theta: AnyArray, centre: float) -> AnyArray:
        """Columns of the linear part: doses (n,), theta (..., q) -> (..., n, linear)."""
        lead = theta.shape[:-1]
        columns: list[AnyArray] = [np.broadcast_to((x - centre) ** p, (*lead, x.size)) for p in self.powers]
        if self.wave and self.columns == 1:
            columns.append(self.wave(x, theta))
        elif self.wave:
            waves = self.wave(x, theta)
            columns += [waves[..., i] for i in range(self.columns)]
        return np.stack(columns, axis=-1)

    def basis_slopes(self, x: Array, theta: Array, centre: float) -> Array:
        """Derivatives of the linear part's columns by theta: (..., n, linear, q)."""
        out = np.zeros((*theta.shape[:-1], x.size, self.linear, self.q))
        if self.slopes is not None:
            out[..., len(self.powers) :, :] = self.slopes(x, theta)
            return out
        for k in range(self.q):
            shifted = theta.astype(complex)
            shifted[..., k] += 1j * _STEP
            out[..., k] = np.imag(self.basis(x, shifted, centre)) / _STEP
        return out

    def mean(self, x: Array, inner: AnyArray, centre: float) -> AnyArray:
        """The curve at doses ``x`` (n,) for one vector of inner parameters."""
        return self.basis(x, inner[: self.q], centre) @ inner[self.q :]

    def gradient(self, x: Array, inner: Array, centre: float) -> Array:
        """Derivative of the mean by the inner parameters, (n, size)."""
        out = np.empty((x.size, self.size))
        theta, beta = inner[: self.q], inner[self.q :]
        if self.q:
            out[:, : self.q] = np.einsum("nlq,l->nq", self.basis_slopes(x, theta, centre), beta)
        out[:, self.q :] = self.basis(x, inner[: self.q], centre)
        return out

    def grid(self, doses: Array) -> Array:
        """Starting values for theta, (points, q), spread evenly between the bounds."""
        if self.bounds is None:
            return np.empty((1, 0))
        low, high = self.bounds(doses)
        axes = [np.linspace(a, b, n) for a, b, n in zip(low, high, self.steps, strict=True)]
        if self.low_ok:  # breakpoints: kinks of the residual sum sit at the doses themselves
            axes[0] = np.unique(np.concatenate([axes[0], doses[1:-1]]))
        return np.stack([a.ravel() for a in np.meshgrid(*axes, indexing="ij")], axis=-1)

    def degenerate(self, theta: Array, doses: Array) -> bool:
        """Does the fit sit on a bound, where it is really a simpler shape?"""
        if self.bounds is None:
            return False
        low, high = self.bounds(doses)
        slack = 1e-6 * (high - low)
        return bool(np.any(theta >= high - slack) or (not self.low_ok and np.any(theta <= low + slack)))


def s_curve(t: AnyArray) -> AnyArray:
    """1 / (1 + exp(-t)) without overflow, for real or complex t."""
    real = np.clip(np.real(t), -500, 500)
    return 1 / (1 + np.exp(-(real + 1j * np.imag(t) if np.iscomplexobj(t) else real)))
