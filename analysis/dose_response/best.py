"""How much should go in, and how sure is that?

The recommended dose is the smallest whose response lies within the difference that
matters of the best in the baked range (5 % of the curve's own span when none was given).
Its interval is read off seeded draws of whole curves (``draws``), from the chosen shape and
from all shapes by weight, and reaches as far as either: the weights alone would give the
chosen shape's own tail away.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.dose_response.anova import Scatter
from analysis.dose_response.compare import Ranked
from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.draws import draw_curves
from analysis.dose_response.goals import Aim, good_enough, smallest_good_enough
from analysis.dose_response.intervals import days_doubt, level_doubt
from analysis.dose_response.reading import turning_dose
from analysis.dose_results import Recommended

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawn:
    """Curves that could have given these bakes, at ``doses`` (k,): each set is (parts, draws, k).

    The first set is drawn from the shape that is used, the last from all plausible shapes.
    """

    doses: Array
    sets: tuple[Array, ...]


def draw(fit: ShapeFit, ranked: tuple[Ranked, ...], aim: Aim, *, seed: int, missed: Scatter | None) -> Drawn:
    """Seeded draws of whole curves. ``ranked`` are the shapes to draw from."""
    layout = fit.layout
    fine = np.unique(np.concatenate([np.linspace(layout.low, layout.high, 161), layout.doses]))
    rng = np.random.Generator(np.random.PCG64([seed, 101]))
    # The shape that is used and the others by weight; the interval holds what either asks for.
    drawn = [draw_curves(shapes, fine, rng, missed=missed) for shapes in _sets(fit, ranked)]
    if aim.goal == "target":
        level, df = level_doubt(fit)
        days, groups = days_doubt(fit)
        extra = np.sqrt(np.maximum(groups / rng.chisquare(groups, drawn[0].shape[1]) - 1, 0.0))
        extra = days * extra * rng.standard_normal(extra.size)  # the draws know the days' variance too well
        drawn = [one + extra[None, :, None] for one in drawn]
        drawn = [one + (level * np.atleast_1d(rng.standard_t(df, one.shape[1])))[None, :, None] for one in drawn]
    return Drawn(doses=fine, sets=tuple(drawn))


def recommend(fit: ShapeFit, drawn_curves: Drawn, aim: Aim, *, confidence: float) -> tuple[Recommended, ...]:
    """One recommendation for each curve."""
    fine, drawn = drawn_curves.doses, drawn_curves.sets
    tails = [(1 - confidence) / 2, (1 + confidence) / 2]
    out = []
    for number, part in enumerate(fit.layout.parts):
        inside = (fine >= part.doses[0]) & (fine <= part.doses[-1])
        ends = [_quantiles(fine[inside], one[number][:, inside], aim, tails) for one in drawn]
        known = [pair for pair in ends if pair is not None]
        low, high = (min(a for a, _ in known), max(b for _, b in known)) if known else (None, None)
        out.append(_one(fit, number, aim, low, high))
    return tuple(out)


def _sets(fit: ShapeFit, ranked: tuple[Ranked, ...]) -> list[tuple[Ranked, ...]]:
    own = tuple(one for one in ranked if one.fit is fit)
    return [own] if own == ranked else [own, ranked]


def _quantiles(doses: Array, curves: Array, aim: Aim, tails: list[float]) -> tuple[float, float] | None:
    usable = curves[np.isfinite(curves).all(axis=1)]
    if usable.shape[0] < 100:
        return None
    low, high = np.quantile(smallest_good_enough(doses, usable, aim), tails)
    return float(low), float(high)


def _one(fit: ShapeFit, number: int, aim: Aim, low: float | None, high: float | None) -> Recommended:
    part = fit.layout.parts[number]
    marks = [np.linspace(part.doses[0], part.doses[-1], 801), part.doses, _marks(fit, number)]
    x = np.unique(np.concatenate(marks))
    dose, as_good_to, within, edge = good_enough(x, lambda at: fit.mean(number, at), aim)
    return Recommended(
        dose=dose,
        low=None if low is None else min(low, dose),
        high=None if high is None else max(high, dose),
        response=float(fit.mean(number, np.array([dose]))[0]),
        as_good_to=as_good_to,
        within=within,
        edge=edge,
    )


def _marks(fit: ShapeFit, number: int) -> Array:
    """Doses at which the curve turns or breaks, inside its range."""
    part = fit.layout.parts[number]
    named = fit.shape.report(fit.inner[number], fit.layout.centre)
    marks = [float(np.real(named[key])) for key in ("breakpoint", "best") if key in named]
    if fit.shape.turns and fit.shape.name not in ("quadratic", "hump"):
        inner, centre = fit.inner[number], fit.layout.centre
        turns = [turning_dose(fit.shape, inner, centre, part.doses, sign) for sign in (1.0, -1.0)]
        marks += [float(np.real(turn)) for turn in turns if turn is not None]
    if fit.shape.name == "quadratic" and fit.inner[number, 2] != 0:
        marks.append(float(fit.layout.centre - fit.inner[number, 1] / (2 * fit.inner[number, 2])))
    return np.array([m for m in marks if part.doses[0] < m < part.doses[-1]])
