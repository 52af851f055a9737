"""How much do days differ, and does the scatter change along the curve?

The ratios of the groups' variances to that of one bake maximise the restricted likelihood of
the curve's bakes, with the curve replaced by its tangent at the fit (Patterson & Thompson 1971,
Biometrika 58:545; Lindstrom & Bates 1990, Biometrics 46:673); fit and ratios are found in turn
until neither moves. For one shift added to each group this is generalised least squares with
the REML ratio. AICc compares shapes by the likelihood itself (not the restricted one, which
depends on the tangent).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize, minimize_scalar

from analysis.dose_response.curves import ShapeFit, joint_jacobian
from analysis.dose_response.layout import Layout
from analysis.dose_response.whitening import Errors

Array = npt.NDArray[np.float64]
_LOW, _HIGH = -12.0, 14.0  # logarithm of a ratio; below the first it is 0


def tangent(fit: ShapeFit) -> tuple[Array, Array]:
    """The curve's bakes and columns of the linear model that touches the fit: (n,), (n, p)."""
    slopes = joint_jacobian(fit.layout, fit.shape, np.concatenate([fit.inner.ravel(), fit.block_effects]))
    slopes = slopes / np.maximum(np.linalg.norm(slopes, axis=0), 1e-300)
    return fit.layout.y - fit.fitted, slopes


def levels_of(layout: Layout) -> tuple[Array, Array]:
    """The same for doses as levels: no shape, so that a first guess does not lean on one."""
    cells = [np.zeros((layout.n, part.doses.size)) for part in layout.parts]
    for cell, part in zip(cells, layout.parts, strict=True):
        cell[part.rows, part.which] = 1.0
    return layout.y - layout.y.mean(), np.hstack([*cells, layout.blocks])


def criterion(errors: Errors, y: Array, columns: Array, *, restricted: bool) -> float:
    """-2 log likelihood (restricted or not) at its best sigma, without the constant."""
    whitened, target = errors.apply(columns), errors.apply(y)
    left, values, _ = np.linalg.svd(whitened, full_matrices=False)
    keep = values > 1e-10 * values[0]
    rest = target - left[:, keep] @ (left[:, keep].T @ target)
    rss = max(float(rest @ rest), 1e-300)
    n = y.size
    if not restricted:
        return float(n * np.log(rss / n) + errors.log_det)
    free = n - int(keep.sum())
    if free == 0:
        return 0.0  # every bake has a coefficient of its own: nothing is left that could prefer one ratio
    return float(free * np.log(rss / free) + errors.log_det + 2 * np.log(values[keep]).sum())


def best_ratios(
    layout: Layout,
    y: Array,
    columns: Array,
    weights: Array | None,
    *,
    restricted: bool,
    near: Errors | None = None,
    exact: float = 1e-7,
) -> Errors:
    """The ratios that make the bakes likeliest; 0 where more would only be worse.

    ``near`` is where several ratios are looked for first, ``exact`` how closely their logarithms are found.
    """
    groups = layout.random

    def errors(logs: Array) -> Errors:
        ratios = tuple(0.0 if log <= _LOW + 1e-6 else float(np.exp(log)) for log in logs)
        return Errors(groups=groups, ratios=ratios, weights=weights)

    def loss(logs: Array) -> float:
        return criterion(errors(logs), y, columns, restricted=restricted)

    if not groups:
        return Errors(groups=(), ratios=(), weights=weights)
    best = _of_one(loss) if len(groups) == 1 else _of_several(loss, _starts(len(groups), near), exact)
    for k in range(best.size):  # the boundary wins a draw
        held = best.copy()
        held[k] = _LOW
        if loss(held) <= loss(best) + 1e-7:
            best = held
    return errors(best)


def _of_one(loss: Callable[[Array], float]) -> Array:
    grid = np.linspace(_LOW, _HIGH, 14)
    at = int(np.argmin([loss(np.array([log])) for log in grid]))
    inside = (grid[max(at - 1, 0)], grid[min(at + 1, grid.size - 1)])
    found = minimize_scalar(lambda log: loss(np.array([log])), bounds=inside, options={"xatol": 1e-9}, method="bounded")
    return np.array([found.x])


def _starts(count: int, near: Errors | None) -> list[Array]:
    if near is None or len(near.ratios) != count:
        return [np.full(count, level) for level in (-2.0, 1.0)]
    # Far out the likelihood is level, and a search that starts there never comes back.
    return [np.clip(np.log(np.maximum(near.ratios, 1e-300)), -3.0, 6.0)]


def _of_several(loss: Callable[[Array], float], starts: list[Array], exact: float) -> Array:
    ends = [
        minimize(
            loss,
            start,
            method="Nelder-Mead",
            bounds=[(_LOW, _HIGH)] * start.size,
            options={"xatol": exact, "fatol": exact**1.5, "maxiter": 600},
        )
        for start in starts
    ]
    return np.asarray(min(ends, key=lambda end: end.fun).x)


def deviance(fit: ShapeFit) -> float:
    """-2 log likelihood at its best ratios, without the constant: n ln(RSS / n) when bakes scatter alike."""
    errors = fit.layout.errors
    weights = None if errors is None else errors.weights
    y, columns = tangent(fit)
    best = best_ratios(fit.layout, y, columns, weights, restricted=False, near=errors, exact=1e-4)
    return criterion(best, y, columns, restricted=False)
