"""What is to be expected at each level, and how do levels differ?

Expected scores, shares of yes or counts, even over the rest of the design and over assessors and days;
differences on the hidden scale (where the tests are) and in scores (where the baker is). All pairs are
adjusted by the studentised range on infinite df (Tukey-Kramer), else by Holm or Bonferroni.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, chdtri, fdtri, ndtri

from analysis.estimates import Coefficient, Comparison, Mean
from analysis.linear.distributions import f_tail, range_quantile, range_tail, t_quantile
from analysis.scores.differences import put_together, wilson, worth
from analysis.scores.model import Model
from analysis.scores.results import OddsRatio, ScoreDifference, Shares
from analysis.scores.terms import Variable

Floats = NDArray[np.float64]
ENDLESS_DF = 1e7  # the studentised range hardly moves beyond
MOST_LEVELS = 12  # of an amount whose shares are listed level by level
MOST_TREATMENTS = 24
AGAINST = np.array([1.0, -1.0])


def settings_of(variable: Variable) -> list[object]:
    """Its levels as cells: numbers for an amount."""
    return list(variable.values) if variable.amount else list(variable.levels)


def means(model: Model) -> tuple[Mean, ...]:
    """Expected response at each level of each category that was asked about."""
    found: list[Mean] = []
    for variable in model.layout.variables:
        if variable.amount or not variable.asked or not _in_model(model, variable):
            continue
        grids = [model.cells({variable.name: level}) for level in variable.levels]
        estimates, spread = model.expected.averaged(grids), model.expected.spread(grids)
        for at, level in enumerate(variable.levels):
            se = None if spread is None else float(np.sqrt(max(spread[at, at], 0.0)))
            low, high = (
                (None, None)
                if se is None
                else model.within(float(estimates[at]), se, model.quantile(model.df_of(variable.name)))
            )
            found.append(Mean(factor=variable.name, level=level, mean=float(estimates[at]), se=se, low=low, high=high))
    return tuple(found)


def _in_model(model: Model, variable: Variable) -> bool:
    at = model.layout.variables.index(variable)
    return any(term.members == (at,) for term in model.layout.terms)


def pairs(model: Model) -> tuple[tuple[Comparison, ...], tuple[ScoreDifference, ...]]:
    """All pairs of levels of each category: on the hidden scale, and in scores with their odds ratios."""
    hidden: list[Comparison] = []
    shown: list[ScoreDifference] = []
    for variable in model.layout.variables:
        if variable.amount or not variable.asked or not _in_model(model, variable):
            continue
        for one, other in _pairs_of(model, variable):
            hidden.append(one)
            shown.append(other)
    return tuple(hidden), tuple(shown)


def _pairs_of(model: Model, variable: Variable) -> list[tuple[Comparison, ScoreDifference]]:
    k = len(variable.levels)
    which = list(combinations(range(k), 2))
    rows = np.array([model.link_row({variable.name: level}) for level in variable.levels])
    grids = [model.cells({variable.name: level}) for level in variable.levels]
    estimates, spread = model.expected.averaged(grids), model.expected.spread(grids)
    differences, errors = [], []
    for i, j in which:
        row = rows[i] - rows[j]
        differences.append(float(row @ model.fit.params))
        variance = None if model.covariance is None else float(row @ model.covariance @ row)
        errors.append(None if variance is None or variance <= 0 else float(np.sqrt(variance)))
    df = model.df_of(variable.name)
    method, factor, adjusted = adjusted_p(
        model, k, df, [_ratio(d, e) for d, e in zip(differences, errors, strict=True)]
    )
    name = f"{method}, on the {_scale(model)} scale"
    found = []
    for (i, j), difference, se, p in zip(which, differences, errors, adjusted, strict=True):
        a, b = variable.levels[i], variable.levels[j]
        low, high = (None, None) if se is None else (difference - factor * se, difference + factor * se)
        score = float(estimates[i] - estimates[j])
        both = [i, j]
        part = None if spread is None else spread[np.ix_(both, both)]
        ends = limits_of_sum(model, AGAINST, estimates[both], part, factor)
        found.append(
            (
                Comparison(
                    factor=variable.name, a=a, b=b, difference=difference, se=se, low=low, high=high,
                    p_adjusted=p, method=name,
                ),
                ScoreDifference(
                    factor=variable.name, a=a, b=b, difference=score, low=ends[0], high=ends[1],
                    ratio=exp(difference), ratio_low=None if low is None else exp(low),
                    ratio_high=None if high is None else exp(high), p_adjusted=p, method=method,
                ),
            )
        )  # fmt: skip
    return found


def _scale(model: Model) -> str:
    return "log" if model.data.counted else model.data.link


def _ratio(difference: float, se: float | None) -> float | None:
    return None if not se else difference / se


def adjusted_p(
    model: Model, levels: int, known: float | None, z: Sequence[float | None]
) -> tuple[str, float, list[float | None]]:
    """Method, multiplier of standard errors, and adjusted p of all pairs of ``levels`` on ``known`` df."""
    count = len(z)
    asked = model.question.adjust
    plain = [None if one is None else model.p_value(one, known) for one in z]
    df = known or ENDLESS_DF
    if levels == 2 or asked == "none":
        return "t" if known else "z", model.quantile(known), plain
    if asked in ("bonferroni", "holm"):
        each = 1 - (1 - model.confidence) / count
        factor = t_quantile(each, df) if df < ENDLESS_DF else float(ndtri((1 + each) / 2))
        if asked == "bonferroni":
            return "Bonferroni", factor, [None if p is None else min(1.0, p * count) for p in plain]
        return "Holm", factor, holm(plain)
    if asked == "scheffe":
        return "Scheffé", *_scheffe(model.confidence, levels - 1, known, z)
    factor = range_quantile(model.confidence, levels, df) / np.sqrt(2)
    adjusted = [None if one is None else range_tail(abs(one) * float(np.sqrt(2)), levels, df) for one in z]
    return "Tukey-Kramer", float(factor), adjusted


def _scheffe(
    confidence: float, width: int, df: float | None, z: Sequence[float | None]
) -> tuple[float, list[float | None]]:
    """Multiplier and p for every contrast there could be among ``width`` + 1 levels."""
    if df is None:
        factor = float(np.sqrt(chdtri(width, 1 - confidence)))
        return factor, [None if one is None else float(chdtrc(width, one * one)) for one in z]
    factor = float(np.sqrt(width * fdtri(width, df, confidence)))
    return factor, [None if one is None else f_tail(one * one / width, width, df) for one in z]


def holm(p: Sequence[float | None]) -> list[float | None]:
    """Holm's step-down p; gaps stay gaps."""
    told = sorted((value, at) for at, value in enumerate(p) if value is not None)
    found: list[float | None] = [None] * len(p)
    highest = 0.0
    for rank, (value, at) in enumerate(told):
        highest = max(highest, min(1.0, (len(told) - rank) * value))
        found[at] = highest
    return found


