"""Which shape should be believed?

Shapes are compared by AICc, n ln(RSS/n) + 2K + 2K(K+1)/(n-K-1), where K counts the
curves' parameters, the block effects and the variances; with random groups n ln(RSS/n) is
the log likelihood at its best variances (``variances``); weights are exp(-difference/2),
scaled to add up to 1. Sources: Hurvich & Tsai 1989, Biometrika 76:297; Burnham &
Anderson 2002.

Among the shapes within 1.5 units of the lowest the one with the fewest parameters is
chosen (ties: the lower AICc). For one parameter more and about 24 bakes, 1.5 units is
where a 5 % F test would change its mind; AICc alone takes the larger curve at about
15 %. Over 120 draws of 6 doses in 4 replicates AICc alone found a flat truth in 88 %, a line
in 83 %, a linear plateau in 73 %; with 1.5 units 95, 93 and 77 %, with 2 units 97, 95 and 78 %.
Nothing was lost on humps and logistics, and the mean error of the curve fell for the first
three. Two units would also call the ryegrass of the tests a three-parameter curve, whose
fourth parameter a 5 % test keeps. ``tests/analysis/dose_response/test_compare.py`` holds this.

Flat is not left to AICc alone: where one test of the doses speaks against it (``against_flat``),
the choice is among the shapes that explain more than it does, and only they are drawn from.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.dose_response.against_flat import LEVEL, against_flat, beats_flat
from analysis.dose_response.anova import decompose, lack_of_fit
from analysis.dose_response.curves import ShapeFit, fit_shape, refit
from analysis.dose_response.free_shapes import FREE, cannot, fit_free
from analysis.dose_response.layout import Layout
from analysis.dose_response.shapes import FAMILIES, SHAPES
from analysis.dose_response.variances import deviance
from analysis.errors import NotPossible, TrialDataError

NEAR = 1.5
MISSED = 0.05  # lack of fit of every formula from which curves without one take part


@dataclass(frozen=True, kw_only=True, eq=False)
class Ranked:
    """A shape on offer. ``weight`` adds up to 1 over all on offer."""

    fit: ShapeFit
    aicc: float
    weight: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Choice:
    """All shapes on offer, lowest AICc first; which one is used; why others were not offered.

    ``plausible`` are those to draw from, with weights that add up to 1. ``against_flat`` is p of the
    test of the doses, ``overruled`` whether it set aside a flat response that AICc would have kept.
    """

    ranked: tuple[Ranked, ...]
    chosen: Ranked
    refused: dict[str, str]
    forced: bool
    plausible: tuple[Ranked, ...]
    against_flat: float | None = None
    overruled: bool = False


def aicc(rss: float, n: int, parameters: float, floor: float) -> float:
    """AICc of a least-squares fit. ``floor`` keeps an exact fit finite."""
    k = parameters + 1
    return float(n * np.log(max(rss, floor) / n) + 2 * k + 2 * k * (k + 1) / (n - k - 1))


def compare_shapes(layout: Layout, wanted: str | None, near: Choice | None = None) -> Choice:
    """Fit every shape the doses allow and choose one, or the ``wanted`` one.

    ``near`` holds the same comparison under other errors: its fits are where the search goes on.
    Raises TrialDataError for an unknown shape and NotPossible when nothing can be offered.
    """
    if wanted is not None and wanted not in (*SHAPES, *FAMILIES, *FREE):
        raise TrialDataError(f'There is no shape "{wanted}".', try_this="choose from " + ", ".join((*SHAPES, *FREE)))
    names = FAMILIES.get(wanted or "", (wanted,))
    fits: list[ShapeFit] = []
    refused: dict[str, str] = {}
    for name, versions in SHAPES.items():
        if versions[0].on_request and name not in names:
            continue
        why = _cannot(layout, name)
        before = _fit_of(near, name)
        fit = None if why else fit_shape(layout, versions) if before is None else refit(before, layout)
        if fit is None:
            refused[name] = why or _not_itself(name)
        else:
            fits.append(fit)
    if wanted in FREE or (wanted is None and fits and _all_miss(layout, fits)):
        for free in FREE if wanted is None else names:
            _add_free(layout, str(free), fits, refused)
    if not fits:
        raise NotPossible(
            f"{layout.n} bakes are too few for any curve with {layout.blocks.shape[1]} block effects.",
            where=f"dose {layout.dose_name}",
            try_this="bake more, or leave the blocks out of the question",
        )
    ranked = _rank(layout, fits)
    if wanted is None:
        return _choice(layout, ranked, refused)
    for one in ranked:
        if one.fit.shape.name in names:
            return Choice(ranked=ranked, chosen=one, refused=refused, forced=True, plausible=(one,))
    raise NotPossible(
        f'The shape "{wanted}" cannot be fitted: {refused[str(names[-1])]}.',
        where=f"dose {layout.dose_name}",
        try_this="leave the shape open, or choose from " + ", ".join(r.fit.shape.name for r in ranked),
    )


def _fit_of(near: Choice | None, name: str) -> ShapeFit | None:
    return None if near is None else next((one.fit for one in near.ranked if one.fit.shape.name == name), None)


def _all_miss(layout: Layout, fits: list[ShapeFit]) -> bool:
    """Does every formula leave more than the scatter between replicate bakes explains?"""
    pure = decompose(layout).pure
    found = [lack_of_fit(fit, pure) for fit in fits]
    return all(one is not None and one.p < MISSED for one in found)


def _add_free(layout: Layout, name: str, fits: list[ShapeFit], refused: dict[str, str]) -> None:
    why = cannot(layout, name)
    fit = None if why else fit_free(layout, name)
    if fit is None:
        refused[name] = why or "too few bakes are left to judge it by"
    else:
        fits.append(fit)


def _not_itself(name: str) -> str:
    if SHAPES[name][0].accepts is not None:
        return "its best fit does not turn, or lies on a bound, where it is a simpler shape"
    return "its best fit lies on a bound, where it is a simpler shape"


def _score(fit: ShapeFit, floor: float) -> float:
    """AICc; with random groups or unequal spread from the likelihood itself."""
    n, errors = fit.layout.n, fit.layout.errors
    if errors is None:
        return aicc(fit.rss, n, fit.cost, floor)
    k = fit.cost + 1 + len(errors.groups) + errors.estimated
    room = max(n - k - 1, 1)
    return deviance(fit) + 2 * k + 2 * k * (k + 1) / room


def _rank(layout: Layout, fits: list[ShapeFit]) -> tuple[Ranked, ...]:
    floor = layout.n * (1e-10 * float(layout.y.max() - layout.y.min())) ** 2
    scores = np.array([_score(fit, floor) for fit in fits])
    weights = np.exp(-0.5 * (scores - scores.min()))
    weights /= weights.sum()
    ranked = [Ranked(fit=f, aicc=float(s), weight=float(w)) for f, s, w in zip(fits, scores, weights, strict=True)]
    return tuple(sorted(ranked, key=lambda r: (r.aicc, r.fit.cost)))


def _choice(layout: Layout, ranked: tuple[Ranked, ...], refused: dict[str, str]) -> Choice:
    """The choice by AICc, unless it is flat and the doses speak against that."""
    by_aicc, p = _simplest_of_the_best(ranked), against_flat(layout)
    plausible = _without_flat(ranked) if p is not None and p <= LEVEL else ranked
    chosen = _simplest_of_the_best(plausible)
    return Choice(
        ranked=ranked,
        chosen=next(one for one in ranked if one.fit is chosen.fit),
        refused=refused,
        forced=False,
        plausible=plausible,
        against_flat=p,
        overruled=by_aicc.fit.shape.name == "flat" and chosen.fit is not by_aicc.fit,
    )


def _without_flat(ranked: tuple[Ranked, ...]) -> tuple[Ranked, ...]:
    """The shapes that explain more than flat; every other one when none does by itself."""
    flat = next((one.fit for one in ranked if one.fit.shape.name == "flat"), None)
    others = [one for one in ranked if one.fit is not flat]
    if flat is None or not others:
        return ranked
    left = [one for one in others if beats_flat(one.fit, flat)] or others
    total = sum(one.weight for one in left)
    return tuple(replace(one, weight=one.weight / total) for one in left)


def _simplest_of_the_best(ranked: tuple[Ranked, ...]) -> Ranked:
    near = [one for one in ranked if one.aicc <= ranked[0].aicc + NEAR]
    return min(near, key=lambda one: (one.fit.cost, one.aicc))


def _cannot(layout: Layout, name: str) -> str | None:
    """Why the doses or the number of bakes rule this shape out, or None."""
    shape = SHAPES[name][0]
    fewest = min(part.doses.size for part in layout.parts)
    if fewest < shape.distinct:
        return f"it needs {shape.distinct} different doses of each curve, and {fewest} were baked"
    if shape.logarithmic and layout.low < 0:
        return "it works on the logarithm of the dose, and some doses are negative"
    parameters = shape.size * len(layout.parts) + layout.blocks.shape[1] + layout.spent
    if layout.n <= parameters + 2:
        return f"it has {parameters} parameters, too many for {layout.n} bakes"
    return None
