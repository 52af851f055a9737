"""What do the curves say about each variable, and how surely?

Sizes are differences between points of the fitted curves, so that blocks are out of
them; intervals of the largest of several differences are adjusted for having looked at
all (simulated maximum of |t|, seeded). A finding says "yes" only if the test of the doses as
levels, or for few bakes the test that speaks against flat, speaks up as well: no choice of shape
has touched either.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis.dose_response.against_flat import LEVEL
from analysis.dose_response.anova import Scatter, f_test, scatter
from analysis.dose_response.best import Drawn
from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.goals import Aim
from analysis.dose_response.intervals import quantiles
from analysis.dose_response.tails import squares_of_t_above
from analysis.estimates import Test
from analysis.findings import judge
from analysis.results import Finding, Matters

Array = npt.NDArray[np.float64]
_MOST_DOSES = 8


@dataclass(frozen=True, kw_only=True)
class Ask:
    """What every finding needs to know about the question."""

    response: str
    unit: str
    dose_unit: str
    matters: float | None
    confidence: float
    seed: int
    aim: Aim


@dataclass(frozen=True)
class Contrast:
    size: float
    low: float
    high: float
    p: float


def contrasts(fit: ShapeFit, rows: Array, sizes: Array, ask: Ask, *, adjusted: bool) -> list[Contrast]:
    """Intervals and p of linear combinations of the parameters, one or all at once."""
    ses = np.sqrt(fit.variance_of(rows))
    fixed = ses <= 1e-12 * max(float(np.abs(fit.layout.y).max()), 1e-300)
    with np.errstate(all="ignore"):
        ts = np.where(fixed, np.where(np.abs(sizes) > 0, 1e6, 0.0), np.abs(sizes) / np.where(fixed, 1.0, ses))
    if not adjusted or len(sizes) == 1:
        reach = quantiles(fit, rows, ask.confidence)
        ps = squares_of_t_above(ts**2, fit.df_of(rows))
    else:
        highest = _largest_t(fit, rows, ask.seed)
        reach = np.full(len(sizes), np.quantile(highest, ask.confidence))
        ps = (1 + (highest[None, :] >= ts[:, None]).sum(axis=1)) / (1 + highest.size)
    return [
        Contrast(float(d), float(d - r * s), float(d + r * s), float(p))
        for d, s, p, r in zip(sizes, ses, ps, reach, strict=True)
    ]


def _largest_t(fit: ShapeFit, rows: Array, seed: int, draws: int = 10_000) -> Array:
    """Seeded draws of max |t| over the rows under no effect."""
    rng = np.random.Generator(np.random.PCG64([seed, 977]))
    values, vectors = np.linalg.eigh(fit.inverse)
    half = rows @ (vectors * np.sqrt(np.maximum(values, 0)))
    size = np.linalg.norm(half, axis=1)
    half = half[size > 0] / size[size > 0, None]
    if not half.size:
        return np.zeros(draws)
    df = float(fit.df_of(rows).min())
    spread = np.sqrt(rng.chisquare(df, draws) / df)
    return np.asarray(np.abs(rng.standard_normal((draws, half.shape[1])) @ half.T).max(axis=1) / spread)


def common_range(fit: ShapeFit) -> tuple[float, float]:
    """Doses that every curve was baked at, from ... to; all doses when they do not overlap."""
    parts = fit.layout.parts
    low, high = max(p.doses[0] for p in parts), min(p.doses[-1] for p in parts)
    return (float(low), float(high)) if low < high else (fit.layout.low, fit.layout.high)


def dose_p(fit: ShapeFit, tests: tuple[Test, ...], not_flat: float | None = None) -> float | None:
    """p of the doses as levels; of the test against flat (``not_flat``) of one curve where only that speaks up."""
    p = _levels_p(fit, tests)
    if not_flat is None or len(fit.layout.parts) > 1 or not_flat > LEVEL:
        return p
    return p if p is not None and p <= LEVEL else not_flat


def _levels_p(fit: ShapeFit, tests: tuple[Test, ...]) -> float | None:
    """p of the doses as levels; without replicates, of a parabola (or line) against nothing."""
    for test in tests:
        if test.term == fit.layout.dose_name and test.p is not None:
            return test.p
    layout = fit.layout
    y = layout.y - layout.y.mean()
    x = (layout.dose - layout.centre) / (layout.high - layout.low)
    base = scatter(y, layout.level_code, layout.blocks)
    powers = [x, x**2] if base.df > 4 and layout.doses.size > 3 else [x]
    curve = scatter(y, layout.level_code, np.column_stack([layout.blocks, *powers]))
    return f_test(base.sum_sq - curve.sum_sq, base.df - curve.df, curve, float(y @ y))[1]


def guarded(verdict: Matters, p: float | None, confidence: float) -> Matters:
    """No "yes" from a curve chosen to fit, unless the untouched test agrees."""
    return "unsure" if verdict == "yes" and (p is None or p > 1 - confidence) else verdict


def dose_effect(
    fit: ShapeFit, line: ShapeFit | None, ask: Ask, p: float | None, *, drawn: Drawn | None = None
) -> Finding:
    """From the lowest dose to where the average curve lies furthest from it.

    The interval reaches as far as the shape's own t interval and the draws from all plausible shapes
    (the last set of ``drawn``): the shape's own alone held the truth in 89 % of draws, not 95.
    """
    layout = fit.layout
    low, high = common_range(fit)
    source = line if fit.shape.name == "flat" and line is not None else fit
    x = np.unique(np.concatenate([np.linspace(low, high, 201), layout.doses[(layout.doses >= low)]]))
    x = x[x <= high]
    away = np.mean([source.mean(i, x) - source.mean(i, x[:1]) for i in range(len(layout.parts))], axis=0)
    at = int(np.abs(away).argmax())
    # A plateau is as far away at its end as at its start: compare with the end.
    if abs(away[-1]) >= 0.999 * abs(away[at]):
        at = x.size - 1
    ends = x[[0, at]]
    rows = np.mean([source.rows(i, ends) for i in range(len(layout.parts))], axis=0)
    [found] = contrasts(source, (rows[1] - rows[0])[None, :], away[[at]], ask, adjusted=False)
    found = _with_other_shapes(found, drawn, ends, ask)
    turned = at < x.size - 1 and fit.shape.turns
    direction = _direction(found.size, turned, fit.shape.name)
    facts = {
        "from": float(ends[0]),
        "to": float(ends[1]),
        "factor_kind": "amount",
        "factor_unit": ask.dose_unit,
        "shape": fit.shape.name,
        "read_from": source.shape.name,
        "goal_assumed": ask.aim.assumed,
        **({"turn": "up" if found.size > 0 else "down"} if turned else {}),
    }
    return Finding(
        kind="effect",
        response=ask.response,
        variables=(layout.dose_name,),
        size=found.size,
        low=found.low,
        high=found.high,
        unit=ask.unit,
        direction=direction,
        p=p,
        facts=facts,
        matters=guarded(judge(found.low, found.high, ask.matters), p, ask.confidence),
    )


def _with_other_shapes(found: Contrast, drawn: Drawn | None, ends: Array, ask: Ask) -> Contrast:
    if drawn is None:
        return found
    curves = drawn.sets[-1].mean(axis=0)
    from_, to = (_at(drawn.doses, curves, float(end)) for end in ends)
    steps = to - from_
    steps = steps[np.isfinite(steps)]
    if steps.size < 100:
        return found
    low, high = np.quantile(steps, [(1 - ask.confidence) / 2, (1 + ask.confidence) / 2])
    return Contrast(found.size, min(found.low, float(low)), max(found.high, float(high)), found.p)


def _at(doses: Array, curves: Array, dose: float) -> Array:
    """Curves (m, k) at one dose, straight between the points."""
    after = int(np.clip(np.searchsorted(doses, dose), 1, doses.size - 1))
    share = (dose - doses[after - 1]) / (doses[after] - doses[after - 1])
    return np.asarray((1 - share) * curves[:, after - 1] + share * curves[:, after])


def _direction(size: float, turned: bool, shape: str) -> Literal["up", "down", "hump", "none", "mixed"]:
    if shape == "flat" or size == 0:
        return "none"
    if turned:
        return "hump"
    return "up" if size > 0 else "down"


def by_effect(fit: ShapeFit, ask: Ask, p: float | None, *, interaction: Test | None) -> Finding:
    """The largest difference between two curves, over the doses or at one of them.

    While the test of the interaction does not speak up, the difference is averaged over the
    baked doses, which is far surer; when it does, one number for all doses would mislead and the
    largest difference at one baked dose is given.
    """
    layout = fit.layout
    pairs, doses = list(combinations(range(len(layout.parts)), 2)), _baked(fit)
    rows = np.stack([fit.rows(b, doses) - fit.rows(a, doses) for a, b in pairs])
    sizes = np.stack([fit.mean(b, doses) - fit.mean(a, doses) for a, b in pairs])
    alike = interaction is not None and interaction.p is not None and interaction.p > 1 - ask.confidence
    if alike:
        rows, sizes = rows.mean(axis=1, keepdims=True), sizes.mean(axis=1, keepdims=True)
    looks = sizes.shape[1]
    rows, sizes = rows.reshape(-1, rows.shape[-1]), sizes.ravel()
    found = contrasts(fit, rows, sizes, ask, adjusted=True)
    at = int(np.abs(sizes).argmax())
    (a, b), where = pairs[at // looks], {} if alike else {"at": {layout.dose_name: float(doses[at % looks])}}
    best = found[at]
    if best.size < 0:
        a, b, best = b, a, Contrast(-best.size, -best.high, -best.low, best.p)
    facts = {
        "from": str(layout.parts[a].level),
        "to": str(layout.parts[b].level),
        "a": str(layout.parts[b].level),
        "b": str(layout.parts[a].level),
        **where,
        "factor_kind": "category",
        "method": "max t",
        "p_adjusted": best.p,
    }
    assert layout.by_name is not None
    return Finding(
        kind="effect",
        response=ask.response,
        variables=(layout.by_name,),
        size=best.size,
        low=best.low,
        high=best.high,
        unit=ask.unit,
        direction="mixed",
        p=p,
        facts=facts,
        matters=guarded(judge(best.low, best.high, ask.matters), p, ask.confidence),
    )


def curves_differ(fit: ShapeFit, common: ShapeFit | None, ask: Ask, interaction: Test | None) -> Finding:
    """Is one curve enough for all levels? Size: how much the gap between two curves changes with the dose."""
    layout = fit.layout
    assert layout.by_name is not None
    f_value, p, df = None, None, 0
    if common is not None:
        df = common.df - fit.df
        total = float(((layout.y - layout.y.mean()) ** 2).sum())
        f_value, p = f_test(common.rss - fit.rss, df, Scatter(fit.variance * fit.df, fit.df), total)
    pairs, doses = list(combinations(range(len(layout.parts)), 2)), _baked(fit)
    steps = list(combinations(range(doses.size), 2))
    first, second = np.array([s[0] for s in steps]), np.array([s[1] for s in steps])
    rows, sizes = [], []
    for a, b in pairs:
        gap_rows, gap = fit.rows(b, doses) - fit.rows(a, doses), fit.mean(b, doses) - fit.mean(a, doses)
        rows.append(gap_rows[second] - gap_rows[first])
        sizes.append(gap[second] - gap[first])
    every = np.concatenate(sizes)
    at = int(np.abs(every).argmax())
    best = contrasts(fit, np.vstack(rows), every, ask, adjusted=True)[at]
    (a, b), (from_, to) = pairs[at // len(steps)], steps[at % len(steps)]
    if best.size < 0:
        a, b, best = b, a, Contrast(-best.size, -best.high, -best.low, best.p)
    interaction_p = interaction.p if interaction else None
    facts = {
        "f": f_value,
        "df": df,
        "df_error": fit.df,
        "p": p,
        "shape": fit.shape.name,
        "a": str(layout.parts[b].level),
        "b": str(layout.parts[a].level),
        "from": float(doses[from_]),
        "to": float(doses[to]),
        "of": layout.dose_name,
        "by": layout.by_name,
        "factor_unit": ask.dose_unit,
        "method": "max t",
        "interaction_f": interaction.value if interaction else None,
        "interaction_p": interaction_p,
        "only_height": p is not None and p < 1 - ask.confidence and (interaction_p or 0.0) >= 1 - ask.confidence,
    }
    judged = guarded(judge(best.low, best.high, ask.matters), p, ask.confidence)
    return Finding(
        kind="curves differ",
        response=ask.response,
        variables=(layout.dose_name, layout.by_name),
        size=best.size,
        low=best.low,
        high=best.high,
        unit=ask.unit,
        direction="mixed",
        p=p,
        facts=facts,
        matters=judged,
    )


def _baked(fit: ShapeFit) -> Array:
    """Baked doses that all curves share the range of, at most eight."""
    low, high = common_range(fit)
    doses = fit.layout.doses
    doses = doses[(doses >= low) & (doses <= high)]
    if doses.size > _MOST_DOSES:
        doses = doses[np.unique(np.linspace(0, doses.size - 1, _MOST_DOSES).round().astype(int))]
    return np.asarray(doses if doses.size >= 2 else np.array([low, high]))
