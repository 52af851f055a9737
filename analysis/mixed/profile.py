"""Between which variances do the readings not decide?

The profile likelihood: all variances of one group whose best deviance, with everything else free, lies
within the chi-squared quantile on 1 degree of freedom of the least. Better than the chi-squared interval
with few groups, and it has an upper end where the estimate is 0.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri

from analysis.errors import NotPossible
from analysis.mixed.criterion import deviance
from analysis.mixed.door import WHERE
from analysis.mixed.fit import MixedFit
from analysis.mixed.likelihood import SumJets
from analysis.mixed.parameters import Layout
from analysis.mixed.preparing import prepare
from analysis.mixed.screening import layout_of
from analysis.mixed.terms import FloatArray

FARTHEST = 1e8  # times the estimate (or the residual variance) beyond which there is no upper end


@dataclass(frozen=True, eq=False)
class _Profile:
    """Deviance with one absolute variance held; ``place`` in theta, None for the residual."""

    jets: SumJets
    layout: Layout
    place: int | None
    restricted: bool

    def at(self, held: float, free: FloatArray) -> tuple[float, FloatArray]:
        """``free``: theta of the others, then log of the residual variance unless that is held."""
        sigma2 = held if self.place is None else float(np.exp(np.clip(free[-1], -60, 60)))
        others = free if self.place is None else free[:-1]
        theta = others if self.place is None else np.insert(others, self.place, np.sqrt(held / sigma2))
        there = deviance(self.jets.at(self.layout.gamma(theta)), restricted=self.restricted)
        share = there.quadratic / sigma2
        value = there.value - there.df * (1 + np.log(2 * np.pi * there.quadratic / there.df))
        value += there.df * np.log(2 * np.pi * sigma2) + share
        by_gamma = there.traces_1 + there.quadratic_1 / sigma2
        gradient = self.layout.jacobian(theta).T @ by_gamma
        if self.place is None:
            return float(value), gradient
        by_log = there.df - share - held / sigma2 * by_gamma[self.place]
        return float(value), np.append(np.delete(gradient, self.place), by_log)

    def least(self, held: float, free: FloatArray) -> tuple[float, FloatArray]:
        if not free.size:
            return self.at(held, free)[0], free
        from scipy.optimize import minimize

        found = minimize(lambda f: self.at(held, f), free, jac=True, method="BFGS", options={"gtol": 1e-6})
        return float(found.fun), np.asarray(found.x, dtype=np.float64)


def profile_interval(fit: MixedFit, name: str, *, confidence: float = 0.95) -> tuple[float, float | None]:
    """(low, high) of the variance of ``name`` ("residual" too); high None when there is no end.

    Slopes and groups with slopes are not offered: raises NotPossible.
    """
    plain = {term.name: i for i, term in enumerate(fit.terms) if term.slope is None}
    if name != "residual" and name not in plain:
        raise NotPossible(
            f"The variance of {name!r} has no profile interval.",
            where=WHERE,
            try_this=f"Ask for one of {', '.join([*plain, 'residual'])}.",
        )
    ready = prepare(fit.readings, fit.design, fit.terms, fit.weights)
    layout = layout_of(ready.terms)
    place = None if name == "residual" else layout.slices()[plain[name]].start
    profile = _Profile(SumJets(ready, ready.terms), layout, place, fit.method == "reml")
    # In the units of the fit; the residual variance also loses the mean weight.
    unit = ready.y_scale**2 * (ready.weight_mean if name == "residual" else 1.0)
    sigma2 = fit.sigma2 / (ready.y_scale**2 * ready.weight_mean)
    gamma = _gamma(fit, layout)
    estimate = sigma2 if place is None else float(gamma[place] * sigma2)
    theta = layout.theta(gamma)
    free = theta if place is None else np.append(np.delete(theta, place), np.log(sigma2))
    target = profile.least(estimate, free)[0] + float(chdtri(1, 1 - confidence))

    def excess(held: float) -> float:
        nonlocal free
        value, free = profile.least(held, free)
        return value - target

    return _ends(excess, estimate, sigma2, unit, place is None)


def _gamma(fit: MixedFit, layout: Layout) -> FloatArray:
    """Relative variances of the fit, those on the edge 0."""
    out = np.zeros(layout.size)
    kept = iter(fit.solved.gamma)
    for term, s in zip(fit.terms, layout.slices(), strict=True):
        if term.name not in fit.boundary:
            out[s] = [next(kept) for _ in range(s.stop - s.start)]
    return out


def _ends(
    excess: Callable[[float], float], estimate: float, sigma2: float, unit: float, residual: bool
) -> tuple[float, float | None]:
    tiny = 1e-8 * sigma2
    low = 0.0
    if estimate > tiny and (residual or excess(tiny) > 0):
        inner, outer = estimate, estimate / 2
        while excess(outer) < 0 and outer > tiny:
            inner, outer = outer, outer / 2
        low = _root(excess, outer, inner)
    inner, outer = estimate, 2 * max(estimate, sigma2 / 50)
    while excess(outer) < 0:
        inner, outer = outer, outer * 2
        if outer > FARTHEST * max(estimate, sigma2):
            return low * unit, None
    return low * unit, _root(excess, inner, outer) * unit


def _root(excess: Callable[[float], float], a: float, b: float) -> float:
    """Where the excess is 0, between two variances on either side of it."""
    from scipy.optimize import brentq

    return float(brentq(excess, a, b, xtol=1e-7 * max(a, b), rtol=1e-7))
