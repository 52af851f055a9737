"""What do the fitted numbers say in the units of the baker?"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.special import gammaincinv

from analysis.mixed.criterion import Deviance, deviance
from analysis.mixed.fit import MixedFit, Solved
from analysis.mixed.jets import Jet
from analysis.mixed.parameters import Layout
from analysis.mixed.preparing import Ready, untangled
from analysis.mixed.satterthwaite import satterthwaite
from analysis.mixed.terms import FloatArray, IntArray, RandomTerm
from analysis.parts import Variance

CONFIDENCE = 0.95
LEAST = 1e-9  # quantile below which the upper end of an interval says nothing


def off_the_edge(layout: Layout, theta: FloatArray) -> list[bool]:
    """Which terms have any variance at all."""
    return [bool(np.any(theta[s])) for s in layout.slices()]


def part_of(jet: Jet, places: IntArray) -> Jet:
    """The jet of some of the parameters, where the others are 0."""
    both = np.ix_(places, places)
    return Jet(
        jet.log_det, jet.log_det_1[places], jet.log_det_2[both], jet.cross, jet.cross_1[places], jet.cross_2[both],
        jet.rows,
    )  # fmt: skip


def reduced(
    layout: Layout, theta: FloatArray, at: Deviance, back: FloatArray, y_scale: float, *, restricted: bool
) -> Solved:
    """The solution without the terms whose variance is 0."""
    keep = off_the_edge(layout, theta)
    places = np.array(
        [i for s, k in zip(layout.slices(), keep, strict=True) if k for i in range(s.start, s.stop)], dtype=np.int64
    )
    if len(places) < layout.size:
        at = deviance(part_of(at.jet, places), restricted=restricted)
    widths = tuple(w for w, k in zip(layout.widths, keep, strict=True) if k)
    return Solved(at=at, layout=Layout(widths), theta=theta[places], back=back, y_scale=y_scale)


def whole_deviance(ready: Ready, at: Deviance, *, restricted: bool) -> float:
    """-2 log likelihood of the readings and columns as they were handed in."""
    value = at.value + 2 * at.df * np.log(ready.y_scale)
    if restricted and ready.p:
        value -= 2 * np.linalg.slogdet(ready.back)[1]
    return float(value)


def boundary_names(terms: Sequence[RandomTerm], layout: Layout, theta: FloatArray) -> tuple[str, ...]:
    """Terms of variance 0; "term:slope" when level and slope go wholly together."""
    names = []
    for term, s in zip(terms, layout.slices(), strict=True):
        if not np.any(theta[s]):
            names.append(term.name)
        elif term.width == 2 and (theta[s.start] == 0 or theta[s.stop - 1] == 0):
            names.append(term.effect_names[1])
    return tuple(names)


def variances(
    ready: Ready, terms: Sequence[RandomTerm], layout: Layout, theta: FloatArray, solved: Solved
) -> tuple[Variance, ...]:
    """In the order of the terms, the residual last, with chi-squared intervals (Satterthwaite 1946)."""
    scale = ready.y_scale**2
    gamma, sigma2 = layout.gamma(theta), solved.at.sigma2
    spread = np.full((layout.size + 1, layout.size + 1), np.nan)
    keep = off_the_edge(layout, theta)
    places = [i for s, k in zip(layout.slices(), keep, strict=True) if k for i in range(s.start, s.stop)]
    places.append(layout.size)
    spread[np.ix_(places, places)] = satterthwaite(solved.at, solved.layout, solved.theta).variances
    edge = boundary_names(terms, layout, theta)
    out: list[Variance] = []
    for term, s in zip(terms, layout.slices(), strict=True):
        own, own_spread = sigma2 * gamma[s], spread[s, s]
        covariance: float | None = None
        if term.width == 2:
            own, own_spread = _own_slope(term, ready, own, own_spread)
            covariance = float(own[1] * scale)
        for name, place in zip(term.effect_names, (0,) if term.width == 1 else (0, 2), strict=True):
            on_edge = name in edge or term.name in edge
            out.append(_variance(name, own[place] * scale, own_spread[place, place] * scale**2, on_edge))
        if covariance is not None:
            out[-1] = replace(out[-1], covariance=covariance)
    weight = ready.weight_mean
    out.append(_variance("residual", sigma2 * scale * weight, spread[-1, -1] * (scale * weight) ** 2, False))
    return tuple(out)


def _own_slope(term: RandomTerm, ready: Ready, own: FloatArray, spread: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Level, covariance and slope on the slope as handed in: T G T' written out for the three of them."""
    original = next(each for each in ready.originals if each.name == term.name)
    (a, b), (_, c) = untangled(original)[0], untangled(original)[1]
    turn = np.array([[a * a, 2 * a * b, b * b], [0, a * c, b * c], [0, 0, c * c]])
    return turn @ own, turn @ spread @ turn.T


