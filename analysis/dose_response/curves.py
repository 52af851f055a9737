"""How does one shape lie best in the bakes of every curve at once?

For each nonlinear shape the linear parameters are profiled out on a grid over the
others; the best starts are refined curve by curve, then all curves and the blocks
together. Blocks are sum-to-zero columns common to all curves, so that a curve is that
of the average block.

All sums that involve one curve depend on its bakes only through ``weights`` (k, k) and
``pull`` (k,) over its k doses; see ``reduce_to_doses``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.dose_response.fitting import Minimum, inverse_information, minimise
from analysis.dose_response.layout import Layout, Part
from analysis.dose_response.shapes import Shape

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class ShapeFit:
    """One shape fitted to every curve. ``inner`` (curves, size), ``block_effects`` (b,).

    ``inverse`` is (J'J)^-1 over [inner of curve 0, inner of curve 1, ..., block effects]. With
    errors that are not alike (``layout.errors``) J and ``rss`` are those of the whitened bakes.
    ``between`` is, for each random grouping, what its groups add to ``inverse`` for a ratio of 1. ``fitted`` (n,) is
    the curve with its fixed blocks.
    """

    shape: Shape
    layout: Layout
    inner: Array
    block_effects: Array
    rss: float
    inverse: Array
    fitted: Array
    between: tuple[Array, ...] = ()

    @property
    def parameters(self) -> int:
        return self.inner.size + self.block_effects.size

    @property
    def cost(self) -> float:
        """How many parameters it counts for when shapes are compared."""
        return self.parameters

    @property
    def df(self) -> int:
        """Degrees of freedom between bakes of one group: what groups take is not counted."""
        return self.layout.n - self.parameters - self.layout.spent

    @property
    def variance(self) -> float:
        """Of one bake; with random groups the REML one."""
        return self.rss / (self.layout.n - self.parameters)

    @property
    def shifted(self) -> Array:
        """The curve (n,) with the fixed blocks and the likely shift of each bake's group."""
        errors = self.layout.errors
        return self.fitted if errors is None else self.fitted + errors.shifts(self.layout.y - self.fitted)

    def mean(self, curve: int, x: Array) -> Array:
        return np.asarray(self.shape.mean(x, self.inner[curve], self.layout.centre), dtype=float)

    def rows(self, curve: int, x: Array) -> Array:
        """Derivative of the curve's mean at doses ``x`` by all parameters, (len(x), parameters)."""
        size = self.shape.size
        out = np.zeros((x.size, self.parameters))
        out[:, curve * size : (curve + 1) * size] = self.shape.gradient(x, self.inner[curve], self.layout.centre)
        return out

    def variance_of(self, rows: Array) -> Array:
        """Variance of each linear combination (rows of the Jacobian) of the parameters."""
        return np.maximum(np.einsum("ij,jk,ik->i", rows, self.inverse, rows), 0.0) * self.variance

    def df_of(self, rows: Array) -> Array:
        """Degrees of freedom behind each of those variances, (len(rows),).

        Where random groups enter, their share rests on as many groups less one (Satterthwaite 1946), and
        with it what bakes add to the mean of a group: from that the groups' variance was told.
        """
        if not self.between:
            return np.full(rows.shape[0], float(self.df))
        total = np.einsum("ij,jk,ik->i", rows, self.inverse, rows)
        known = total > 1e-100
        total = np.where(known, total, 1.0)
        rest, weight = np.ones(total.size), np.zeros(total.size)  # shares of the total
        errors = self.layout.errors
        assert errors is not None
        for added, group, ratio in zip(self.between, errors.groups, errors.ratios, strict=True):
            own = np.einsum("ij,jk,ik->i", rows, added, rows) / total
            share = np.clip(own * (ratio + group.own), 0.0, np.maximum(rest, 0.0))
            rest -= share
            weight += share**2 / max(group.count - 1, 1)
        found = 1 / (weight + np.maximum(rest, 0.0) ** 2 / self.df)
        return np.where(known & np.isfinite(found), np.clip(found, 1.0, self.layout.n), float(self.df))


def fit_shape(layout: Layout, versions: tuple[Shape, ...]) -> ShapeFit | None:
    """The best fit among the versions of a shape; None when none stands on its own feet."""
    fits = [fit for fit in (_fit_one(layout, shape) for shape in versions) if fit is not None]
    return min(fits, key=lambda fit: fit.rss) if fits else None


def _fit_one(layout: Layout, shape: Shape) -> ShapeFit | None:
    if shape.q == 0:
        start = np.zeros(shape.size * len(layout.parts) + layout.blocks.shape[1])
        inner_end: Array | None = _joint_linear(layout, shape, start)
    else:
        firsts = []
        for number, part in enumerate(layout.parts):
            first = _fit_part(layout, shape, number, part)
            if first is None or shape.degenerate(first[: shape.q], part.doses):
                return None
            firsts.append(first)
        flat = np.concatenate(firsts)
        inner_end = _joint(layout, shape, flat) if layout.coupled else flat
    return None if inner_end is None else _finish(layout, shape, inner_end)


def refit(fit: ShapeFit, layout: Layout) -> ShapeFit | None:
    """The same shape from where it lies, after the errors of the layout have changed."""
    if fit.shape.q == 0:
        return _fit_one(layout, fit.shape)
    at = np.concatenate([fit.inner.ravel(), fit.block_effects])
    low, high = joint_bounds(layout, fit.shape, at.size)
    end = minimise(
        lambda p: layout.whiten(layout.y - joint_mean(layout, fit.shape, p)),
        lambda p: layout.whiten(joint_jacobian(layout, fit.shape, p)),
        at,
        lower=low,
        upper=high,
        max_iterations=100,
    )
    return None if end is None else _finish(layout, fit.shape, end.parameters)


def pack(layout: Layout, shape: Shape, parameters: Array) -> tuple[Array, Array]:
    """Split one vector into inner parameters per curve and block effects."""
    count = shape.size * len(layout.parts)
    return parameters[:count].reshape(len(layout.parts), shape.size), parameters[count:]


def joint_mean(layout: Layout, shape: Shape, parameters: Array) -> Array:
    inner, blocks = pack(layout, shape, parameters)
    out = layout.blocks @ blocks if blocks.size else np.zeros(layout.n)
    for part, values in zip(layout.parts, inner, strict=True):
        out[part.rows] += shape.mean(part.doses, values, layout.centre)[part.which].real
    return out


def joint_jacobian(layout: Layout, shape: Shape, parameters: Array) -> Array:
    inner, _ = pack(layout, shape, parameters)
    out = np.zeros((layout.n, parameters.size))
    for number, (part, values) in enumerate(zip(layout.parts, inner, strict=True)):
        columns = shape.gradient(part.doses, values, layout.centre)[part.which]
        out[part.rows, number * shape.size : (number + 1) * shape.size] = columns
    out[:, inner.size :] = layout.blocks
    return out


def joint_bounds(layout: Layout, shape: Shape, size: int) -> tuple[Array, Array]:
    low, high = np.full(size, -np.inf), np.full(size, np.inf)
    if shape.bounds is not None:
        for number, part in enumerate(layout.parts):
            at = slice(number * shape.size, number * shape.size + shape.q)
            low[at], high[at] = shape.bounds(part.doses)
    return low, high


def reduce_to_doses(layout: Layout, part: Part, target: Array, nuisance: Array) -> tuple[Array, Array, float]:
    """Sums of one curve after the nuisance columns (n, r) are taken out, whitened where errors are not alike.

    For fitted values f (k,) at the curve's doses and the best nuisance effects the
    residual sum of squares is ``total - 2 f'pull + f'weights f``.
    """
    spread = np.zeros((layout.n, part.doses.size))
    spread[part.rows, part.which] = 1.0
    if nuisance.shape[1] == 0 and layout.errors is None:
        own = target[part.rows]
        return np.diag(part.counts), spread.T @ target, float(own @ own)
    spread, target, nuisance = layout.whiten(spread), layout.whiten(target), layout.whiten(nuisance)
    if nuisance.shape[1] == 0:
        return spread.T @ spread, spread.T @ target, float(target @ target)
    left, values, _ = np.linalg.svd(nuisance, full_matrices=False)
    q = left[:, values > 1e-10 * values.max(initial=0.0)]
    inside, along = spread.T @ q, q.T @ target
    weights = spread.T @ spread - inside @ inside.T
    return weights, spread.T @ target - inside @ along, float(target @ target - along @ along)


def profile(basis: Array, weights: Array, pull: Array) -> tuple[Array, Array]:
    """Best linear parameters (points, m) and what they explain (points,), for many bases at once.

    ``basis`` is (points, k, m) with m of 1 to 3. Points where the columns cannot be told
    apart explain minus infinity.
    """
    normal = np.einsum("gki,kl,glj->gij", basis, weights, basis, optimize=True)
    along = basis.transpose(0, 2, 1) @ pull
    with np.errstate(all="ignore"):
        if basis.shape[2] == 1:
            size = normal[:, 0, 0]
            ok = size > 1e-12 * np.trace(weights)
            beta = along / size[:, None]
        elif basis.shape[2] == 2:
            a, b, c = normal[:, 0, 0], normal[:, 0, 1], normal[:, 1, 1]
            det = a * c - b * b
            ok = (det > 1e-9 * a * c) & (c > 1e-12 * np.trace(weights))
            beta = np.stack([c * along[:, 0] - b * along[:, 1], a * along[:, 1] - b * along[:, 0]], 1) / det[:, None]
        else:
            beta, ok = _solve(normal, along)
        explained = np.where(ok, np.einsum("gi,gi->g", beta, along), -np.inf)
    return beta, explained


def _solve(normal: Array, along: Array) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Solutions (points, m) of many normal equations, and which of them can be told apart."""
    size = np.sqrt(np.einsum("gii->gi", normal))
    scaled = normal / (size[:, :, None] * size[:, None, :])
    scaled = np.where(np.isfinite(scaled), scaled, 0.0)
    ok = np.abs(np.linalg.det(scaled)) > 1e-9
    scaled[~ok] = np.eye(normal.shape[1])
    with np.errstate(all="ignore"):
        return np.linalg.solve(scaled, (along / size)[:, :, None])[:, :, 0] / size, ok


def _others(layout: Layout, number: int) -> Array:
    """Nuisance columns when one curve is looked at: blocks, and the other curves' doses as levels."""
    if not layout.coupled:
        return np.zeros((layout.n, 0))
    columns = [layout.blocks]
    for other, part in enumerate(layout.parts):
        if other != number:
            spread = np.zeros((layout.n, part.doses.size))
            spread[part.rows, part.which] = 1.0
            columns.append(spread)
    return np.hstack(columns)


def _fit_part(layout: Layout, shape: Shape, number: int, part: Part) -> Array | None:
    """Inner parameters of one curve, with the other curves left free."""
    assert shape.bounds is not None
    weights, pull, _ = reduce_to_doses(layout, part, layout.y, _others(layout, number))
    values, vectors = np.linalg.eigh(weights)
    keep = values > 1e-10 * values[-1]
    root = (vectors[:, keep] * np.sqrt(values[keep])).T
    wanted = (vectors[:, keep] / np.sqrt(values[keep])).T @ pull
    thetas = shape.grid(part.doses)
    beta, explained = profile(np.asarray(shape.basis(part.doses, thetas, layout.centre), dtype=float), weights, pull)
    low, high = shape.bounds(part.doses)
    free = np.full(shape.linear, np.inf)

    def descend(start: Array, most: int, tolerance: float) -> Minimum | None:
        return minimise(
            lambda p: wanted - root @ np.asarray(shape.mean(part.doses, p, layout.centre), dtype=float),
            lambda p: root @ shape.gradient(part.doses, p, layout.centre),
            start,
            lower=np.concatenate([low, -free]),
            upper=np.concatenate([high, free]),
            max_iterations=most,
            tolerance=tolerance,
        )

    # A few steps show which start leads lowest; only that one is followed to the end. With
    # blocks the joint fit polishes, without them this one is final.
    starts = _starts(thetas, explained, float(wanted @ wanted), low, high)
    first = [descend(np.concatenate([thetas[i], beta[i]]), 8, 1e-3) for i in starts]
    led = [end for end in first if end is not None]
    if not led:
        return None
    best = min(led, key=lambda end: end.rss)
    end = descend(best.parameters, 60, 1e-6 if layout.coupled else 1e-12)
    return best.parameters if end is None else end.parameters


def _starts(thetas: Array, explained: Array, total: float, low: Array, high: Array, most: int = 3) -> list[int]:
    """The best grid points that are not neighbours of a better one, and not hopeless."""
    hopeless = total - 2.0 * (total - explained.max()) - 1e-9 * total
    chosen: list[int] = []
    scaled = (thetas - low) / (high - low)
    for index in np.argsort(-explained)[:200]:
        if not explained[index] >= hopeless:
            break
        if all(np.abs(scaled[index] - scaled[other]).max() > 0.15 for other in chosen):
            chosen.append(int(index))
        if len(chosen) == most:
            break
    return chosen


def _joint(layout: Layout, shape: Shape, inner: Array) -> Array | None:
    parameters = np.concatenate([inner, np.zeros(layout.blocks.shape[1])])
    if layout.blocks.size:
        rest = layout.whiten(layout.y - joint_mean(layout, shape, parameters))
        parameters[inner.size :] = np.linalg.lstsq(layout.whiten(layout.blocks), rest, rcond=None)[0]
    low, high = joint_bounds(layout, shape, parameters.size)
    end = minimise(
        lambda p: layout.whiten(layout.y - joint_mean(layout, shape, p)),
        lambda p: layout.whiten(joint_jacobian(layout, shape, p)),
        parameters,
        lower=low,
        upper=high,
        max_iterations=100,
    )
    return None if end is None else end.parameters


def _joint_linear(layout: Layout, shape: Shape, start: Array) -> Array:
    columns, y = layout.whiten(joint_jacobian(layout, shape, start)), layout.whiten(layout.y)
    scale = np.sqrt((columns**2).sum(axis=0))
    first = np.linalg.lstsq(columns / scale, y, rcond=None)[0] / scale
    again = np.linalg.lstsq(columns / scale, y - columns @ first, rcond=None)[0] / scale
    return np.asarray(first + again)


def _finish(layout: Layout, shape: Shape, parameters: Array) -> ShapeFit | None:
    inner, blocks = pack(layout, shape, parameters)
    if not np.isfinite(parameters).all():
        return None
    if any(shape.degenerate(v[: shape.q], p.doses) for v, p in zip(inner, layout.parts, strict=True)):
        return None
    if shape.accepts is not None and not all(shape.accepts(v) for v in inner):
        return None
    slopes = joint_jacobian(layout, shape, parameters)
    inverse = inverse_information(layout.whiten(slopes))
    if inverse is None:
        return None
    fitted = joint_mean(layout, shape, parameters)
    return ShapeFit(
        shape=shape,
        layout=layout,
        inner=inner,
        block_effects=blocks,
        rss=float((layout.whiten(layout.y - fitted) ** 2).sum()),
        inverse=inverse,
        fitted=fitted,
        between=_between(layout, slopes, inverse),
    )


def _between(layout: Layout, slopes: Array, inverse: Array) -> tuple[Array, ...]:
    """What each random grouping adds to the covariance of the parameters, in units of its own variance."""
    if layout.errors is None:
        return ()
    heavy = layout.errors.apply_twice(slopes)
    out = []
    for group in layout.errors.groups:
        pulled = inverse @ (heavy.T @ group.marks)
        out.append(pulled @ pulled.T)
    return tuple(out)