def limits_of_sum(
    model: Model, weights: Floats, estimates: Floats, spread: Floats | None, factor: float
) -> tuple[float | None, float | None]:
    """Interval of a weighted sum of expectations (k,) with covariance ``spread`` (k, k); weights add up to 0.

    Shares are put together from their own limits (``differences``); scores and counts are taken as
    estimate and standard error, cut where the scale ends.
    """
    if spread is None:
        return None, None
    bounds = model.bounds()
    if bounds is not None and model.data.lead == 1:
        low, width = bounds[0], bounds[1] - bounds[0]
        shares = np.clip((estimates - low) / width, 0.0, 1.0)
        variances = spread / width**2
        seen = float(model.readings.weights.sum())
        limits = [
            wilson(float(p), worth(float(p), float(v), seen), factor)
            for p, v in zip(shares, np.diag(variances), strict=True)
        ]
        ends = put_together(weights, shares, limits, variances)
        return width * ends[0], width * ends[1]
    size, se = float(weights @ estimates), float(np.sqrt(max(float(weights @ spread @ weights), 0.0)))
    if bounds is None:
        return size - factor * se, size + factor * se
    most = (bounds[1] - bounds[0]) * float(np.abs(weights).sum()) / 2
    return max(size - factor * se, -most), min(size + factor * se, most)