def _variance(name: str, value: float, spread: float, edge: bool) -> Variance:
    low, high = interval(value, spread)
    value = max(float(value), 0.0)
    return Variance(group=name, variance=value, sd=float(np.sqrt(value)), low=low, high=high, boundary=bool(edge))


def interval(value: float, spread: float, confidence: float = CONFIDENCE) -> tuple[float | None, float | None]:
    """df v / chi2 with df = 2 v^2 / var(v); (0, None) at the edge."""
    if not value > 0:
        return 0.0, None
    if not (np.isfinite(spread) and spread > 0):
        return None, None
    df = 2 * value**2 / spread
    if df < 1:  # the quantiles then lie below the mean, and the interval beside the estimate
        return 0.0, None
    tail = (1 - confidence) / 2
    upper, lower = 2 * gammaincinv(df / 2, 1 - tail), 2 * gammaincinv(df / 2, tail)
    # So few df bound nothing from above; dividing by what is left of the quantile would run over.
    high = df * value / lower if lower > LEAST else None
    low = df * value / upper if upper > LEAST else None
    return None if low is None else float(low), None if high is None else float(high)


def assemble(
    ready: Ready,
    terms: Sequence[RandomTerm],
    dropped: Mapping[str, str],
    layout: Layout,
    theta: FloatArray,
    at: Deviance,
    effects: Callable[[FloatArray, FloatArray], list[FloatArray]],
    *,
    converged: bool,
    starts: int,
    method: str,
) -> MixedFit:
    """``effects(gamma, b)`` gives the predicted effects (g, width) of each term, b (p,) for the turned columns."""
    restricted = method == "reml"
    solved = reduced(layout, theta, at, ready.back, ready.y_scale, restricted=restricted)
    beta = ready.first + solved.at.coefficients * ready.y_scale
    sigma2 = solved.at.sigma2 * ready.y_scale**2

    def blups() -> dict[str, FloatArray]:
        return _named(ready, terms, effects(layout.gamma(theta), solved.at.coefficients))

    return MixedFit(
        coefficients=ready.back @ beta,
        covariance=sigma2 * ready.back @ solved.at.inverse @ ready.back.T,
        sigma2=sigma2 * ready.weight_mean,
        variances=tuple(
            line if converged else replace(line, low=None, high=None)
            for line in variances(ready, terms, layout, theta, solved)
        ),
        deviance=whole_deviance(ready, at, restricted=restricted),
        boundary=boundary_names(terms, layout, theta),
        converged=converged,
        starts=starts,
        n=ready.n,
        p=ready.p,
        method=method,
        terms=tuple(term for term in ready.originals if term.name in {each.name for each in terms}),
        solved=solved,
        readings=ready.y,
        design=ready.x,
        weights=None if ready.weights is None else ready.weights * ready.weight_mean,
        predict=blups,
        dropped=dict(dropped),
    )


def _named(ready: Ready, terms: Sequence[RandomTerm], found: Sequence[FloatArray]) -> dict[str, FloatArray]:
    out = {}
    for term, each in zip(terms, found, strict=True):
        effects = each * ready.y_scale
        if term.width == 2:
            original = next(one for one in ready.originals if one.name == term.name)
            effects = effects @ untangled(original).T
        out.update({name: effects[:, k] for k, name in enumerate(term.effect_names)})
    return out
