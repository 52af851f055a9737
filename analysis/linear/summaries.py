"""Does a printed F fit the printed means, standard deviations and number of bakes?

One-way analysis of variance from a table of (mean, standard deviation) with n in each
group, and the n that a printed F implies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.errors import TrialDataError
from analysis.linear.distributions import f_tail


@dataclass(frozen=True, kw_only=True)
class SummaryAnova:
    f: float
    df: int
    df_error: int
    p: float


def anova_from_summaries(means: Sequence[float], sds: Sequence[float], n: int) -> SummaryAnova:
    """F = n s²(means) / mean(SD²) on k - 1 and k (n - 1) degrees of freedom.

    Raises TrialDataError for fewer than two groups, unequal lengths, n below 2 or no spread.
    """
    average, spread = np.asarray(means, dtype=float), np.asarray(sds, dtype=float)
    if len(average) < 2 or len(average) != len(spread) or n < 2:
        raise TrialDataError(
            "The table needs two groups or more, each with a mean, a standard deviation and n of 2 or more.",
            where="summary table",
            try_this="one mean and one standard deviation for each group",
        )
    error = float(np.mean(spread**2))
    if not error > 0:
        raise TrialDataError(
            "No group has any spread, so there is nothing to judge against.",
            where="summary table",
            try_this="the standard deviations between bakes",
        )
    f = n * float(np.var(average, ddof=1)) / error
    df, df_error = len(average) - 1, len(average) * (n - 1)
    return SummaryAnova(f=f, df=df, df_error=df_error, p=f_tail(f, df, df_error))


def n_implied(printed_f: float, means: Sequence[float], sds: Sequence[float]) -> float:
    """The number in each group for which the printed F would be right."""
    return 2 * printed_f / anova_from_summaries(means, sds, 2).f
