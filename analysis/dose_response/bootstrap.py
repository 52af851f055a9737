"""How would the curve have come out with other bakes of the same kind?

Residual bootstrap: to the fitted curve are added leftovers drawn with replacement, each made as
large as a bake's own scatter (r / sqrt(1 - leverage), Davison & Hinkley 1997, ch. 6); within blocks
that hold five bakes or more. Where the scatter differs between doses, every dose keeps its own:
its bakes are drawn anew from each other (less their mean), stretched for their number. Every
resample is fitted anew (``refits``); limits are BCa (``analysis.resampling``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.dose_response.curves import ShapeFit, joint_jacobian, profile
from analysis.dose_response.one_curve import OneCurve, single
from analysis.dose_response.refits import Design, refit_many
from analysis.dose_response.shape import Array

DRAWS = 2000
_FEWEST_IN_BLOCK = 5
_GRID = 400


@dataclass(frozen=True, eq=False)
class Resampled:
    """Inner parameters (draws, size) of one curve, NaN where a refit did not settle."""

    inner: Array
    lost: int

    def heights(self, fit: ShapeFit, doses: Array) -> Array:
        """Curves (draws, len(doses))."""
        shape, q = fit.shape, fit.shape.q
        basis = shape.basis(doses, self.inner[:, :q], fit.layout.centre)
        return np.asarray(np.einsum("rkm,rm->rk", basis, self.inner[:, q:]), dtype=float)


def leftovers(fit: ShapeFit, rng: np.random.Generator, *, uneven: bool, draws: int = DRAWS) -> Array:
    """Drawn whitened leftovers (draws, n)."""
    layout = fit.layout
    left = layout.whiten(layout.y - fit.fitted)
    if uneven:
        cells = np.unique(layout.dose, return_inverse=True)[1]
        return _within(_stretched(left, cells), cells, rng, draws)
    rows = layout.whiten(joint_jacobian(layout, fit.shape, np.concatenate([fit.inner.ravel(), fit.block_effects])))
    basis = np.linalg.qr(rows / np.maximum(np.linalg.norm(rows, axis=0), 1e-300))[0]
    own = left / np.sqrt(np.maximum(1 - (basis**2).sum(axis=1), 0.05))
    own = own - own.mean()
    # To the spread that the fit reports, whatever the leverages.
    own *= np.sqrt(fit.variance / max(float((own**2).mean()), 1e-300))
    return _within(own, _blocks(fit), rng, draws)


def _blocks(fit: ShapeFit) -> np.ndarray:
    """Blocks to draw within; one for all when some are too small."""
    layout = fit.layout
    for _, codes in layout.block_codes:
        if layout.blocks.shape[1] and np.bincount(codes).min() >= _FEWEST_IN_BLOCK:
            return np.asarray(codes)
    return np.zeros(layout.n, dtype=np.int64)


def _stretched(left: Array, cells: np.ndarray) -> Array:
    counts = np.bincount(cells)
    away = left - (np.bincount(cells, left) / counts)[cells]
    return np.asarray(away * np.sqrt(counts / np.maximum(counts - 1, 1))[cells])


def _within(left: Array, cells: np.ndarray, rng: np.random.Generator, draws: int) -> Array:
    out = np.empty((draws, left.size))
    for cell in range(int(cells.max()) + 1):
        rows = np.flatnonzero(cells == cell)
        out[:, rows] = left[rows][rng.integers(0, rows.size, (draws, rows.size))]
    return out


def resampled_curve(fit: ShapeFit, curve: int, drawn: Array) -> Resampled:
    """One curve refitted to every row of drawn leftovers (draws, n)."""
    own, shape = single(fit, curve), fit.shape
    pulls = own.pull(own.inside + drawn)
    doses = fit.layout.parts[curve].doses
    if shape.q == 0:
        basis = np.asarray(shape.basis(doses, np.empty(0), fit.layout.centre), dtype=float)
        inner = np.linalg.solve(basis.T @ own.weights @ basis, basis.T @ pulls.T).T
        return Resampled(np.asarray(inner, dtype=float), 0)
    design = Design.of(shape, doses, fit.layout.centre, own.weights)
    start = _best_of_grid(fit, own, doses, pulls) if shape.low_ok else fit.inner[curve, : shape.q]
    found = refit_many(design, pulls, start)
    refitted, settled = found.inner, found.settled
    if not settled.all() and not shape.low_ok:
        again = refit_many(design, pulls[~settled], _best_of_grid(fit, own, doses, pulls[~settled]))
        refitted[~settled] = again.inner
        settled = settled.copy()
        settled[~settled] = again.settled
    refitted[~settled] = np.nan
    return Resampled(refitted, int((~settled).sum()))


def _best_of_grid(fit: ShapeFit, own: OneCurve, doses: Array, pulls: Array) -> Array:
    """For every resample the best theta of the grid of starting values (all share the grid's columns)."""
    shape, centre = fit.shape, fit.layout.centre
    thetas = shape.grid(doses)
    if shape.q == 1:
        low, high = thetas.min(), thetas.max()
        thetas = np.unique(np.concatenate([np.linspace(low, high, _GRID), thetas[:, 0]]))[:, None]
    basis = np.asarray(shape.basis(doses, thetas, centre), dtype=float)
    normal = np.einsum("gki,kl,glj->gij", basis, own.weights, basis, optimize=True)
    fine = np.isfinite(profile(basis, own.weights, pulls[0])[1])
    thetas, basis, normal = thetas[fine], basis[fine], normal[fine]
    inverse = np.linalg.inv(normal)
    best, at = np.full(pulls.shape[0], -np.inf), np.zeros(pulls.shape[0], dtype=np.int64)
    for g in range(thetas.shape[0]):
        along = pulls @ basis[g]
        explained = np.einsum("ri,ij,rj->r", along, inverse[g], along)
        better = explained > best
        best[better], at[better] = explained[better], g
    return np.asarray(thetas[at])
