"""Is a substitute as good in score, share or count, within the margin?

Two one-sided tests (Schuirmann 1987, J. Pharmacokin. Biopharm. 15:657), read off the intervals of expected
values: each p is 1 less the confidence at which the interval's end meets the margin, so that verdict and p
never disagree. A margin given as a ratio is judged on the logarithms of two expected values.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr, stdtr

from analysis.errors import NotPossible
from analysis.linear.equivalence import within_margin
from analysis.parts import Equivalence
from analysis.questions import Margin
from analysis.scores.comparing import AGAINST, limits_of_sum
from analysis.scores.model import Model
from analysis.scores.terms import Variable

Floats = NDArray[np.float64]
Ends = Callable[[float], tuple[float | None, float | None]]  # of how many standard errors
FARTHEST = 40.0  # standard errors; a margin beyond has p 0


def equivalences(model: Model) -> tuple[Equivalence, ...]:
    """Every level against the reference of its category, or every pair where none was named.

    Raises NotPossible for a ratio of scores that are not above 0.
    """
    margin = model.response.margin
    if margin is None:
        return ()
    bounds = model.bounds()
    if margin.ratio and bounds is not None and bounds[0] < 0:
        raise NotPossible(
            "Scores below 0 have no ratio.", where="--margin", try_this="Give the margin as a difference of scores."
        )
    return tuple(
        _equivalence(model, variable, one, other, margin)
        for variable in model.layout.variables
        if variable.asked and not variable.amount and _alone(model, variable)
        for one, other in _pairs(model, variable)
    )


def _alone(model: Model, variable: Variable) -> bool:
    at = model.layout.variables.index(variable)
    return any(term.members == (at,) for term in model.layout.terms)


def _pairs(model: Model, variable: Variable) -> Iterator[tuple[int, int]]:
    count = len(variable.levels)
    named = next((f.reference for f in model.question.factors if f.name == variable.name), None)
    if named in variable.levels:
        other = variable.levels.index(str(named))
        yield from ((one, other) for one in range(count) if one != other)
    else:
        yield from ((one, other) for other, one in combinations(range(count), 2))


def _equivalence(model: Model, variable: Variable, one: int, other: int, margin: Margin) -> Equivalence:
    grids = [model.cells({variable.name: variable.levels[at]}) for at in (one, other)]
    estimates, spread = model.expected.averaged(grids), model.expected.spread(grids)
    if margin.ratio:
        estimates, spread = _logs(estimates, spread)
    size = float(AGAINST @ estimates)

    def ends(factor: float) -> tuple[float | None, float | None]:
        if not margin.ratio:
            return limits_of_sum(model, AGAINST, estimates, spread, factor)
        if spread is None:
            return None, None
        half = factor * float(np.sqrt(max(float(AGAINST @ spread @ AGAINST), 0.0)))
        return size - half, size + half

    lower, upper = np.log([margin.low, margin.high]) if margin.ratio else (margin.low, margin.high)
    df = model.df_of(variable.name)
    inner = model.one_sided(df)
    low, high = ends(inner)
    p_low = p_high = None
    if low is not None:
        p_low = _beyond(ends, float(lower), size, df, 0)
        p_high = _beyond(ends, float(upper), size, df, 1)
    shown = [None if v is None else float(np.exp(v)) if margin.ratio else v for v in (size, low, high)]
    return Equivalence(
        factor=variable.name, a=variable.levels[one], b=variable.levels[other], estimate=shown[0] or 0.0,
        low=shown[1], high=shown[2], margin_low=margin.low, margin_high=margin.high, ratio=margin.ratio,
        p_low=p_low, p_high=p_high, p=None if p_low is None or p_high is None else max(p_low, p_high), df=df,
        equivalent=within_margin(low, high, float(lower), float(upper)),
    )  # fmt: skip


def _logs(estimates: Floats, spread: Floats | None) -> tuple[Floats, Floats | None]:
    above = np.maximum(estimates, 1e-300)
    return np.log(above), None if spread is None else spread / np.outer(above, above)


def _beyond(ends: Ends, margin: float, size: float, df: float | None, side: int) -> float:
    """p of the true difference lying beyond the ``side`` (0 lower, 1 upper) of the margin."""
    inside = size > margin if side == 0 else size < margin
    end = side if inside else 1 - side

    def gap(factor: float) -> float:
        at = ends(factor)[end]
        assert at is not None
        return at - margin

    start, last = gap(0.0), gap(FARTHEST)
    factor = 0.0 if start == 0 else FARTHEST if start * last > 0 else float(brentq(gap, 0.0, FARTHEST))
    tail = float(stdtr(df, -factor)) if df else float(ndtr(-factor))
    return tail if inside else 1 - tail
