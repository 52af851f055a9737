"""Do the bakes speak against a flat response, whatever AICc says of so few of them?

With eight bakes AICc charges a bend about 19 units, so that it calls a ladder flat whose doses
plainly differ. One test of a family overrules it: a straight line, a parabola and the doses as
levels, each against flat with blocks taken out. Each lies inside the next, so that under no
effect their sums of squares are built from independent chi-squares, and how small the smallest
of the three p-values is by chance depends on the degrees of freedom alone. It is simulated,
once for each set of them, and holds its 5 % whatever the number of bakes.

Groups taken as chance count as blocks here, which is exact, if not as sharp. Given weights and
a spread that changes with the dose are left out: the test takes all bakes as equally exact.
Source of the smallest p as a test: Westfall & Young 1993, Resampling-Based Multiple Testing.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc

from analysis.dose_response.anova import cells_of, scatter
from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.layout import Layout
from analysis.dose_response.tails import f_above

Array = npt.NDArray[np.float64]
LEVEL = 0.05
_DRAWS = 20_000
_SEED = 1907  # of a table that depends on degrees of freedom only, so that no request sets it


def against_flat(layout: Layout) -> float | None:
    """p of the family; None without bakes to judge by, or where bakes do not weigh alike."""
    weighted = layout.weights is not None or (layout.errors is not None and layout.errors.weights is not None)
    if weighted:
        return None
    y = layout.y - layout.y.mean()
    sums, dfs = _nested(layout, y)
    if len(sums) < 2 or not dfs[-1] or sums[-1] <= 1e-20 * float(y @ y):
        return None
    steps = np.maximum(-np.diff([*sums, 0.0]), 0.0)[None, :]
    freedom = tuple(int(d) for d in -np.diff([*dfs, 0]))
    smallest = float(_smallest_p(steps, freedom)[0])
    below = int(np.searchsorted(_by_chance(freedom), smallest, side="right"))
    return (1 + below) / (1 + _DRAWS)


def beats_flat(fit: ShapeFit, flat: ShapeFit) -> bool:
    """Does this curve by itself explain more than flat, at the 5 % of an F test?"""
    df = flat.df - fit.df
    if df <= 0 or fit.df <= 0:
        return False
    gain, left = max(flat.rss - fit.rss, 0.0) / df, fit.rss / fit.df
    return left <= 0 or f_above(gain / left, df, fit.df) <= LEVEL


def _nested(layout: Layout, y: Array) -> tuple[list[float], list[int]]:
    """What flat, lines, parabolas and levels leave over, and its df; a model that adds nothing is passed over."""
    dummies = [np.eye(int(code.max()) + 1)[code] for _, code in layout.block_codes]
    blocks = np.hstack([np.zeros((y.size, 0)), *dummies])
    x = (layout.dose - layout.centre) / (layout.high - layout.low)
    own = np.eye(int(layout.level_code.max()) + 1)[layout.level_code]
    lines = x[:, None] * own
    parabolas = x[:, None] ** 2 * own
    tried = [
        scatter(y, layout.level_code, blocks),
        scatter(y, layout.level_code, np.hstack([blocks, lines])),
        scatter(y, layout.level_code, np.hstack([blocks, lines, parabolas])),
        scatter(y, cells_of(layout), blocks),
    ]
    kept = tried[:1]
    for one in tried[1:]:
        if 0 < one.df < kept[-1].df:
            kept.append(one)
    return [one.sum_sq for one in kept], [one.df for one in kept]


def _smallest_p(steps: Array, freedom: tuple[int, ...]) -> Array:
    """Smallest p of each row of ``steps`` (m, k): what each model explains beyond the last, then what is left."""
    explained, taken = np.cumsum(steps, axis=1), np.cumsum(freedom)
    total, df = explained[:, -1], int(taken[-1])
    found = []
    for gain, used in zip(explained.T[:-1], taken[:-1], strict=True):
        with np.errstate(all="ignore"):
            value = gain / used / ((total - gain) / (df - used))
        found.append(fdtrc(used, df - used, value))
    return np.asarray(np.min(found, axis=0))


@lru_cache(maxsize=64)
def _by_chance(freedom: tuple[int, ...]) -> Array:
    """The smallest p of bakes that know no dose, rising."""
    rng = np.random.Generator(np.random.PCG64([_SEED, *freedom]))
    steps = rng.chisquare(np.array(freedom, dtype=float), (_DRAWS, len(freedom)))
    return np.sort(_smallest_p(steps, freedom))
