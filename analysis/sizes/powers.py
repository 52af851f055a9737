"""With what chance do so many bakes see a difference of this size?

Power is the chance that the interval leaves out nothing when the difference is real. Every
function takes the number of bakes first (it may be a fraction, so that it can be solved for) and
says which number it is: of each kind, of pairs, or in all. ``spread`` is the standard deviation
between bakes of one treatment. Sources: noncentral t and F as in Cohen 1988, Statistical Power
Analysis (2nd ed.); equivalence as in Schuirmann 1987; ordered scores as in Whitehead 1993,
Statistics in Medicine 12:2257.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from math import ceil, isfinite, log, sqrt

import numpy as np

SIDES = 2


def _t_power(shift: float, df: float, confidence: float) -> float:
    """Chance that |t| with noncentrality ``shift`` passes its critical value."""
    from scipy.stats import nct
    from scipy.stats import t as student_t

    if df <= 0:
        return 0.0
    critical = float(student_t.ppf(0.5 + confidence / 2, df))
    above, below = float(nct.sf(critical, df, abs(shift))), float(nct.cdf(-critical, df, abs(shift)))
    if not isfinite(above):
        return 1.0
    # Tails too small for a double come back as no number: there is nothing in them.
    return min(above + (below if isfinite(below) else 0.0), 1.0)


def two_means(each: float, difference: float, spread: float, confidence: float = 0.95) -> float:
    """Two kinds, ``each`` bakes of each: pooled t on 2 (each - 1) df."""
    return _t_power(difference / spread * sqrt(each / 2), 2 * (each - 1), confidence)


def paired(pairs: float, difference: float, spread: float, confidence: float = 0.95) -> float:
    """``pairs`` of bakes; ``spread`` is that of the differences within a pair."""
    return _t_power(difference / spread * sqrt(pairs), pairs - 1, confidence)


def several_means(each: float, kinds: int, f: float, confidence: float = 0.95) -> float:
    """``kinds`` kinds, ``each`` bakes of each. ``f``: standard deviation of their means over the spread (Cohen's f)."""
    from scipy.stats import f as variance_ratio
    from scipy.stats import ncf

    df, df_error = kinds - 1, kinds * (each - 1)
    if df_error <= 0:
        return 0.0
    critical = float(variance_ratio.ppf(confidence, df, df_error))
    power = float(ncf.sf(critical, df, df_error, f * f * kinds * each))
    return min(power, 1.0) if isfinite(power) else 1.0


def f_of_largest_difference(kinds: int, difference: float, spread: float) -> float:
    """Cohen's f when two kinds differ by ``difference`` and the others lie half way: the hardest such case to see."""
    return difference / spread * sqrt(1 / (2 * kinds))


def effect(bakes: float, difference: float, spread: float, df: float, confidence: float = 0.95) -> float:
    """The effect of a two-level factor, high less low, from ``bakes`` in all and ``df`` error df."""
    return _t_power(difference * sqrt(bakes) / (2 * spread), df, confidence)


def whole_plot_effect(
    plots: float, bakes: int, difference: float, plot_spread: float, spread: float, confidence: float = 0.95
) -> float:
    """Two settings that are set once for a whole plot: ``plots`` of each, ``bakes`` in each, on 2 (plots - 1) df."""
    variance = plot_spread**2 + spread**2 / bakes
    return _t_power(difference / sqrt(2 * variance / plots), 2 * (plots - 1), confidence)


def pieces_of_bakes(
    bakes: float, pieces: int, difference: float, spread: float, piece_spread: float, confidence: float = 0.95
) -> float:
    """Two kinds, ``bakes`` of each, ``pieces`` read from each bake: pieces steady a bake but are no bakes."""
    return two_means(bakes, difference, sqrt(spread**2 + piece_spread**2 / pieces), confidence)


def dose_line(each: float, doses: int, difference: float, spread: float, confidence: float = 0.95) -> float:
    """The change along a straight line from the lowest to the highest of even doses, ``each`` bakes of each."""
    places = np.linspace(-0.5, 0.5, doses)
    return _t_power(difference / spread * sqrt(each * float(places @ places)), doses * each - 2, confidence)


def shares_normal(each: float, one: float, other: float, confidence: float = 0.95) -> float:
    """Two shares of yes, normal approximation without correction (as tabled in most books)."""
    from scipy.special import ndtr, ndtri

    mean = (one + other) / 2
    z = float(ndtri(0.5 + confidence / 2))
    up = sqrt(each) * abs(one - other) - z * sqrt(2 * mean * (1 - mean))
    return float(ndtr(up / sqrt(one * (1 - one) + other * (1 - other))))


def shares_exact(each: int, one: float, other: float, confidence: float = 0.95) -> float:
    """Two shares of yes, Fisher's exact test (two-sided), every outcome counted with its chance."""
    from scipy.stats import binom, hypergeom

    n = ceil(each)
    counts = np.arange(n + 1)
    chance_one, chance_other = binom.pmf(counts, n, one), binom.pmf(counts, n, other)
    power = 0.0
    for total in range(2 * n + 1):
        first = np.arange(max(0, total - n), min(n, total) + 1)
        chances = hypergeom.pmf(first, 2 * n, total, n)
        rising = np.sort(chances)
        # p of an outcome: all that are as rare or rarer; the margin holds equal chances together.
        p = np.cumsum(rising)[np.searchsorted(rising, chances * (1 + 1e-7), side="right") - 1]
        seen = p <= 1 - confidence
        power += float(np.sum(chance_one[first[seen]] * chance_other[total - first[seen]]))
    return min(power, 1.0)


@cache
def _nodes() -> tuple[np.ndarray, np.ndarray]:
    """400 places on (-1, 1) and their weights (Gauss-Legendre): costly to find, always the same."""
    places, weights = np.polynomial.legendre.leggauss(400)
    return places, weights


def equivalent(each: float, margin: float, spread: float, difference: float = 0.0, confidence: float = 0.95) -> float:
    """Chance to show that two kinds, ``each`` bakes of each, are the same within ``margin``.

    Two one-sided tests at 1 - ``confidence`` each, exact: the chance given the estimated spread,
    integrated over that spread's chi distribution.
    """
    from scipy.special import ndtr
    from scipy.stats import chi2
    from scipy.stats import t as student_t

    df = 2 * (each - 1)
    if df <= 0:
        return 0.0
    error = spread * sqrt(2 / each)
    critical = float(student_t.ppf(confidence, df))
    widest = df * (margin / (critical * error)) ** 2  # beyond it the interval is wider than the margins
    top = min(widest, float(chi2.ppf(1 - 1e-14, df)))
    nodes, weights = _nodes()
    drawn = top * (nodes + 1) / 2
    half = critical * np.sqrt(drawn / df)
    inside = ndtr((margin - difference) / error - half) - ndtr((-margin - difference) / error + half)
    return float(np.sum(weights * top / 2 * np.clip(inside, 0, 1) * chi2.pdf(drawn, df)))


def scores(each: float, shares: Sequence[float], odds_ratio: float, confidence: float = 0.95) -> float:
    """Ordered scores of two kinds by a proportional-odds model, ``each`` bakes of each.

    ``shares``: expected share of each score with the one kind, from the lowest up; ``odds_ratio``:
    how many times the odds of a higher score with the other. Whitehead 1993, normal approximation.
    """
    from scipy.special import ndtr, ndtri

    mean = (np.asarray(shares) + moved(shares, odds_ratio)) / 2
    information = each / 6 * (1 - float(np.sum(mean**3)))
    return float(ndtr(abs(log(odds_ratio)) * sqrt(information) - ndtri(0.5 + confidence / 2)))


def moved(shares: Sequence[float], odds_ratio: float) -> np.ndarray:
    """The shares of the scores when the odds of each higher score are ``odds_ratio`` times as large."""
    above = 1 - np.cumsum(np.asarray(shares, dtype=float))[:-1]
    odds = above / (1 - above) * odds_ratio
    return np.asarray(-np.diff(np.concatenate([[1.0], odds / (1 + odds), [0.0]])))
