"""What else may cast doubt on an answer: bakes that lean on their neighbours, a scatter that grows, a bent shape?

Each looks at the leftovers of a model with one stratum, and returns a check or None.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtr

from analysis.linear.box_cox import best_power
from analysis.linear.distributions import t_tails
from analysis.linear.influence import check_influence
from analysis.linear.least_squares import Fit
from analysis.linear.mixed_model import MixedModel
from analysis.linear.normality import shapiro_wilk
from analysis.linear.odd_bakes import odd_in_turn
from analysis.linear.residual_checks import looks_sorted
from analysis.linear.squares import DISAGREE, is_orthogonal
from analysis.linear.squares import tests as plain_tests
from analysis.linear.stratum import Model
from analysis.questions import Question
from analysis.results import Check

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

ALARM = 0.05
HIDDEN = 0.01  # for bakes that show only once others are set aside: looking again must not cry wolf
FEWEST_FOR_NEIGHBOURS, MOST_FOR_NEIGHBOURS = 20, 2000
FEWEST_DF = 5
MANY_DF = 40  # error df from which means of a bent scatter are close to normal all the same
MOST_FOR_LEAVING_OUT = 3000


def more_checks(
    model: Model, bakes: pd.DataFrame, question: Question, y: Floats, matters: float | None = None
) -> list[Check]:
    """``y`` (n,) are the readings on the scale of the model."""
    stratum = model.strata[0]
    if len(model.strata) > 1 or isinstance(model, MixedModel) or stratum.mean_sq is None or stratum.noiseless:
        return []
    names = [str(name) for name in bakes["bake"]]
    order = bakes["order"].to_numpy(dtype=np.int64)
    plain = question.transform in (None, "none")
    many = len(y) > MOST_FOR_LEAVING_OUT
    found = [
        check_neighbours(model, order),
        check_growing(model, y) if plain and question.weights is None else None,
        check_shape(stratum.fit),
        None if many else check_influence(model, names, question.confidence, matters),
        *(check_in_order(model) if question.squares == 1 else []),
    ]
    return [check for check in found if check is not None]


def check_neighbours(model: Model, order: Integers) -> Check | None:
    """Are bakes alike that follow each other? Lag-one correlation with its exact mean and variance.

    Durbin & Watson 1950, Biometrika 37:409; the ratio of quadratic forms is judged as normal.
    """
    fit = model.strata[0].fit
    n = len(order)
    if not FEWEST_FOR_NEIGHBOURS <= n <= MOST_FOR_NEIGHBOURS or fit.df < FEWEST_FOR_NEIGHBOURS // 2:
        return None
    if len(np.unique(order)) < n or looks_sorted(order, model.variables):
        return None
    place = np.argsort(order, kind="stable")
    q, e = fit.q[place], fit.residuals[place]
    value = float(e[:-1] @ e[1:] / (e @ e))
    lag = np.zeros((n, n))
    lag[np.arange(n - 1), np.arange(1, n)] = lag[np.arange(1, n), np.arange(n - 1)] = 0.5
    left = np.eye(n) - q @ q.T
    product = left @ lag
    first, second = float(np.trace(product)), float((product * product.T).sum())
    mean = first / fit.df
    variance = 2 * (second - first**2 / fit.df) / (fit.df * (fit.df + 2))
    if not variance > 0:
        return None
    z = (value - mean) / np.sqrt(variance)
    p = float(2 * ndtr(-abs(z)))
    facts = {"correlation": value - mean, "p": p, "bakes": n}
    return Check(check="neighbours", verdict="look here" if p < ALARM else "fine", facts=facts)


def check_growing(model: Model, y: Floats) -> Check | None:
    """Does the scatter grow with the mean, and would the model fit better on another scale?"""
    fit = model.strata[0].fit
    if y.min() <= 0 or fit.df < FEWEST_DF:
        return None
    power = best_power(y, fit.q)
    grows = _grows(fit)
    if power is None or grows is None:
        return None
    suggested = power.speaks_against_plain and grows < ALARM and power.named != "none"
    facts = {
        "auto": False,
        "chosen": power.named if suggested else "none",
        "power": power.best,
        "low": power.low,
        "high": power.high,
        "grows_p": grows,
        "against": power.speaks_against_plain,
    }
    return Check(check="transformation", verdict="look here" if suggested else "fine", facts=facts)


def _grows(fit: Fit) -> float | None:
    """p of the size of residuals along the fitted values (Glejser 1969, J. Am. Stat. Assoc. 64:316)."""
    room = 1 - fit.leverage
    usable = room > 1e-8
    sizes, along = np.abs(fit.residuals[usable]) / np.sqrt(room[usable]), fit.fitted[usable]
    n = len(sizes)
    if n < FEWEST_DF + 2 or np.ptp(along) <= 1e-12 * max(float(np.abs(fit.y).max()), 1e-300):
        return None
    r = float(np.corrcoef(along, sizes)[0, 1])
    if not np.isfinite(r) or abs(r) >= 1:
        return None
    return t_tails(r * np.sqrt((n - 2) / (1 - r * r)), n - 2)


def check_shape(fit: Fit) -> Check | None:
    """Studentised leftovers against normal ones."""
    room = 1 - fit.leverage
    usable = room > 1e-8
    if fit.df < FEWEST_DF or not usable.any():
        return None
    found = shapiro_wilk(fit.residuals[usable] / np.sqrt(room[usable]))
    if found is None:
        return None
    w, p = found
    many = fit.df >= MANY_DF
    facts = {"w": w, "p": p, "df_error": fit.df, "many": many}
    return Check(check="normality", verdict="look here" if p < ALARM and not many else "fine", facts=facts)


def check_in_order(model: Model) -> list[Check]:
    """Where sums of squares follow the order of the terms (type 1), terms on which type 2 says otherwise."""
    stratum = model.strata[0]
    if is_orthogonal(stratum):
        return []
    low, high = DISAGREE
    pairs = zip(plain_tests(stratum, 1), plain_tests(stratum, 2), strict=True)
    return [
        Check(
            check="sums of squares differ",
            verdict="look here",
            facts={"term": one.term, "p_type_1": one.p, "p_type_2": two.p},
        )
        for one, two in pairs
        if one.p is not None and two.p is not None and min(one.p, two.p) < low and max(one.p, two.p) > high
    ]


def with_masked(checks: Sequence[Check], model: Model, names: Sequence[str]) -> tuple[Check, ...]:
    """The check of odd bakes with those that hid each other named too."""
    at = next((i for i, check in enumerate(checks) if check.check == "odd bakes"), None)
    stratum = model.strata[0]
    single = len(model.strata) == 1 and not isinstance(model, MixedModel) and stratum.mean_sq is not None
    if at is None or not single or len(names) > MOST_FOR_LEAVING_OUT:
        return tuple(checks)
    check, fit = checks[at], stratum.fit
    found = [names[i] for i in odd_in_turn(fit, HIDDEN)]
    hidden = [name for name in found if name not in check.facts["bakes"]]
    if not hidden:
        return tuple(checks)
    left = {names[i]: float(e) for i, e in enumerate(fit.residuals)}
    bakes = (*check.facts["bakes"], *hidden)
    facts = {**check.facts, "bakes": bakes, "residuals": tuple(left[bake] for bake in bakes), "masked": tuple(hidden)}
    return (*checks[:at], replace(check, verdict="look here", facts=facts), *checks[at + 1 :])
