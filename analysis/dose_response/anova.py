"""Do the doses differ at all, and does the curve miss something between them?

The classical decomposition takes the doses as levels, whatever the curve: dose, its
orthogonal polynomial parts (actual spacing, fitted one after the other), ``by``,
dose:by and the blocks, each adjusted for the others of its order or lower (type 2) and
tested against the scatter between bakes of the same dose, level and block model
(pure error). Lack of fit is what the curve leaves over and the levels do not.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.layout import Layout
from analysis.dose_response.tails import f_above
from analysis.dose_results import LackOfFit
from analysis.estimates import Residual, Test

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
_POWERS = ("linear", "quadratic", "cubic")


@dataclass(frozen=True)
class Scatter:
    """Residual sum of squares and degrees of freedom of one linear model."""

    sum_sq: float
    df: int


@dataclass(frozen=True)
class Decomposition:
    tests: tuple[Test, ...]
    residual: Residual | None
    pure: Scatter


Line = Callable[[str, Scatter, Scatter], Test | None]


def f_test(sum_sq: float, df: int, error: Scatter, total: float) -> tuple[float | None, float | None]:
    """(F, p); (None, None) without error df or when the error is nothing but rounding."""
    if df <= 0 or error.df <= 0 or error.sum_sq <= 1e-20 * total:
        return None, None
    value = max(sum_sq, 0.0) / df / (error.sum_sq / error.df)
    return float(value), f_above(value, df, error.df)


def decompose(layout: Layout) -> Decomposition:
    """All tests of one trial; values are None when no replicate bakes give an error."""
    y = layout.y - layout.y.mean()
    total = float(y @ y)
    dose = np.unique(layout.dose, return_inverse=True)[1]
    level, cell = layout.level_code, cells_of(layout)
    levels = _dummies(level)
    blocks = [_dummies(code) for _, code in layout.block_codes]
    every_block = np.hstack([np.zeros((y.size, 0)), *blocks])
    main = scatter(y, dose, np.hstack([levels, every_block]))
    pure = scatter(y, cell, every_block)
    without_dose = scatter(y, level, every_block)

    def line(term: str, smaller: Scatter, larger: Scatter) -> Test | None:
        df = smaller.df - larger.df
        if df <= 0:
            return None
        sum_sq = max(smaller.sum_sq - larger.sum_sq, 0.0)
        value, p = f_test(sum_sq, df, pure, total)
        return Test(
            term=term,
            df=df,
            sum_sq=sum_sq,
            mean_sq=sum_sq / df,
            df_error=pure.df if p is not None else None,
            value=value,
            p=p,
        )

    lines = [line(layout.dose_name, without_dose, main)]
    lines += _polynomials(layout, y, every_block, without_dose, line)
    if layout.by_name is not None and len(layout.parts) > 1:
        lines.append(line(layout.by_name, scatter(y, dose, every_block), main))
        lines.append(line(f"{layout.dose_name}:{layout.by_name}", main, pure))
    for index, (name, _) in enumerate(layout.block_codes):
        rest = np.hstack([levels, *(b for i, b in enumerate(blocks) if i != index)])
        lines.append(line(name, scatter(y, dose, rest), main))
    return Decomposition(
        tests=tuple(one for one in lines if one is not None), residual=_residual(pure, total), pure=pure
    )


def lack_of_fit(fit: ShapeFit, pure: Scatter) -> LackOfFit | None:
    """What the curve misses against pure error; None when either has no degrees of freedom."""
    y = fit.layout.y - fit.layout.y.mean()
    df = fit.df - pure.df
    sum_sq = max(fit.rss - pure.sum_sq, 0.0) if fit.layout.errors is None else _missed(fit)
    value, p = f_test(sum_sq, df, pure, float(y @ y))
    if value is None or p is None:
        return None
    return LackOfFit(df=df, df_error=pure.df, sum_sq=sum_sq, value=value, p=p)


def _missed(fit: ShapeFit) -> float:
    """What doses as levels explain beyond the curve, under the errors of the fit."""
    layout = fit.layout
    cells = _cells(np.unique(layout.dose, return_inverse=True)[1], layout.level_code)
    _, cells = np.unique(cells, return_inverse=True)
    columns = layout.whiten(np.hstack([_dummies(cells), layout.blocks]))
    left, values, _ = np.linalg.svd(columns, full_matrices=False)
    q = left[:, values > 1e-8 * values[0]]
    rest = layout.whiten(layout.y - fit.fitted)
    return float(((q.T @ rest) ** 2).sum())


def scatter(y: Array, groups: Ints, columns: Array) -> Scatter:
    """Residual sum of squares of ``y`` on the levels of ``groups`` and ``columns``, of any rank."""
    rest, inside = _centre(y[:, None], groups), _centre(columns, groups)
    size = np.linalg.norm(inside, axis=0)
    inside = inside[:, size > 1e-8 * np.maximum(np.linalg.norm(columns, axis=0), 1e-300)]
    rank = 0
    if inside.shape[1]:
        left, values, _ = np.linalg.svd(inside / np.linalg.norm(inside, axis=0), full_matrices=False)
        q = left[:, values > 1e-8 * values[0]]
        rank = q.shape[1]
        rest = rest - q @ (q.T @ rest)
        rest = rest - q @ (q.T @ rest)
    return Scatter(float((rest**2).sum()), y.size - int(groups.max()) - 1 - rank)


def _polynomials(layout: Layout, y: Array, blocks: Array, base: Scatter, line: Line) -> list[Test | None]:
    """Linear, quadratic, cubic: each power after the lower ones, which is the orthogonal contrast."""
    scaled = (layout.dose - layout.centre) / (layout.high - layout.low)
    columns, before, out = blocks, base, []
    for power, name in enumerate(_POWERS[: layout.doses.size - 1], start=1):
        columns = np.column_stack([columns, scaled**power])
        after = scatter(y, layout.level_code, columns)
        out.append(line(f"{layout.dose_name} {name}", before, after))
        before = after
    return out


def _residual(pure: Scatter, total: float) -> Residual:
    known = pure.df > 0
    mean_sq = pure.sum_sq / pure.df if known else None
    return Residual(
        df=pure.df,
        sum_sq=pure.sum_sq,
        mean_sq=mean_sq,
        sd=float(np.sqrt(mean_sq)) if mean_sq is not None else None,
        r_squared=1 - pure.sum_sq / total if total > 0 else None,
    )


def _centre(columns: Array, groups: Ints) -> Array:
    """Columns less their mean in each group; twice, so that no rounding is left."""
    counts = np.bincount(groups)[:, None]
    for _ in range(2):
        sums = np.zeros((counts.size, columns.shape[1]))
        np.add.at(sums, groups, columns)
        columns = columns - (sums / counts)[groups]
    return columns


def _dummies(code: Ints) -> Array:
    return np.eye(int(code.max()) + 1)[code]


def cells_of(layout: Layout) -> Ints:
    """(n,) which dose of which curve each bake is of."""
    return _cells(np.unique(layout.dose, return_inverse=True)[1], layout.level_code)


def _cells(dose: Ints, level: Ints) -> Ints:
    return np.unique(dose * (int(level.max()) + 1) + level, return_inverse=True)[1].astype(np.int64)
