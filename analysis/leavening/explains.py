"""Does chemistry explain what the acid source did?

If rise follows the gas whatever the acid source, the acid sources do not differ *at equal
gas*. So the response is fitted on the blocks and the chemistry of each bake (gas and its
square, soda left over), and the largest difference between two levels of the category is
looked at beyond that, with a simultaneous interval. The error is that of all treatments
taken apart where the bakes allow it, so that a curve the chemistry misses is no error.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
import pandas as pd

from analysis.leavening.runs import GAS, SODA_LEFT
from analysis.linear.coding import amount, category
from analysis.linear.distributions import f_tail, range_quantile
from analysis.linear.least_squares import Basis, Floats, centred, explained, least_squares
from analysis.results import ChemistryPart, ChemistryVerdict

FEW_DF = 3


def chemistry_explains(
    bakes: pd.DataFrame,
    *,
    response: str,
    category_name: str,
    blocks: Sequence[str] = (),
    treatment: Sequence[str] = (),
    matters: float | None = None,
    confidence: float = 0.95,
) -> ChemistryPart:
    """Compare the category with chemistry on a bake frame that holds the columns of ``runs``.

    ``treatment`` names the factor columns that together make a treatment. With a difference
    that matters, "explains" asks the whole interval to lie inside it.
    """
    used = tuple(name for name in (GAS, SODA_LEFT) if name in bakes and bakes[name].nunique() > 1)
    if not used:
        return _silent(category_name, used, "no run differs from another in gas or left-over soda")
    y, _ = centred(bakes[response].to_numpy(dtype=float))
    basis = Basis(len(y))
    ground = _take(basis, np.ones((len(y), 1)), *(category(n, bakes[n], block=True).columns for n in blocks))
    chemistry = _take(basis, *(column for name in used for column in _curve(bakes[name])))
    levels = category(category_name, bakes[category_name])
    source = levels.columns
    if not chemistry.size or not basis.adds(source):
        return _silent(category_name, used, f"gas and {category_name} moved together, so they cannot be told apart")
    base = np.hstack([ground, chemistry])
    full = np.hstack([base, source])
    fit = least_squares(full, y)
    error_sq, error_df, between = _pure_error(bakes, ground, treatment, y)
    if error_df < FEW_DF:
        error_sq, error_df = fit.sum_sq, fit.df
    if error_df < FEW_DF or error_sq <= 0:
        return _silent(category_name, used, "too few bakes are left to judge it")
    mean_sq = error_sq / error_df
    added = explained(base, source, y)
    df = source.shape[1]
    f = added / df / mean_sq
    p = f_tail(f, df, error_df)
    a, b, size, half = _largest(fit.coefficients[-df:], fit.inverse[-df:], levels.coded, mean_sq, error_df, confidence)
    inside = matters is not None and -matters < size - half and size + half < matters
    verdict: ChemistryVerdict = "does not explain" if p < 1 - confidence else "explains" if inside else "cannot tell"
    return ChemistryPart(
        category=category_name,
        columns=used,
        verdict=verdict,
        share=None if between <= 0 else min(1.0, explained(ground, chemistry, y) / between),
        a=levels.levels[a],
        b=levels.levels[b],
        size=size,
        low=size - half,
        high=size + half,
        f=f,
        df=df,
        df_error=error_df,
        p=p,
        reason="" if verdict != "cannot tell" else "the interval is wider than what would settle it",
    )


def _curve(column: pd.Series) -> list[Floats]:
    """A chemistry column from -1 to 1 and, with three values or more, its square."""
    line = amount(str(column.name), column).columns
    return [line, line**2] if column.nunique() > 2 else [line]


def _take(basis: Basis, *blocks: Floats) -> Floats:
    """The blocks that add something new, side by side."""
    kept = [block for block in blocks if basis.adds(block)]
    return np.hstack(kept) if kept else np.zeros((len(basis.columns), 0))


def _pure_error(bakes: pd.DataFrame, ground: Floats, treatment: Sequence[str], y: Floats) -> tuple[float, int, float]:
    """Error sum of squares and df with every treatment taken apart, and the sum of squares between them."""
    if not treatment:
        return 0.0, 0, 0.0
    codes = bakes.groupby(list(treatment), observed=True, sort=False).ngroup().to_numpy()
    indicator = (codes[:, None] == np.arange(codes.max() + 1)[None, :]).astype(float)
    basis = Basis(len(y), np.linalg.qr(ground)[0])
    columns = [indicator[:, i : i + 1] for i in range(indicator.shape[1] - 1)]
    apart = np.hstack([ground, *(column for column in columns if basis.adds(column))])
    fit = least_squares(apart, y)
    between = least_squares(ground, y).sum_sq - fit.sum_sq
    return fit.sum_sq, fit.df, between


def _largest(
    coefficients: Floats, inverse: Floats, coded: Floats, mean_sq: float, df: int, confidence: float
) -> tuple[int, int, float, float]:
    """The pair of levels that differ most, a above b, and its Tukey-Kramer half-width."""
    quantile = range_quantile(confidence, len(coded), float(df)) / np.sqrt(2)
    best = (0, 1, -1.0, 0.0)
    for a, b in combinations(range(len(coded)), 2):
        row = coded[a] - coded[b]
        size = float(row @ coefficients)
        half = quantile * float(np.sqrt(mean_sq * ((row @ inverse) ** 2).sum()))
        if abs(size) > best[2]:
            best = (a, b, size, half) if size >= 0 else (b, a, -size, half)
    return best


def _silent(category_name: str, used: tuple[str, ...], reason: str) -> ChemistryPart:
    return ChemistryPart(category=category_name, columns=used, verdict="cannot tell", reason=reason)
