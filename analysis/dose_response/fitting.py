"""Which parameters bring a curve closest to the bakes?

Least squares by Levenberg and Marquardt's damped steps from several starts, then
undamped Gauss-Newton steps until no parameter moves by more than 1e-12 of itself.
Standard errors come from the Jacobian (J'J), not from the full Hessian; the two
differ in the second or third digit. Method: Marquardt 1963, J. SIAM 11:431; bounds by
holding parameters that push outwards.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.errors import NotPossible

Array = npt.NDArray[np.float64]
Model = Callable[[Array], Array]
_TINY = 1e-30


@dataclass(frozen=True, kw_only=True)
class CurveFit:
    """A least-squares fit. ``covariance`` is None when the parameters cannot be told apart.

    ``derivatives`` is "given", "complex step" or "central differences"; ``start`` is the
    index of the start that led to the lowest residual sum, ``agreeing`` how many did.
    """

    parameters: tuple[float, ...]
    se: tuple[float, ...] | None
    rss: float
    df: int
    sd: float | None
    covariance: Array | None
    converged: bool
    iterations: int
    derivatives: str
    start: int
    agreeing: int


@dataclass(frozen=True)
class Minimum:
    """Where the damped steps ended."""

    parameters: Array
    rss: float
    converged: bool
    iterations: int


def fit_curve(
    function: Callable[[Array, Array], Array],
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    starts: Sequence[Sequence[float]],
    *,
    jacobian: Callable[[Array, Array], Array] | None = None,
    lower: Sequence[float] | None = None,
    upper: Sequence[float] | None = None,
    tolerance: float = 1e-12,
    max_iterations: int = 1000,
) -> CurveFit:
    """Fit ``function(x, parameters)`` to ``y`` by least squares from every start; keep the best.

    ``starts`` holds one or more vectors of p parameters; ``jacobian(x, parameters)`` gives
    (n, p). Without it the complex step is used where the function allows it (checked
    against differences), else central differences. Raises NotPossible when there are
    fewer bakes than parameters or no start gives finite numbers.
    """
    doses, values = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    first = np.asarray(starts[0], dtype=float)
    if values.size < first.size:
        raise NotPossible(
            f"{values.size} values cannot fix {first.size} parameters.",
            try_this="bake more doses or choose a simpler shape",
        )
    slopes, how = _derivatives(function, jacobian, doses, first)
    ends: list[tuple[int, Minimum]] = []
    for index, start in enumerate(starts):
        end = minimise(
            lambda p: values - function(doses, p),
            lambda p: slopes(doses, p),
            np.asarray(start, dtype=float),
            lower=None if lower is None else np.asarray(lower, dtype=float),
            upper=None if upper is None else np.asarray(upper, dtype=float),
            tolerance=tolerance,
            max_iterations=max_iterations,
        )
        if end is not None:
            ends.append((index, end))
    if not ends:
        raise NotPossible("No starting value gives finite numbers.", try_this="start nearer to the data")
    index, best = min(ends, key=lambda pair: pair[1].rss)
    agreeing = sum(end.rss <= best.rss * (1 + 1e-8) for _, end in ends)
    df = values.size - first.size
    inverse = inverse_information(slopes(doses, best.parameters))
    variance = best.rss / df if df > 0 else None
    covariance = inverse * variance if inverse is not None and variance is not None else None
    return CurveFit(
        parameters=tuple(float(p) for p in best.parameters),
        se=None if covariance is None else tuple(float(s) for s in np.sqrt(np.diag(covariance))),
        rss=best.rss,
        df=df,
        sd=None if variance is None else float(np.sqrt(variance)),
        covariance=covariance,
        converged=best.converged,
        iterations=best.iterations,
        derivatives=how,
        start=index,
        agreeing=agreeing,
    )


def minimise(
    residual: Model,
    jacobian: Model,
    start: Array,
    *,
    lower: Array | None = None,
    upper: Array | None = None,
    tolerance: float = 1e-12,
    max_iterations: int = 300,
) -> Minimum | None:
    """Damped steps from ``start`` to the nearest minimum of the residual sum of squares.

    ``residual`` gives (n,), ``jacobian`` the derivative of the *mean*, (n, p). None when
    the start itself gives no finite numbers.
    """
    low = np.full(start.size, -np.inf) if lower is None else lower
    high = np.full(start.size, np.inf) if upper is None else upper
    with np.errstate(all="ignore"):
        end = _damped(residual, jacobian, np.clip(start, low, high), low, high, tolerance, max_iterations)
        if end is None or not end.converged:
            return end
        return polish(residual, jacobian, end, low, high, tolerance=tolerance)


def _damped(
    residual: Model, jacobian: Model, at: Array, low: Array, high: Array, tolerance: float, max_iterations: int
) -> Minimum | None:
    left = residual(at)
    rss = float(left @ left)
    if not np.isfinite(rss):
        return None
    damping, quiet = 1e-3, 0
    for iteration in range(1, max_iterations + 1):
        slopes = jacobian(at)
        if not np.isfinite(slopes).all():
            return Minimum(at, rss, False, iteration)
        free = ~_pushing_out(at, slopes.T @ left, low, high)
        while True:
            trial = np.clip(at + _damped_step(slopes, left, free, damping), low, high)
            trial_left = residual(trial)
            trial_rss = float(trial_left @ trial_left)
            change = np.abs(trial - at) / np.maximum(np.abs(trial), _TINY)
            if np.isfinite(trial_rss) and trial_rss < rss:
                break
            if np.all(change <= tolerance) or damping > 1e14:
                return Minimum(at, rss, True, iteration)
            damping = max(damping * 8, 1e-9)
        quiet = quiet + 1 if rss - trial_rss <= 1e-14 * rss else 0
        at, left, rss = trial, trial_left, trial_rss
        damping = 0.0 if damping < 1e-8 else damping / 10
        if np.all(change <= tolerance) or rss == 0 or quiet >= 3:
            return Minimum(at, rss, True, iteration)
    return Minimum(at, rss, False, max_iterations)


def polish(residual: Model, jacobian: Model, end: Minimum, low: Array, high: Array, *, tolerance: float) -> Minimum:
    """Undamped steps while each is shorter than the last: the sum itself is too blunt near its floor.

    A sum of squares is flat to half of the digits at its minimum, the step is not.
    """
    at, rss, last = end.parameters, end.rss, np.inf
    for _ in range(60):
        left, slopes = residual(at), jacobian(at)
        free = ~_pushing_out(at, slopes.T @ left, low, high)
        step = _damped_step(slopes, left, free, 0.0)
        trial = np.clip(at + step, low, high)
        trial_left = residual(trial)
        trial_rss = float(trial_left @ trial_left)
        size = float(np.max(np.abs(trial - at) / np.maximum(np.abs(trial), _TINY)))
        if not np.isfinite(trial_rss) or trial_rss > rss * (1 + 1e-11) or size >= last:
            break
        at, rss, last = trial, min(rss, trial_rss), size
        if size <= tolerance:
            break
    return Minimum(at, rss, end.converged, end.iterations)


def inverse_information(slopes: Array) -> Array | None:
    """(J'J)^-1 by a scaled singular value decomposition; None when J has no full rank."""
    scale = np.sqrt((slopes**2).sum(axis=0))
    if slopes.shape[0] < slopes.shape[1] or not np.isfinite(scale).all() or np.any(scale == 0):
        return None
    _, values, vectors = np.linalg.svd(slopes / scale, full_matrices=False)
    if values[-1] <= 1e-11 * values[0]:
        return None
    half = (vectors.T / values) / scale[:, None]
    return half @ half.T


def _pushing_out(at: Array, downhill: Array, low: Array, high: Array) -> npt.NDArray[np.bool_]:
    """Parameters on a bound whose better values lie outside it."""
    return ((at <= low) & (downhill < 0)) | ((at >= high) & (downhill > 0))


def _damped_step(slopes: Array, left: Array, free: npt.NDArray[np.bool_], damping: float) -> Array:
    """Solve (J'J + damping D) step = J'r through an augmented QR-free least squares."""
    step = np.zeros(slopes.shape[1])
    if not free.any():
        return step
    part = slopes[:, free]
    scale = np.sqrt((part**2).sum(axis=0))
    scale[scale == 0] = 1.0
    rows = part / scale
    if damping > 0:
        rows = np.vstack([rows, np.sqrt(damping) * np.eye(rows.shape[1])])
        left = np.concatenate([left, np.zeros(rows.shape[1])])
    step[free] = np.linalg.lstsq(rows, left, rcond=1e-15)[0] / scale
    return step


def _derivatives(
    function: Callable[[Array, Array], Array],
    jacobian: Callable[[Array, Array], Array] | None,
    x: Array,
    start: Array,
) -> tuple[Callable[[Array, Array], Array], str]:
    """The best derivative on offer, and its name."""
    if jacobian is not None:
        return jacobian, "given"

    def central(doses: Array, p: Array) -> Array:
        columns = []
        for k in range(p.size):
            step = 6e-6 * max(abs(p[k]), 1e-8)
            up, down = p.copy(), p.copy()
            up[k] += step
            down[k] -= step
            columns.append((function(doses, up) - function(doses, down)) / (up[k] - down[k]))
        return np.stack(columns, axis=1)

    def complex_step(doses: Array, p: Array) -> Array:
        columns = []
        for k in range(p.size):
            shifted = p.astype(complex)
            shifted[k] += 1j * _TINY
            columns.append(np.imag(function(doses, shifted)) / _TINY)
        return np.stack(columns, axis=1)

    with np.errstate(all="ignore"):
        plain = central(x, start)
        try:
            exact = complex_step(x, start)
        except (TypeError, ValueError):
            return central, "central differences"
        size = np.abs(plain).max(axis=0)
        if np.isfinite(exact).all() and np.all(np.abs(exact - plain).max(axis=0) <= 1e-4 * np.maximum(size, _TINY)):
            return complex_step, "complex step"
    return central, "central differences"
