"""Are the curves one curve with its dose axis stretched, and by how much?

f_level(dose) = f_reference(ratio x dose): a common shape with common heights. Ratios are fitted as
natural logarithms; their intervals are profile intervals.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.fitting import fit_curve, minimise
from analysis.dose_response.results import TestOfPotency
from analysis.dose_response.tails import f_above, f_quantile
from analysis.errors import NotPossible

Array = npt.NDArray[np.float64]
_FARTHEST = 4.6  # natural logarithm of 100
_TINY = 1e-30


@dataclass(frozen=True, kw_only=True, eq=False)
class Stretched:
    """One curve for all levels. ``logs`` and ``ends`` for every level, the reference at 0."""

    logs: tuple[float, ...]
    ends: tuple[tuple[float, float] | None, ...]
    rss: float
    parameters: int
    sigma: float
    df: int
    parallelism: TestOfPotency | None

    def refused(self, confidence: float) -> bool:
        return self.parallelism is not None and self.parallelism.p < 1 - confidence


def stretch(fit: ShapeFit, reference: int, confidence: float) -> Stretched | str:
    """The stretched curve, or why there is none."""
    layout, size = fit.layout, fit.shape.size
    others = [i for i in range(len(layout.parts)) if i != reference]
    mean = _mean_of(fit, reference, others)
    base = np.concatenate([fit.inner[reference], np.zeros(len(others)), fit.block_effects])
    guess = base.copy()
    guess[size : size + len(others)] = [_first_guess(fit, reference, level) for level in others]
    target = layout.whiten(layout.y)
    try:
        found = fit_curve(lambda _, p: mean(p), layout.dose, target, [guess.tolist(), base.tolist()])
    except NotPossible:
        return "no common curve could be fitted"
    if found.se is None or found.df - layout.spent <= 0:
        return "the common curve does not fix the ratios"
    df = found.df - layout.spent
    extra = df - fit.df
    test = None
    if extra > 0 and fit.variance > 1e-20 * float(np.var(layout.y)):
        value = max(found.rss - fit.rss, 0.0) / extra / fit.variance
        p = f_above(value, extra, fit.df)
        test = TestOfPotency(value=float(value), df=extra, df_error=fit.df, p=p)
    best = np.array(found.parameters)
    limit = found.rss * (1 + f_quantile(confidence, 1, df) / found.df)
    logs, ends = [0.0] * len(layout.parts), [(0.0, 0.0)] * len(layout.parts)
    out: list[tuple[float, float] | None] = list(ends)
    for k, level in enumerate(others):
        logs[level] = float(best[size + k])
        out[level] = _profile(mean, target, best, size + k, float(found.se[size + k]), limit)
    return Stretched(
        logs=tuple(logs),
        ends=tuple(out),
        rss=found.rss,
        parameters=best.size,
        sigma=float(np.sqrt(found.rss / found.df)),
        df=df,
        parallelism=test,
    )


def _mean_of(fit: ShapeFit, reference: int, others: list[int]) -> Callable[[Any], Any]:
    layout, shape = fit.layout, fit.shape

    def mean(p: Any) -> Any:
        logs: dict[int, Any] = {reference: 0.0}
        logs.update({level: p[shape.size + k] for k, level in enumerate(others)})
        out = layout.blocks @ p[shape.size + len(others) :] + 0j * layout.y
        for number, part in enumerate(layout.parts):
            stretched = part.doses * np.exp(logs[number])
            out[part.rows] += shape.mean(stretched, p[: shape.size], layout.centre)[part.which]
        return layout.whiten(out if np.iscomplexobj(p) else out.real)

    return mean


def _profile(
    mean: Callable[[Any], Any], target: Array, best: Array, index: int, se: float, limit: float
) -> tuple[float, float] | None:
    """Where the residual sum rises to ``limit`` on both sides; None for an open end."""

    def slopes(p: Array) -> Array:
        columns = []
        for k in range(p.size):
            moved = p.astype(complex)
            moved[k] += 1j * _TINY
            columns.append(np.imag(mean(moved)) / _TINY)
        return np.stack(columns, axis=1)

    here = {"start": best}

    def excess(value: float) -> float:
        low, high = np.full(best.size, -np.inf), np.full(best.size, np.inf)
        low[index] = high[index] = value
        start = here["start"].copy()
        start[index] = value
        end = minimise(lambda p: target - mean(p), slopes, start, lower=low, upper=high, tolerance=1e-9)
        if end is None:
            return 1.0
        here["start"] = end.parameters
        return end.rss - limit

    out = []
    for side in (-1, 1):
        here["start"] = best
        inside, step, outside = float(best[index]), max(2 * se, 1e-6), None
        for _ in range(12):
            at = inside + side * step
            if abs(at) > _FARTHEST:
                return None
            if excess(at) > 0:
                outside = at
                break
            inside, step = at, step * 1.5
        if outside is None:
            return None
        out.append(_root(excess, inside, outside))
    return out[0], out[1]


def _root(excess: Callable[[float], float], inside: float, outside: float) -> float:
    """Both ends have been judged; judged again from another start, rounding must not turn them round."""

    def judged(value: float) -> float:
        if value in (inside, outside):
            return -1e-300 if value == inside else max(excess(value), 1e-300)
        return excess(value)

    return float(brentq(judged, inside, outside, xtol=1e-9))


def _first_guess(fit: ShapeFit, reference: int, level: int) -> float:
    """Logarithm of the ratio of the doses that mark the two curves, if both have one."""
    marks = [_mark(fit, i) for i in (reference, level)]
    if marks[0] <= 0 or marks[1] <= 0:
        return 0.0
    return float(np.clip(np.log(marks[0] / marks[1]), -2, 2))


def _mark(fit: ShapeFit, curve: int) -> float:
    named = fit.shape.report(fit.inner[curve], fit.layout.centre)
    for key in ("e", "K", "midpoint", "breakpoint", "best", "rise midpoint"):
        if key in named:
            return float(np.real(named[key]))
    if "curvature" in named and np.real(named["curvature"]) != 0:
        return float(np.real(-named["slope"] / (2 * named["curvature"])))
    slope = float(np.real(named.get("slope", 0.0)))
    return 1 / slope if slope > 0 else 0.0
