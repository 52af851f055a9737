"""Do the levels' bakes lie on parallel lines over the logarithm of the dose, and how far apart?

One slope b for all, a height for each level:  y = a_level + b log10(dose) (+ blocks). A level's
potency beside the reference is 10^((a_level - a_reference) / b); its interval is Fieller's. Tests,
one after the other against the scatter between bakes of one dose and level: separate slopes against
one (parallelism), doses as levels against separate lines (linearity). Bakes without any (dose 0)
have no logarithm and stay out. Source: Finney 1978, Statistical Method in Biological Assay, ch. 4.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.dose_response.layout import Layout
from analysis.dose_response.results import TestOfPotency
from analysis.dose_response.tails import f_above, t_quantile
from analysis.dose_response.whitening import Errors, Groups

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Lines:
    """Parallel lines fitted. ``log_ratios`` (levels,) in log10, 0 for the reference; ``low``, ``high`` None
    where the slope is not clear of 0. ``left_out`` counts bakes at dose 0."""

    slope: float
    log_ratios: Array
    ends: tuple[tuple[float, float] | None, ...]
    g: float
    sigma: float
    df: int
    rss: float
    parameters: int
    n: int
    left_out: int
    parallelism: TestOfPotency | None
    linearity: TestOfPotency | None


def parallel_lines(layout: Layout, errors: Errors | None, reference: int, confidence: float) -> Lines | None:
    """The lines; None when a level has fewer than two doses above 0 or nothing is left to judge by."""
    keep = layout.dose > 0
    codes = layout.level_code[keep]
    levels = len(layout.parts)
    logs = np.log10(layout.dose[keep])
    if any(np.unique(logs[codes == level]).size < 2 for level in range(levels)) or np.unique(logs).size < 3:
        return None
    whiten = _whitener(errors, keep)
    y, heights = layout.y[keep], np.eye(levels)[codes]
    # Logs around their mean, so that slope and heights are told apart to all digits.
    middle = float(logs.mean())
    one = np.column_stack([heights, logs - middle, layout.blocks[keep]])
    spent = layout.spent
    fitted = _least_squares(whiten(one), whiten(y))
    if fitted is None or y.size - one.shape[1] - spent <= 0:
        return None
    beta, inverse, rss = fitted
    free = y.size - one.shape[1]
    df, variance = free - spent, rss / free
    separate = np.column_stack([heights, heights * (logs - middle)[:, None], layout.blocks[keep]])
    cells = np.unique(np.column_stack([codes, np.unique(logs, return_inverse=True)[1]]), axis=0, return_inverse=True)[1]
    every = np.column_stack([np.eye(int(cells.max()) + 1)[cells.ravel()], layout.blocks[keep]])
    parallelism, linearity = _tests(whiten(y), [whiten(one), whiten(separate), whiten(every)], spent)
    quantile = t_quantile(confidence, df)
    slope, slope_variance = float(beta[levels]), float(inverse[levels, levels] * variance)
    g = quantile**2 * slope_variance / slope**2 if slope else np.inf
    ends = [_fieller(beta, inverse * variance, level, reference, levels, quantile) for level in range(levels)]
    return Lines(
        slope=slope,
        log_ratios=(beta[:levels] - beta[reference]) / slope if slope else np.zeros(levels),
        ends=tuple(ends),
        g=float(g),
        sigma=float(np.sqrt(variance)),
        df=df,
        rss=rss,
        parameters=one.shape[1],
        n=y.size,
        left_out=int((~keep).sum()),
        parallelism=parallelism,
        linearity=linearity,
    )


def _whitener(errors: Errors | None, keep: npt.NDArray[np.bool_]):  # type: ignore[no-untyped-def]
    if errors is None:
        return lambda columns: columns
    groups = tuple(
        Groups(name=group.name, codes=np.unique(group.codes[keep], return_inverse=True)[1].astype(np.int64))
        for group in errors.groups
    )
    weights = None if errors.weights is None else errors.weights[keep]
    return Errors(groups=groups, ratios=errors.ratios, weights=weights).apply


def _least_squares(columns: Array, y: Array) -> tuple[Array, Array, float] | None:
    scale = np.linalg.norm(columns, axis=0)
    if np.any(scale == 0):
        return None
    left, values, right = np.linalg.svd(columns / scale, full_matrices=False)
    if values[-1] <= 1e-10 * values[0]:
        return None
    half = (right.T / values) / scale[:, None]
    beta = half @ (left.T @ y)
    rest = y - columns @ beta
    return beta, half @ half.T, float(rest @ rest)


def _tests(y: Array, models: list[Array], spent: int) -> tuple[TestOfPotency | None, TestOfPotency | None]:
    sums, ranks = [], []
    for columns in models:
        left, values, _ = np.linalg.svd(columns, full_matrices=False)
        q = left[:, values > 1e-9 * values[0]]
        rest = y - q @ (q.T @ y)
        sums.append(float(rest @ rest))
        ranks.append(q.shape[1])
    free = y.size - ranks[2] - spent
    pure = free > 0 and sums[2] > 1e-20 * float(y @ y)
    # Without bakes of one dose and level twice, the lines themselves are the yardstick.
    error, df_error = (sums[2], free) if pure else (sums[1], y.size - ranks[1] - spent)
    first = _f(sums[0] - sums[1], ranks[1] - ranks[0], error, df_error)
    return first, _f(sums[1] - sums[2], ranks[2] - ranks[1], error, df_error) if pure else None


def _f(sum_sq: float, df: int, error: float, df_error: int) -> TestOfPotency | None:
    if df <= 0 or df_error <= 0 or error <= 0:
        return None
    value = max(sum_sq, 0.0) / df / (error / df_error)
    return TestOfPotency(value=float(value), df=df, df_error=df_error, p=f_above(value, df, df_error))


def _fieller(
    beta: Array, covariance: Array, level: int, reference: int, slope: int, quantile: float
) -> tuple[float, float] | None:
    """Interval of (a_level - a_reference) / b; None when b is not clear of 0."""
    if level == reference:
        return 0.0, 0.0
    top = np.zeros(beta.size)
    top[level], top[reference] = 1.0, -1.0
    a, b, t2 = float(top @ beta), float(beta[slope]), quantile**2
    aa, ab, bb = float(top @ covariance @ top), float(top @ covariance[:, slope]), float(covariance[slope, slope])
    square, middle, constant = b * b - t2 * bb, a * b - t2 * ab, a * a - t2 * aa
    inside = middle**2 - square * constant
    if square <= 0 or inside < 0:
        return None
    return float((middle - np.sqrt(inside)) / square), float((middle + np.sqrt(inside)) / square)
