"""Which curves could have given these bakes?

Seeded draws of whole curves, each from a shape taken in proportion to the square root of
its AICc weight, so that what is read off them (the recommended dose) carries the doubt about
the shape as well. The bare weights trust the bakes too much: with them the demo's powder
ladder covered its truth in 86 % of 120 draws, with their roots in 90 %, and with the chosen
shape's own interval beside it (``best``) in 95 % of 1,000.

1. the residual spread: sqrt(RSS / chi-square(df));
2. the nonlinear parameters of each curve, in proportion to exp(-(RSS(theta) - RSS) / 2 spread²)
   over the box of starting values (flat on the breakpoint, the centre and the logarithms of
   width, slope and midpoint), blocks and the other curves profiled out to first order;
3. the linear parameters, normal around their best values given the others.

When the curve misses the doses by more than replicate bakes can explain (``missed``), its
own misses are the only honest spread: RSS is then taken as lack of fit over chi-square of
its df, the heterogeneity factor of bioassay.

For a quadratic this is the multivariate t distribution of its coefficients. A bootstrap
that refits every shape gave like intervals at many times the work, and lost the width of
breakpoints, which jump from dose to dose. Coverage is measured in
``tests/analysis/dose_response/test_coverage.py``.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.dose_response.anova import Scatter
from analysis.dose_response.compare import Ranked
from analysis.dose_response.curves import ShapeFit, joint_jacobian, profile, reduce_to_doses
from analysis.dose_response.free_shapes import FreeFit

Array = npt.NDArray[np.float64]
DRAWS = 2000
_MOST_AXES = 2  # nonlinear parameters that a grid can hold
_SCATTERED = 8000
_TAIL = 4
_LIGHT = 0.005  # shapes with less weight than this are not drawn from


def draw_curves(
    ranked: tuple[Ranked, ...],
    doses: Array,
    rng: np.random.Generator,
    *,
    missed: Scatter | None = None,
    draws: int = DRAWS,
) -> Array:
    """Curves (parts, draws, len(doses)) drawn from the shapes by weight.

    ``missed`` is the pure error to take off when lack of fit rules the spread.
    """
    heavy = [one for one in ranked if one.weight >= _LIGHT] or list(ranked)  # a shape that was asked for has its say
    shares = np.sqrt([one.weight for one in heavy])
    counts = rng.multinomial(draws, shares / shares.sum())
    groups = [_from_shape(one.fit, doses, int(m), rng, missed) for one, m in zip(heavy, counts, strict=True) if m]
    return np.concatenate(groups, axis=1)


def _from_shape(fit: ShapeFit, doses: Array, draws: int, rng: np.random.Generator, missed: Scatter | None) -> Array:
    df, rss = fit.df, fit.variance * fit.df
    if missed is not None and df > missed.df:
        df, rss = df - missed.df, max(rss - missed.sum_sq, rss / df * (df - missed.df))
    spread = np.sqrt(rss / rng.chisquare(df, draws))
    if isinstance(fit, FreeFit):
        return fit.draw(doses, spread, rng)
    if fit.shape.q == 0:
        return _linear_draws(fit, doses, spread, rng)
    return np.stack([_part_draws(fit, number, doses, spread, rng) for number in range(len(fit.layout.parts))])


def _linear_draws(fit: ShapeFit, doses: Array, spread: Array, rng: np.random.Generator) -> Array:
    values, vectors = np.linalg.eigh(fit.inverse)
    half = vectors * np.sqrt(np.maximum(values, 0))
    noise = (rng.standard_normal((spread.size, fit.parameters)) @ half.T) * spread[:, None]
    size, basis = fit.shape.size, fit.shape.basis(doses, np.empty(0), fit.layout.centre)
    return np.stack(
        [(fit.inner[i] + noise[:, i * size : (i + 1) * size]) @ basis.T for i in range(len(fit.layout.parts))]
    )


def _part_draws(fit: ShapeFit, number: int, doses: Array, spread: Array, rng: np.random.Generator) -> Array:
    layout, shape = fit.layout, fit.shape
    part = layout.parts[number]
    assert shape.bounds is not None
    weights, pull = _sums_of_one_curve(fit, number)
    low, high = shape.bounds(part.doses)
    if shape.q > _MOST_AXES:
        thetas, loss, odds = _scattered(fit, number, weights, pull, low, high, rng)
        cell = np.zeros(shape.q)
    else:
        thetas, loss, cell = _likely(fit, number, weights, pull, low, high)
        odds = np.zeros(loss.size)
    picked = _pick(loss, odds, spread, rng)
    theta = thetas[picked] + (rng.random((spread.size, shape.q)) - 0.5) * cell
    theta = np.clip(theta, low, high)
    at_doses = np.asarray(shape.basis(part.doses, theta, layout.centre), dtype=float)
    beta, explained = profile(at_doses, weights, pull)
    beta = np.where(np.isfinite(explained)[:, None], beta, fit.inner[number, shape.q :])
    beta = beta + _linear_noise(at_doses, weights, rng) * spread[:, None]
    return np.einsum("gkm,gm->gk", shape.basis(doses, theta, layout.centre), beta)


def _sums_of_one_curve(fit: ShapeFit, number: int) -> tuple[Array, Array]:
    """Weights and pull of one curve, with blocks and the other curves' tangents taken out."""
    layout, size = fit.layout, fit.shape.size
    inside = np.zeros(layout.n)
    inside[layout.parts[number].rows] = fit.mean(number, layout.dose[layout.parts[number].rows])
    own = layout.y - fit.fitted + inside
    if not layout.coupled:
        nuisance = np.zeros((layout.n, 0))
    else:
        slopes = joint_jacobian(layout, fit.shape, np.concatenate([fit.inner.ravel(), fit.block_effects]))
        others = np.ones(slopes.shape[1], dtype=bool)
        others[number * size : (number + 1) * size] = False
        nuisance = slopes[:, others]
        nuisance = nuisance / np.maximum(np.linalg.norm(nuisance, axis=0), 1e-300)
    weights, pull, _ = reduce_to_doses(layout, layout.parts[number], own, nuisance)
    return weights, pull


