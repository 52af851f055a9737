"""What do the bakes say when no formula is believed: a monotone or a smooth curve?

Both are held by their heights at the baked doses. **Monotone**: the heights that lie closest to
the bakes among all that never turn (isotonic least squares, blocks fitted beside; the way
that fits better, up or down), straight lines between them. Its band is as wide as posterior draws of
free heights are when each is made monotone (projection, Chakraborty & Ghosal 2021, Annals of
Statistics 49:1011): a resampled isotonic fit would be too sure where the curve is level. It lies
around the curve, for the draws lean outwards where a level stretch ends (as the curve does already:
limits read off the draws held 88 % there, and 93 % on average; around the curve 94 and 96 %).
**Smooth**: a natural cubic spline with a knot at every dose, its roughness (the integral of the
squared second derivative) penalised as much as restricted likelihood asks (Green & Silverman 1994,
ch. 2; Wood 2011, JRSS B 73:3); bands are those of the equivalent random-effects model (Wahba 1983, JRSS B 45:133).

In AICc a monotone curve costs as many parameters as it has different heights (Meyer &
Woodroofe 2000, Annals of Statistics 28:1083), a smooth one its effective number.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.optimize import lsq_linear, minimize_scalar

from analysis.dose_response.curves import ShapeFit, inverse_information, joint_jacobian, joint_mean
from analysis.dose_response.layout import Layout
from analysis.dose_response.shape import AnyArray, Array, Shape

FREE = ("monotone", "smooth")
_MOST_DOSES = 200
_FEWEST = {"monotone": 3, "smooth": 5}


@dataclass(frozen=True, kw_only=True, eq=False)
class FreeShape(Shape):
    """A curve held by its heights at ``knots`` (k,): straight between them, or a natural cubic spline."""

    knots: Array

    @property
    def linear(self) -> int:
        return self.knots.size

    def basis(self, x: Array, theta: AnyArray, centre: float) -> AnyArray:
        x = np.clip(x, self.knots[0], self.knots[-1])
        if self.name == "smooth":
            columns = CubicSpline(self.knots, np.eye(self.knots.size), bc_type="natural")(x)
        else:
            columns = np.stack([np.interp(x, self.knots, unit) for unit in np.eye(self.knots.size)], axis=1)
        return np.asarray(np.broadcast_to(columns, (*theta.shape[:-1], *columns.shape)))


@dataclass(frozen=True, kw_only=True, eq=False)
class FreeFit(ShapeFit):
    """A fit without a formula. ``spent_on`` is how many parameters it is worth, blocks included.

    ``around`` (curves, k) are the heights its draws are made around; ``way`` is 1 or -1 for a
    monotone curve, 0 for a smooth one. ``scatter`` is the variance of one bake.
    """

    spent_on: float
    around: Array
    way: int
    scatter: float

    @property
    def cost(self) -> float:
        return self.spent_on

    @property
    def df(self) -> int:
        return max(int(self.layout.n - self.spent_on - self.layout.spent), 1)

    @property
    def variance(self) -> float:
        return self.scatter

    def draw(self, doses: Array, spread: Array, rng: np.random.Generator) -> Array:
        """Curves (parts, draws, len(doses)) that could have given the bakes; ``spread`` (draws,)."""
        values, vectors = np.linalg.eigh(self.inverse)
        half = vectors * np.sqrt(np.maximum(values, 0))
        noise = (rng.standard_normal((spread.size, self.parameters)) @ half.T) * spread[:, None]
        size, out = self.shape.size, []
        basis = np.real(self.shape.basis(doses, np.empty(0), self.layout.centre))
        for number, part in enumerate(self.layout.parts):
            heights = self.around[number] + noise[:, number * size : (number + 1) * size]
            if self.way:
                heights = self.way * isotonic(self.way * heights, part.counts)
            out.append(heights @ basis.T)
        return np.stack(out)

    def band(self, number: int, doses: Array, confidence: float, seed: int = 1) -> tuple[Array, Array] | None:
        """Limits of a monotone curve, pointwise; None where the usual band holds."""
        if not self.way:
            return None
        rng = np.random.Generator(np.random.PCG64([seed, 307]))
        spread = np.sqrt(self.scatter * self.df / rng.chisquare(self.df, 4000))
        drawn = self.draw(doses, spread, rng)[number]
        low, high = np.quantile(drawn, [(1 - confidence) / 2, (1 + confidence) / 2], axis=0)
        own, half = self.mean(number, doses), (high - low) / 2
        return own - half, own + half


def isotonic(values: Array, weights: Array) -> Array:
    """The rising heights closest to each row of ``values`` (rows, k), by the max-min formula.

    ``weights`` (k,). Robertson, Wright & Dykstra 1988, ch. 1.
    """
    k = values.shape[1]
    sums = np.concatenate([np.zeros((values.shape[0], 1)), np.cumsum(values * weights, axis=1)], axis=1)
    totals = np.concatenate([[0.0], np.cumsum(weights)])
    out = np.full(values.shape, -np.inf)
    for first in range(k):
        means = (sums[:, first + 1 :] - sums[:, first : first + 1]) / (totals[first + 1 :] - totals[first])
        lowest = np.minimum.accumulate(means[:, ::-1], axis=1)[:, ::-1]
        out[:, first:] = np.maximum(out[:, first:], lowest)
    return out


def cannot(layout: Layout, name: str) -> str | None:
    """Why the doses rule out a curve without a formula."""
    fewest = min(part.doses.size for part in layout.parts)
    if fewest < _FEWEST[name]:
        return f"it needs {_FEWEST[name]} different doses of each curve, and {fewest} were baked"
    if any(part.doses.size != layout.doses.size for part in layout.parts):
        return "it needs every curve to be baked at the same doses"
    if layout.doses.size > _MOST_DOSES:
        return f"it takes {_MOST_DOSES} different doses at most; round them to what was weighed"
    return None


def fit_free(layout: Layout, name: str) -> FreeFit | None:
    """The monotone or smooth curve; None when the bakes leave nothing to judge it by."""
    return _fit_smooth(layout) if name == "smooth" else _fit_monotone(layout)


def _shape(layout: Layout, name: str) -> FreeShape:
    knots = layout.doses
    return FreeShape(
        name=name,
        powers=(),
        distinct=_FEWEST[name],
        turns=name == "smooth",
        free=True,
        report=lambda p, centre: {f"at {dose:g}": p[i] for i, dose in enumerate(knots)},
        knots=knots,
    )


def _columns(layout: Layout, shape: FreeShape) -> tuple[Array, Array]:
    """Whitened columns (n, parameters) and bakes (n,)."""
    empty = np.zeros(shape.size * len(layout.parts) + layout.blocks.shape[1])
    return layout.whiten(joint_jacobian(layout, shape, empty)), layout.whiten(layout.y)


def _assembled(
    layout: Layout,
    shape: FreeShape,
    parameters: Array,
    inverse: Array,
    *,
    spent_on: float,
    around: Array,
    way: int,
    room: float,
) -> FreeFit | None:
    """``room``: error degrees of freedom for the scatter."""
    fitted = joint_mean(layout, shape, parameters)
    rss = float((layout.whiten(layout.y - fitted) ** 2).sum())
    count = shape.size * len(layout.parts)
    if layout.n <= spent_on + 2 or room < 1 or not np.isfinite(inverse).all():
        return None
    return FreeFit(
        shape=shape,
        layout=layout,
        inner=parameters[:count].reshape(len(layout.parts), shape.size),
        block_effects=parameters[count:],
        rss=rss,
        inverse=inverse,
        fitted=fitted,
        spent_on=spent_on,
        around=around,
        way=way,
        scatter=rss / room,
    )


def _fit_monotone(layout: Layout) -> FreeFit | None:
    shape = _shape(layout, "monotone")
    columns, y = _columns(layout, shape)
    inverse = inverse_information(columns)
    if inverse is None:
        return None
    k, parts = shape.size, len(layout.parts)
    free = np.linalg.lstsq(columns, y, rcond=None)[0]
    best: tuple[float, Array, int] | None = None
    for way in (1, -1):
        # Heights as the first one and steps that may not go back.
        steps = np.kron(np.eye(parts), way * np.tril(np.ones((k, k))))
        low = np.full(columns.shape[1], -np.inf)
        for part in range(parts):
            steps[part * k : (part + 1) * k, part * k] = 1.0
            low[part * k + 1 : (part + 1) * k] = 0.0
        turned = columns.copy()
        turned[:, : parts * k] = columns[:, : parts * k] @ steps
        scale = float(np.ptp(y)) or 1.0
        found = lsq_linear(turned, y / scale, (low, np.inf), method="bvls", tol=1e-14)
        parameters = found.x * scale
        parameters[: parts * k] = steps @ parameters[: parts * k]
        rss = float(((y - columns @ parameters) ** 2).sum())
        if best is None or rss < best[0] * (1 - 1e-12):
            best = rss, parameters, way
    assert best is not None
    _, parameters, way = best
    heights = parameters[: parts * k].reshape(parts, k)
    span = float(np.ptp(heights)) or 1.0
    levels = parts + int((np.abs(np.diff(heights, axis=1)) > 1e-9 * span).sum())
    blocks = layout.blocks.shape[1]
    # A level found by pooling costs half as much again of the scatter (Meyer & Woodroofe 2000).
    room = layout.n - 1.5 * levels - blocks if levels < parts * k else layout.n - levels - blocks
    return _assembled(
        layout,
        shape,
        parameters,
        inverse,
        spent_on=levels + blocks,
        around=np.asarray(free[: parts * k].reshape(parts, k), dtype=float),
        way=way,
        room=room,
    )


def roughness(knots: Array) -> Array:
    """(k, k): heights' K heights is the integral of the natural spline's squared second derivative."""
    gaps = np.diff(knots)
    k = knots.size
    across, band = np.zeros((k, k - 2)), np.zeros((k - 2, k - 2))
    for j in range(1, k - 1):
        across[j - 1, j - 1] = 1 / gaps[j - 1]
        across[j, j - 1] = -1 / gaps[j - 1] - 1 / gaps[j]
        across[j + 1, j - 1] = 1 / gaps[j]
        band[j - 1, j - 1] = (gaps[j - 1] + gaps[j]) / 3
        if j < k - 2:
            band[j - 1, j] = band[j, j - 1] = gaps[j] / 6
    return np.asarray(across @ np.linalg.solve(band, across.T))


def _fit_smooth(layout: Layout) -> FreeFit | None:
    shape = _shape(layout, "smooth")
    columns, y = _columns(layout, shape)
    count = shape.size * len(layout.parts)
    span = float(np.ptp(shape.knots))
    penalty = np.zeros((columns.shape[1],) * 2)
    # Scaled to doses between 0 and 1, so that huge units do no harm.
    penalty[:count, :count] = np.kron(np.eye(len(layout.parts)), roughness(shape.knots / span))
    scale = float(np.ptp(y)) or 1.0
    log_best = _restricted(columns, y / scale, penalty, rank=(shape.size - 2) * len(layout.parts))
    normal = columns.T @ columns
    try:
        inverse = np.linalg.inv(normal + np.exp(log_best) * penalty)
    except np.linalg.LinAlgError:
        return None
    parameters = inverse @ (columns.T @ y)
    spent_on = float(np.trace(inverse @ normal))
    return _assembled(
        layout,
        shape,
        parameters,
        inverse,
        spent_on=spent_on,
        around=parameters[:count].reshape(len(layout.parts), shape.size),
        way=0,
        room=layout.n - spent_on,
    )


def _restricted(columns: Array, y: Array, penalty: Array, *, rank: int) -> float:
    """Logarithm of the penalty's weight that restricted likelihood prefers."""
    normal, along, total = columns.T @ columns, columns.T @ y, float(y @ y)
    df = y.size - (columns.shape[1] - rank)

    def loss(log: float) -> float:
        heavy = normal + np.exp(log) * penalty
        sign, size = np.linalg.slogdet(heavy)
        left = total - float(along @ np.linalg.solve(heavy, along)) if sign > 0 else np.nan
        return float(size - rank * log + df * np.log(max(left, 1e-24 * total) / df)) if sign > 0 else np.inf

    grid = np.linspace(-18.0, 14.0, 65)
    losses = [loss(float(log)) for log in grid]
    at = int(np.argmin(losses))
    low, high = grid[max(at - 1, 0)], grid[min(at + 1, grid.size - 1)]
    found = minimize_scalar(loss, bounds=(low, high), method="bounded", options={"xatol": 1e-9})
    return float(found.x)
