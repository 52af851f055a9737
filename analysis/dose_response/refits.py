"""What would the same curve be, fitted to thousands of other sets of bakes of the same design?

All refits go forward together. The linear parameters are profiled out (variable projection,
Golub & Pereyra 1973, with Kaufman's 1975 Jacobian), so that only ``theta`` is searched; the bakes
enter through one whitened mean per dose; a refit that has settled leaves the batch. Each has its
own Marquardt damping. A refit is settled when its next step but one promises less than 1e-9 of the
residual sum (how fast the promises shrink tells the next from the last).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.dose_response.shape import Array, Shape

Flags = npt.NDArray[np.bool_]
_PROMISE, _LAST = 1e-9, 1e-4
_MOST = 60
_COMPACT = 0.6  # the batch is packed anew when fewer than this share of it are still moving
_CELLS = 36000  # numbers worked on at once: what fits the fast memory of a processor, and is worth a call each


@dataclass(frozen=True, eq=False)
class Design:
    """The doses (k,) of one curve and how they count.

    The residual sum of fitted values f is ``scale`` |target - whiten(f)|² plus what no curve can
    lower. ``root`` (r, k) is None when doses count by ``light`` (k,), square roots (None: all
    alike). ``span`` (r, c) is the whitened basis of the shape's ``fixed`` columns (k, c).
    """

    shape: Shape
    doses: Array
    centre: float
    weights: Array
    scale: float
    light: Array | None
    root: Array | None
    fixed: Array
    span: Array

    @staticmethod
    def of(shape: Shape, doses: Array, centre: float, weights: Array) -> Design:
        """``weights`` (k, k) as of ``curves.reduce_to_doses``."""
        counts = np.diag(weights).copy()
        scale, light, root = 1.0, None, None
        if np.abs(weights - np.diag(counts)).max() > 1e-12 * counts.max():
            values, vectors = np.linalg.eigh(weights)
            keep = values > 1e-10 * values[-1]
            root = (vectors[:, keep] * np.sqrt(values[keep])).T
        elif np.ptp(counts) <= 1e-12 * counts.max():
            scale = float(counts[0])
        else:
            light = np.sqrt(counts)
        columns = [(doses - centre) ** power for power in shape.powers]
        fixed = np.stack(columns, axis=1) if columns else np.zeros((doses.size, 0))
        heavy = root @ fixed if root is not None else fixed if light is None else fixed * light[:, None]
        span = np.linalg.qr(heavy)[0] if columns else heavy
        return Design(shape, doses, centre, weights, scale, light, root, fixed, span)

    def targets(self, pulls: Array) -> Array:
        """Whitened targets (refits, r) of the pulls (refits, k), without what the fixed columns explain."""
        if self.root is not None:
            values = np.linalg.lstsq(self.root.T, pulls.T, rcond=None)[0].T
        else:
            values = pulls / (self.scale if self.light is None else self.light)
        return np.asarray(values - (values @ self.span) @ self.span.T if self.span.shape[1] else values)

    def whiten(self, values: Array) -> Array:
        """Fitted values (refits, k) as they count, (refits, r)."""
        if self.root is not None:
            return np.asarray(values @ self.root.T)
        return values if self.light is None else np.asarray(values * self.light)

    def waves(self, theta: Array) -> list[Array]:
        assert self.shape.wave is not None
        out = np.asarray(self.shape.wave(self.doses, theta), dtype=float)
        return [out] if self.shape.columns == 1 else [out[..., i] for i in range(self.shape.columns)]

    def waves_and_slopes(self, theta: Array) -> tuple[list[Array], list[list[Array]]]:
        """Columns (refits, k) and, for each, its derivatives by every theta."""
        if self.shape.fused is not None:
            wave, slopes = self.shape.fused(self.doses, theta)
            return [wave], [slopes]
        every = self.shape.basis_slopes(self.doses, theta, self.centre)[..., len(self.shape.powers) :, :]
        return self.waves(theta), [[every[..., i, k] for k in range(self.shape.q)] for i in range(self.shape.columns)]


@dataclass(frozen=True, eq=False)
class Refits:
    """Inner parameters (refits, size), the part of the residual sum a curve could lower, and which settled."""

    inner: Array
    rss: Array
    settled: Flags


def refit_many(design: Design, pulls: Array, start: Array) -> Refits:
    """Refit from ``start`` (q,) or (refits, q) to every row of ``pulls`` (refits, k)."""
    shape = design.shape
    assert shape.bounds is not None
    low, high = shape.bounds(design.doses)
    count = pulls.shape[0]
    theta = np.clip(np.broadcast_to(start, (count, shape.q)), low, high)
    settled = np.zeros(count, dtype=bool)
    inner, rss = np.empty((count, shape.size)), np.empty(count)
    with np.errstate(all="ignore"):
        targets = design.targets(pulls)
        rows = max(64, _CELLS // design.doses.size)
        for first in range(0, count, rows):
            at = slice(first, first + rows)
            ends = theta[at].copy()
            _search(design, targets[at], ends, settled[at], low, high)
            inner[at], rss[at] = _linear(design, pulls[at], targets[at], ends)
    return Refits(inner, design.scale * rss, settled & np.isfinite(rss) & np.isfinite(inner).all(axis=1))


@dataclass(eq=False)
class _Batch:
    """The refits still moving: where each stands, and the normal equations there."""

    rows: npt.NDArray[np.int64]
    targets: Array
    at: Array
    rss: Array
    pull: Array
    curvature: Array
    damping: Array
    promised: Array

    def kept(self, keep: Flags) -> _Batch:
        return _Batch(*(getattr(self, name)[keep] for name in self.__dataclass_fields__))


def _search(design: Design, targets: Array, theta: Array, settled: Flags, low: Array, high: Array) -> None:
    count = theta.shape[0]
    # Refits that start alike share one look at the curve.
    alike = bool((theta == theta[0]).all())
    rss, pull, curvature = _normal(design, theta[:1] if alike else theta, targets)
    still = np.full(count, np.inf)
    batch = _Batch(np.arange(count), targets, theta.copy(), rss, pull, curvature, np.zeros(count), still)
    for _ in range(_MOST):
        step, promised = _steps(batch, low, high)
        trial = np.clip(batch.at + step, low, high)
        shrinking = np.minimum(promised / batch.promised, 1.0)
        done = ~((promised > _LAST * batch.rss) | (promised * shrinking > _PROMISE * batch.rss))
        theta[batch.rows] = np.where(done[:, None], trial, batch.at)
        settled[batch.rows[done]] = True
        lost = batch.damping > 1e12
        moving = ~(done | lost)
        if not moving.any():
            return
        batch.promised = promised
        if moving.mean() < _COMPACT:
            batch, trial = batch.kept(moving), trial[moving]
        rss, pull, curvature = _normal(design, trial, batch.targets)
        better = rss <= batch.rss * (1 + 1e-11)
        if not better.all():
            batch.promised = np.where(better, batch.promised, np.inf)
            trial = np.where(better[:, None], trial, batch.at)
            rss = np.where(better, rss, batch.rss)
            pull = np.where(better[:, None], pull, batch.pull)
            curvature = np.where(better[:, None, None], curvature, batch.curvature)
        batch.at, batch.rss, batch.pull, batch.curvature = trial, rss, pull, curvature
        batch.damping = np.where(better, batch.damping / 10, np.maximum(batch.damping * 8, 1e-2))
        batch.damping[batch.damping < 1e-5] = 0.0


def _normal(design: Design, theta: Array, targets: Array) -> tuple[Array, Array, Array]:
    """Residual sum, half of its downhill gradient (refits, q) and Gauss-Newton curvature (refits, q, q)."""
    waves, slopes = design.waves_and_slopes(theta)
    columns = [design.whiten(wave) for wave in waves]
    first = len(columns)
    if first == 1:
        columns += [design.whiten(slope) for slope in slopes[0]]
    else:
        beta = _solved(*_products(design, columns, targets), first)[1]
        for k in range(design.shape.q):
            columns.append(design.whiten(np.asarray(sum(beta[:, i, None] * slopes[i][k] for i in range(first)))))
    gram, along = _products(design, columns, targets)
    shares, beta = _solved(gram, along, first)
    rss = _dot(targets, targets) - np.einsum("ri,ri->r", beta, along[:, :first])
    pull = along[:, first:] - np.einsum("ri,rik->rk", beta, gram[:, :first, first:])
    curvature = gram[:, first:, first:] - np.einsum("rik,ril->rkl", gram[:, :first, first:], shares)
    if first == 1:  # its factor is put in here, on a few numbers per refit instead of on every dose
        pull = pull * beta
        curvature = curvature * (beta**2)[:, :, None]
    return rss, pull, np.broadcast_to(curvature, (rss.size, *curvature.shape[1:]))


def _products(design: Design, columns: list[Array], targets: Array) -> tuple[Array, Array]:
    """Inner products of the columns (1 or refits, c, c) beside the fixed ones, and with the targets (refits, c)."""
    shadows = [column @ design.span for column in columns] if design.span.shape[1] else None
    size = len(columns)
    gram = np.empty((columns[-1].shape[0], size, size))
    for i in range(size):
        for j in range(i + 1):
            product = _dot(columns[i], columns[j])
            if shadows is not None:
                product = product - _dot(shadows[i], shadows[j])
            gram[:, i, j] = gram[:, j, i] = product
    # One column for all refits is a single matrix product.
    along = [targets @ c[0] if c.shape[0] == 1 else _dot(c, targets) for c in columns]
    return gram, np.stack(along, axis=1)


def _solved(gram: Array, along: Array, first: int) -> tuple[Array, Array]:
    """Shares of the waves in the other columns (refits, first, c) and their own factors (refits, first)."""
    other = gram[:, :first, first:]
    if first == 1:
        size = gram[:, :1, 0]
        return other / size[:, :, None], along[:, :1] / size
    a, b, c = gram[:, 0, 0], gram[:, 0, 1], gram[:, 1, 1]
    det = a * c - b * b
    inverse = np.stack([np.stack([c, -b], axis=1), np.stack([-b, a], axis=1)], axis=1) / det[:, None, None]
    return inverse @ other, np.einsum("rij,rj->ri", np.broadcast_to(inverse, (along.shape[0], 2, 2)), along[:, :2])


def _dot(a: Array, b: Array) -> Array:
    return np.asarray(np.einsum("rk,rk->r", a, b))


def _steps(batch: _Batch, low: Array, high: Array) -> tuple[Array, Array]:
    """Damped steps (refits, q), held where they push out of the box, and the gain they promise."""
    pushing = ((batch.at <= low) & (batch.pull < 0)) | ((batch.at >= high) & (batch.pull > 0))
    pull, curvature, q = batch.pull, batch.curvature, batch.pull.shape[1]
    diagonal = np.einsum("rii->ri", curvature)
    dead = pushing | ~(diagonal > 1e-300)  # a direction without curvature stays where it is
    if dead.any():
        pull = np.where(dead, 0.0, pull)
        curvature = np.where(dead[:, :, None] | dead[:, None, :], np.eye(q), curvature)
        diagonal = np.einsum("rii->ri", curvature)
    grown = 1 + 1e-12 + batch.damping
    if q == 1:
        step = pull / (curvature[:, 0] * grown[:, None])
    elif q == 2:
        a, b, c = curvature[:, 0, 0] * grown, curvature[:, 0, 1], curvature[:, 1, 1] * grown
        det = a * c - b * b
        step = np.stack([c * pull[:, 0] - b * pull[:, 1], a * pull[:, 1] - b * pull[:, 0]], axis=1) / det[:, None]
    else:
        scale = np.sqrt(diagonal)
        scaled = curvature / (scale[:, :, None] * scale[:, None, :])
        scaled[:, range(q), range(q)] = grown[:, None]
        scaled[~np.isfinite(scaled).all(axis=(1, 2))] = np.eye(q)
        right = np.where(np.isfinite(pull / scale), pull / scale, 0.0)
        step = np.linalg.solve(scaled, right[:, :, None])[:, :, 0] / scale
    step = np.where(np.isfinite(step), step, 0.0)
    return step, np.einsum("rk,rk->r", step, pull)


def _linear(design: Design, pulls: Array, targets: Array, theta: Array) -> tuple[Array, Array]:
    """Inner parameters at the thetas found, and the residual sums."""
    waves = design.waves(theta)
    columns = [design.whiten(wave) for wave in waves]
    beta = _solved(*_products(design, columns, targets), len(columns))[1]
    curve = sum(beta[:, i, None] * wave for i, wave in enumerate(waves))
    parts = [theta]
    if design.fixed.shape[1]:
        heavy = design.weights @ design.fixed
        rest = pulls @ design.fixed - curve @ heavy
        parts.append(np.asarray(np.linalg.solve(design.fixed.T @ heavy, rest.T).T, dtype=float))
    light = design.whiten(np.asarray(curve))
    left = targets - (light - (light @ design.span) @ design.span.T if design.span.shape[1] else light)
    return np.hstack([*parts, beta]), _dot(left, left)