def _likely(
    fit: ShapeFit, number: int, weights: Array, pull: Array, low: Array, high: Array
) -> tuple[Array, Array, Array]:
    """Grid over the box that holds all thetas worth drawing: points, RSS above the best, cell size."""
    shape, part, centre = fit.shape, fit.layout.parts[number], fit.layout.centre
    per_axis = 400 if shape.q == 1 else 40

    def losses(thetas: Array) -> Array:
        explained = profile(np.asarray(shape.basis(part.doses, thetas, centre), dtype=float), weights, pull)[1]
        return np.asarray(best - explained)

    at_best = np.asarray(shape.basis(part.doses, fit.inner[number : number + 1, : shape.q], centre), dtype=float)
    best = float(profile(at_best, weights, pull)[1][0])
    coarse = shape.grid(part.doses)
    near = coarse[losses(coarse) < 30 * fit.variance]
    near = np.vstack([near, fit.inner[number : number + 1, : shape.q]])
    margin = (high - low) / (np.array(shape.steps) - 1)
    from_, to = np.maximum(near.min(axis=0) - margin, low), np.minimum(near.max(axis=0) + margin, high)
    cell = (to - from_) / per_axis
    axes = [a + (np.arange(per_axis) + 0.5) * c for a, c in zip(from_, cell, strict=True)]
    thetas = np.stack([a.ravel() for a in np.meshgrid(*axes, indexing="ij")], axis=-1)
    loss = losses(thetas)
    return thetas, np.maximum(loss - min(0.0, float(loss.min())), 0.0), cell


def _scattered(
    fit: ShapeFit, number: int, weights: Array, pull: Array, low: Array, high: Array, rng: np.random.Generator
) -> tuple[Array, Array, Array]:
    """Thetas too many to lay a grid over: t-distributed around the best ones (importance sampling).

    Gives points, RSS above the best, and the logarithm of what corrects for where they were drawn.
    """
    shape, part, centre = fit.shape, fit.layout.parts[number], fit.layout.centre
    at = slice(number * shape.size, number * shape.size + shape.q)
    values, vectors = np.linalg.eigh(fit.inverse[at, at] * fit.variance)
    # No wider than the box: a direction that the bakes do not fix would waste every draw.
    root = vectors * np.sqrt(np.clip(values, 0, float(((high - low) ** 2).max()) / 4))
    normal = rng.standard_normal((_SCATTERED, shape.q))
    squeeze = np.sqrt(rng.chisquare(_TAIL, _SCATTERED) / _TAIL)
    scaled = normal / squeeze[:, None]
    best = fit.inner[number, : shape.q]
    thetas = np.vstack([best + scaled @ root.T, best])
    far = np.concatenate([(scaled**2).sum(axis=1), [0.0]])
    odds = 0.5 * (_TAIL + shape.q) * np.log1p(far / _TAIL)
    odds[np.any((thetas < low) | (thetas > high), axis=1)] = -np.inf
    thetas = np.clip(thetas, low, high)

    def explained(points: Array) -> Array:
        return profile(np.asarray(shape.basis(part.doses, points, centre), dtype=float), weights, pull)[1]

    loss = explained(best[None, :])[0] - explained(thetas)
    return thetas, np.maximum(loss - min(0.0, float(loss.min())), 0.0), odds


def _pick(loss: Array, odds: Array, spread: Array, rng: np.random.Generator) -> npt.NDArray[np.int64]:
    """One grid point for each spread, in proportion to exp(odds - loss / 2 spread²).

    Draws with nearly equal spread share one table of probabilities.
    """
    order = np.argsort(spread)
    out = np.empty(spread.size, dtype=np.int64)
    with np.errstate(all="ignore"):
        for group in np.array_split(order, min(40, spread.size)):
            chances = np.exp(np.minimum(odds - 0.5 * loss / np.mean(spread[group]) ** 2, 500.0))
            running = np.cumsum(np.where(np.isfinite(chances), chances, 0.0))
            if not running[-1] > 0:
                out[group] = int(np.argmin(loss))
                continue
            out[group] = np.searchsorted(running, rng.random(group.size) * running[-1])
    return np.minimum(out, loss.size - 1)


def _linear_noise(basis: Array, weights: Array, rng: np.random.Generator) -> Array:
    """Normal noise with covariance (B' W B)^-1 for each basis, (draws, m), m of 1 to 3."""
    normal = np.einsum("gki,kl,glj->gij", basis, weights, basis, optimize=True)
    draws = rng.standard_normal((basis.shape[0], basis.shape[2]))
    with np.errstate(all="ignore"):
        if basis.shape[2] == 1:
            noise = draws / np.sqrt(normal[:, 0])
        elif basis.shape[2] == 2:
            a, b, c = normal[:, 0, 0], normal[:, 0, 1], normal[:, 1, 1]
            second = draws[:, 1] / np.sqrt(c - b * b / a)
            noise = np.stack([draws[:, 0] / np.sqrt(a) - second * b / a, second], axis=1)
        else:
            values, vectors = np.linalg.eigh(np.where(np.isfinite(normal), normal, 0.0))
            scaled = draws / np.sqrt(np.maximum(values, 1e-12 * values[:, -1:]))
            noise = np.einsum("gij,gj->gi", vectors, scaled)
    return np.where(np.isfinite(noise), noise, 0.0)
