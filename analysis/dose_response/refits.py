"""What would the same curve be, fitted to thousands of other sets of bakes of the same design?

All refits go forward together. The linear parameters are profiled out (variable projection,
Golub & Pereyra 1973, with Kaufman's 1975 Jacobian), so that only ``theta`` is searched; the bakes
enter through one whitened mean per dose; a refit that has settled leaves the batch. Each has
its own Marquardt damping. A step that promises less than 1e-9 of the residual sum is the last.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.dose_response.shape import Array, Shape

_LAST = 1e-9
_MOST = 60
_COMPACT = 0.6  # the batch is packed anew when fewer than this share of it are still moving


@dataclass(frozen=True, eq=False)
class Design:
    """The doses (k,) of one curve and how they count.

    The residual sum of fitted values f is |target - whiten(f)|² plus what no curve explains.
    ``root`` (r, k) is None when doses simply count ``counts`` (k,); what the fixed columns of the
    shape explain (``fixed`` (k, c), whitened basis ``span`` (r, c)) is taken out of both sides.
    """

    shape: Shape
    doses: Array
    centre: float
    counts: Array
    root: Array | None
    fixed: Array
    span: Array

    @staticmethod
    def of(shape: Shape, doses: Array, centre: float, weights: Array) -> Design:
        """``weights`` (k, k) as of ``curves.reduce_to_doses``."""
        counts = np.diag(weights).copy()
        plain = np.abs(weights - np.diag(counts)).max() <= 1e-12 * counts.max()
        root = None
        if not plain:
            values, vectors = np.linalg.eigh(weights)
            keep = values > 1e-10 * values[-1]
            root = (vectors[:, keep] * np.sqrt(values[keep])).T
        columns = [(doses - centre) ** power for power in shape.powers]
        fixed = np.stack(columns, axis=1) if columns else np.zeros((doses.size, 0))
        light = fixed * np.sqrt(counts)[:, None] if root is None else root @ fixed
        span = np.linalg.qr(light)[0] if fixed.shape[1] else light
        return Design(shape, doses, centre, counts, root, fixed, span)

    def targets(self, pulls: Array) -> Array:
        """Whitened targets (refits, r) of the pulls (refits, k)."""
        if self.root is None:
            return self._free(pulls / np.sqrt(self.counts))
        return self._free(np.linalg.lstsq(self.root.T, pulls.T, rcond=None)[0].T)

    def whiten(self, values: Array) -> Array:
        """Fitted values (refits, k) as they count, without what the fixed columns explain."""
        return self._free(values * np.sqrt(self.counts) if self.root is None else values @ self.root.T)

    def _free(self, values: Array) -> Array:
        return values - (values @ self.span) @ self.span.T if self.span.shape[1] else values

    def waves(self, theta: Array) -> list[Array]:
        assert self.shape.wave is not None
        out = np.asarray(self.shape.wave(self.doses, theta))
        return [out] if self.shape.columns == 1 else [out[..., i] for i in range(self.shape.columns)]

    def waves_and_slopes(self, theta: Array) -> tuple[list[Array], list[list[Array]]]:
        """Columns (refits, k) and, for each, its derivatives by every theta."""
        if self.shape.fused is not None:
            wave, slopes = self.shape.fused(self.doses, theta)
            return [wave], [slopes]
        first = len(self.shape.powers)
        slopes = self.shape.basis_slopes(self.doses, theta, self.centre)[..., first:, :]
        return self.waves(theta), [
            [slopes[..., i, k] for k in range(self.shape.q)] for i in range(self.shape.columns)
        ]


@dataclass(frozen=True, eq=False)
class Refits:
    """Inner parameters (refits, size), the part of the residual sum that the curve could lower, and which settled."""

    inner: Array
    rss: Array
    settled: npt.NDArray[np.bool_]


def refit_many(design: Design, pulls: Array, start: Array) -> Refits:
    """Refit from ``start`` (q,) or (refits, q) to every row of ``pulls`` (refits, k)."""
    shape = design.shape
    assert shape.bounds is not None
    low, high = shape.bounds(design.doses)
    targets = design.targets(pulls)
    theta = np.clip(np.broadcast_to(start, (targets.shape[0], shape.q)), low, high).copy()
    settled = np.zeros(targets.shape[0], dtype=bool)
    with np.errstate(all="ignore"):
        _search(design, targets, theta, settled, low, high)
        inner, rss = _linear(design, pulls, targets, theta)
    return Refits(inner, rss, settled & np.isfinite(rss) & np.isfinite(inner).all(axis=1))


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

    def kept(self, keep: npt.NDArray[np.bool_]) -> _Batch:
        parts = (self.rows, self.targets, self.at, self.rss, self.pull, self.curvature, self.damping)
        return _Batch(*(part[keep] for part in parts))  # type: ignore[arg-type]


def _search(
    design: Design, targets: Array, theta: Array, settled: npt.NDArray[np.bool_], low: Array, high: Array
) -> None:
    count, q = theta.shape
    # All refits that start alike share one look at the curve.
    alike = bool((theta == theta[0]).all())
    rss, pull, curvature = _normal(design, theta[:1] if alike else theta, targets)
    batch = _Batch(np.arange(count), targets, theta.copy(), rss, pull, curvature, np.zeros(count))
    moving = np.ones(count, dtype=bool)
    for _ in range(_MOST):
        step, promised = _steps(batch, low, high)
        trial = np.clip(batch.at + step, low, high)
        done = moving & ~(promised > _LAST * batch.rss)
        theta[batch.rows[done]] = trial[done]
        settled[batch.rows[done]] = True
        moving &= ~done
        if not moving.any():
            return
        if moving.mean() < _COMPACT:
            batch, trial = batch.kept(moving), trial[moving]
            moving = np.ones(trial.shape[0], dtype=bool)
        rss, pull, curvature = _normal(design, trial, batch.targets)
        better = rss <= batch.rss * (1 + 1e-13)
        batch.at = np.where(better[:, None], trial, batch.at)
        batch.rss = np.where(better, rss, batch.rss)
        batch.pull = np.where(better[:, None], pull, batch.pull)
        batch.curvature = np.where(better[:, None, None], curvature, batch.curvature)
        batch.damping = np.where(better, batch.damping / 10, np.maximum(batch.damping * 8, 1e-2))
        batch.damping[batch.damping < 1e-5] = 0.0
        lost = moving & (batch.damping > 1e12)
        moving &= ~lost
        theta[batch.rows[moving | lost]] = batch.at[moving | lost]


def _normal(design: Design, theta: Array, targets: Array) -> tuple[Array, Array, Array]:
    """Residual sum, half of its downhill gradient (refits, q) and Gauss-Newton curvature (refits, q, q)."""
    waves, slopes = design.waves_and_slopes(theta)
    light = [design.whiten(wave) for wave in waves]
    beta, explained = _beta(light, targets)
    left = targets - sum(b[:, None] * column for b, column in zip(beta, light, strict=True))
    tilts = []
    for k in range(design.shape.q):
        tilt = sum(b[:, None] * one[k] for b, one in zip(beta, slopes, strict=True))
        tilts.append(_beside(design.whiten(np.asarray(tilt)), light))
    rss = _dot(left, left)
    pull = np.stack([_dot(tilt, left) for tilt in tilts], axis=1)
    curvature = np.empty((rss.size, len(tilts), len(tilts)))
    for i, one in enumerate(tilts):
        for j in range(i + 1):
            curvature[:, i, j] = curvature[:, j, i] = _dot(one, tilts[j])
    return rss, pull, curvature


def _dot(a: Array, b: Array) -> Array:
    return np.asarray(np.einsum("rk,rk->r", a, b))


def _beta(light: list[Array], targets: Array) -> tuple[list[Array], Array]:
    """Best linear parameters of the waves, and what they explain."""
    if len(light) == 1:
        along = _dot(np.broadcast_to(light[0], targets.shape), targets)
        beta = along / _dot(light[0], light[0])
        return [beta], beta * along
    one, two = (np.broadcast_to(column, targets.shape) for column in light)
    a, b, c = _dot(one, one), _dot(one, two), _dot(two, two)
    first, second = _dot(one, targets), _dot(two, targets)
    det = a * c - b * b
    betas = [(c * first - b * second) / det, (a * second - b * first) / det]
    return betas, betas[0] * first + betas[1] * second


def _beside(tilt: Array, light: list[Array]) -> Array:
    """A derivative without what the waves themselves could take up."""
    wide = [np.broadcast_to(column, tilt.shape) for column in light]
    shares, _ = _beta(wide, tilt)
    for share, column in zip(shares, wide, strict=True):
        tilt = tilt - share[:, None] * column
    return tilt


def _steps(batch: _Batch, low: Array, high: Array) -> tuple[Array, Array]:
    """Damped steps (refits, q), held where they push out of the box, and the gain they promise."""
    pushing = ((batch.at <= low) & (batch.pull < 0)) | ((batch.at >= high) & (batch.pull > 0))
    pull, curvature = batch.pull, batch.curvature
    q = pull.shape[1]
    diagonal = np.einsum("rii->ri", curvature)
    # Scaled to a unit diagonal; a direction without curvature stays where it is.
    scale = np.sqrt(np.where(diagonal > 0, diagonal, 1.0))
    dead = pushing | ~(diagonal > 1e-300)
    if dead.any():
        pull = np.where(dead, 0.0, pull)
        curvature = np.where(dead[:, :, None] | dead[:, None, :], 0.0, curvature)
    if q == 2:
        a, b, c = curvature[:, 0, 0], curvature[:, 0, 1], curvature[:, 1, 1]
        grown = 1 + batch.damping + 1e-12
        a, c = a * grown + dead[:, 0], c * grown + dead[:, 1]
        det = a * c - b * b
        step = np.stack([c * pull[:, 0] - b * pull[:, 1], a * pull[:, 1] - b * pull[:, 0]], axis=1) / det[:, None]
    else:
        scaled = curvature / (scale[:, :, None] * scale[:, None, :])
        scaled = np.where(np.isfinite(scaled), scaled, 0.0)
        scaled[:, range(q), range(q)] = 1 + batch.damping[:, None] + 1e-12
        right = np.where(np.isfinite(pull / scale), pull / scale, 0.0)
        step = np.linalg.solve(scaled, right[:, :, None])[:, :, 0] / scale
    step = np.where(np.isfinite(step), step, 0.0)
    return step, np.einsum("rk,rk->r", step, pull)


def _linear(design: Design, pulls: Array, targets: Array, theta: Array) -> tuple[Array, Array]:
    """Inner parameters at the thetas found, and the residual sums."""
    waves = design.waves(theta)
    light = [design.whiten(wave) for wave in waves]
    beta, _ = _beta(light, targets)
    left = targets - sum(b[:, None] * column for b, column in zip(beta, light, strict=True))
    parts = [theta]
    if design.fixed.shape[1]:
        curve = sum(b[:, None] * wave for b, wave in zip(beta, waves, strict=True))
        weights = np.diag(design.counts) if design.root is None else design.root.T @ design.root
        rest = pulls - curve @ weights
        parts.append(np.linalg.solve(design.fixed.T @ weights @ design.fixed, design.fixed.T @ rest.T).T)
    parts += [b[:, None] for b in beta]
    return np.hstack(parts), _dot(left, left)