def exp(x: float) -> float:
    return float(np.exp(np.clip(x, -700, 700)))


def odds_ratios(model: Model, coefficients: Sequence[Coefficient]) -> tuple[OddsRatio, ...]:
    """Effects as factors; probit effects have none."""
    if model.data.link != "logit" and not model.data.counted:
        return ()
    return tuple(
        OddsRatio(
            term=one.term, ratio=exp(one.estimate), low=None if one.low is None else exp(one.low),
            high=None if one.high is None else exp(one.high),
        )
        for one in coefficients
        if one.term != "intercept"
    )  # fmt: skip


def level_shares(model: Model) -> tuple[Shares, ...]:
    """Shares of the scores at each level of each factor, even over the rest of the design."""
    found = []
    for variable in model.layout.variables:
        cells = settings_of(variable)
        if variable.asked and _in_model(model, variable) and len(cells) <= MOST_LEVELS:
            found += [_shares(model, {variable.name: cell}, variable.levels[at]) for at, cell in enumerate(cells)]
    return tuple(found)


def _shares(model: Model, fixed: dict[str, object], level: str) -> Shares:
    frame = model.readings.frame
    ((name, cell),) = fixed.items()
    chosen = (
        (frame[name].astype(str) == str(cell)).to_numpy() if isinstance(cell, str) else frame[name].to_numpy() == cell
    )
    return shares_at(model, model.cells(fixed), chosen, {name: level})


def treatment_shares(model: Model) -> tuple[Shares, ...]:
    """The same for each treatment that was baked, in stored order; none where there are too many."""
    names = [v.name for v in model.layout.variables if v.asked]
    frame = model.readings.frame
    seen = frame[names].drop_duplicates().sort_values(names)
    if len(seen) > MOST_TREATMENTS:
        return ()
    found = []
    for row in seen.itertuples(index=False):
        fixed = dict(zip(names, row, strict=True))
        chosen = np.ones(len(frame), bool)
        for name, cell in fixed.items():
            chosen &= (frame[name] == cell).to_numpy()
        told = {n: f"{c:.12g}" if isinstance(c, float) else str(c) for n, c in fixed.items()}
        found.append(shares_at(model, model.cells(fixed), chosen, told))
    return tuple(found)


def _least_df(model: Model, settings: dict[str, str]) -> float | None:
    """A mean at a treatment is no surer than the least sure of what was set."""
    known = [df for name in settings if (df := model.df_of(name)) is not None]
    return min(known) if known else model.base_df


def shares_at(model: Model, grid: Floats, chosen: NDArray[np.bool_], settings: dict[str, str]) -> Shares:
    readings, expected = model.readings, model.expected
    w, y = readings.weights[chosen], readings.response[chosen]
    mean = float(expected.averaged([grid])[0])
    spread = expected.spread([grid])
    se = None if spread is None else float(np.sqrt(max(spread[0, 0], 0.0)))
    low, high = (None, None) if se is None else model.within(mean, se, model.quantile(_least_df(model, settings)))
    fitted: dict[str, float] = {}
    seen: dict[str, float] = {}
    if not model.data.counted:
        shares = expected.shares(grid).mean(axis=0)
        fitted = {label: float(share) for label, share in zip(model.labels, shares, strict=True)}
        if model.response.scale == "yes-no":
            seen = {"no": float(((1 - y) * w).sum()), "yes": float((y * w).sum())}
        else:
            seen = {
                label: float(w[y == value].sum()) for label, value in zip(model.labels, model.data.values, strict=True)
            }
    return Shares(settings=settings, fitted=fitted, seen=seen, mean=mean, low=low, high=high, readings=float(w.sum()))
