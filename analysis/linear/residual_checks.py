"""Do the leftovers look like chance?

Spread between treatments, single odd bakes, a drift over the order of baking.
Each returns a check with its facts, or None when it has nothing to go on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from analysis.linear.coding import Variable
from analysis.linear.distributions import f_tail, t_tails
from analysis.linear.least_squares import Basis, Fit, explained, least_squares
from analysis.linear.means import MOST_LEVELS
from analysis.linear.mixed_model import MixedModel
from analysis.linear.steadiness import largest_move
from analysis.linear.stratum import BAKES, Model, Stratum
from analysis.linear.treatments import treatment_codes
from analysis.results import Check

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

ALARM = 0.05  # share of sound trials that these checks point at
MOST_CELLS = 1_000_000  # rows times groups up to which single bakes are looked at beside their groups
FEWEST_IN_TREATMENT, FEWEST_IN_LEVEL = 3, 4  # bakes it takes to speak of a scatter


def bakes_stratum(model: Model) -> Stratum:
    return next(stratum for stratum in model.strata if stratum.name == BAKES)


def spread_allowed_for(checks: Sequence[Check]) -> tuple[Check, ...]:
    """An unequal scatter that the model allows for is told, but is no reason to mistrust it."""
    return tuple(
        replace(check, verdict="fine", facts={**check.facts, "allowed": True})
        if check.check == "spread" and check.verdict == "look here"
        else check
        for check in checks
    )


def brown_forsythe(values: Floats, groups: Integers) -> tuple[float, int, int, float] | None:
    """(F, df, df error, p) of absolute deviations from group medians; None without any scatter."""
    count = int(groups.max()) + 1
    away = np.empty_like(values)
    for group in range(count):
        own = groups == group
        away[own] = np.abs(values[own] - np.median(values[own]))
    means = np.bincount(groups, away) / np.bincount(groups)
    within = float(((away - means[groups]) ** 2).sum())
    between = float(((means[groups] - away.mean()) ** 2).sum())
    df, df_error = count - 1, len(values) - count
    if df < 1 or df_error < 1 or within <= 1e-20 * max(between, 1e-300):
        return None
    value = between / df / (within / df_error)
    return value, df, df_error, f_tail(value, df, df_error)


def check_spread(factors: Sequence[Variable], y: Floats, residuals: Floats, df_error: int) -> Check | None:
    """Does the scatter differ between treatments, or between the levels of one factor?

    Treatments are compared when each was baked three times or more. Levels, looked at in the
    residuals, see more than small treatments do; the smallest p counts, times the looks.
    """
    codes, counts = treatment_codes(factors)
    looks: list[tuple[str, Floats, Integers]] = []
    if len(counts) > 1 and counts.min() >= FEWEST_IN_TREATMENT:
        looks.append(("treatments", y, codes))
    if df_error >= FEWEST_IN_LEVEL and (len(factors) > 1 or not looks):
        for factor in factors:
            if len(factor.levels) <= MOST_LEVELS and np.bincount(factor.codes).min() >= FEWEST_IN_LEVEL:
                looks.append((factor.name, residuals, factor.codes))
    found = [(result, between) for between, values, groups in looks if (result := brown_forsythe(values, groups))]
    if not found:
        return None
    (value, df, df_spread, p), between = min(found, key=lambda look: look[0][3])
    p = min(1.0, p * len(found))
    facts = {"value": value, "df": df, "df_error": df_spread, "p": p, "between": between}
    return Check(check="spread", verdict="look here" if p < ALARM else "fine", facts=facts)


def check_odd_bakes(model: Model, per_plot: float, names: Sequence[str]) -> Check | None:
    """Externally studentised residuals, p times the number of bakes (Bonferroni).

    When one is odd, ``moves`` tells how far the fitted values go with the odd bakes weighed down.
    """
    stratum = bakes_stratum(model)
    if stratum.mean_sq is None or stratum.fit.df < 2:
        return None
    fit = stratum.fit
    room = 1 - fit.leverage - (1 / per_plot if len(model.strata) > 1 else 0.0)
    if isinstance(model, MixedModel):
        beside = within_groups(model)
        if beside is None or beside.mean_sq is None or beside.df < 2:
            return None
        fit, room = beside, 1 - beside.leverage
    usable = np.flatnonzero(room > 1e-8)
    odd, sizes, smallest = [], [], 1.0
    for i in usable.tolist():
        e = float(fit.residuals[i])
        rest = (fit.sum_sq - e * e / room[i]) / (fit.df - 1)
        if rest <= 1e-12 * stratum.mean_sq:
            p = 0.0  # without this bake there is no scatter at all
        else:
            p = min(1.0, len(usable) * t_tails(e / np.sqrt(rest * room[i]), fit.df - 1))
        smallest = min(smallest, p)
        if p < ALARM:
            odd.append(names[i])
            sizes.append(e)
    facts: dict[str, object] = {
        "bakes": tuple(odd),
        "residuals": tuple(sizes),
        "tested": len(usable),
        "p": smallest,
    }
    if odd:
        facts["moves"] = largest_move(fit)
    return Check(check="odd bakes", verdict="look here" if odd else "fine", facts=facts)


def within_groups(model: MixedModel) -> Fit | None:
    """The same terms beside a column for each group, which needs no variance to be known; None with too many."""
    stratum = model.strata[0]
    count = sum(group.count for group in model.groups)
    if len(stratum.fit.y) * count > MOST_CELLS:
        return None
    parts = [stratum.fit.x]
    for group in model.groups:
        own = (group.codes[:, None] == np.arange(group.count)).astype(np.float64)
        parts += [own] if group.slope is None else [own, own * group.slope[:, None]]
    directions, sizes, _ = np.linalg.svd(np.hstack(parts), full_matrices=False)
    return least_squares(directions[:, sizes > 1e-9 * sizes[0]], stratum.fit.y)


def check_order(model: Model, order: Integers, stretch: Floats | None = None) -> Check | None:
    """A straight drift over the order of baking, after all terms. ``stretch`` (n,): square roots of weights."""
    stratum = bakes_stratum(model)
    fit = stratum.fit
    if len(model.strata) > 1 or stratum.mean_sq is None or fit.df < 3 or len(np.unique(order)) < 3:
        return None
    if isinstance(model, MixedModel):
        return None  # groups follow each other in time, and what drifts from one to the next is their scatter
    if looks_sorted(order, model.variables):
        return Check(check="order", verdict="fine", facts={"tested": False})
    z = (order - order.mean()) / max(float(np.ptp(order)), 1.0) * (1.0 if stretch is None else stretch)
    if not Basis(len(z), fit.q).adds(z[:, None]):
        return Check(check="order", verdict="look here", facts={"tested": False})
    sum_sq = explained(fit.x, z[:, None], fit.y)
    left = (fit.sum_sq - sum_sq) / (fit.df - 1)
    if left <= 1e-12 * stratum.mean_sq:
        return None
    p = f_tail(sum_sq / left, 1, fit.df - 1)
    along = z - fit.q @ (fit.q.T @ z)
    drift = float(along @ fit.residuals / (along @ along))
    facts: dict[str, object] = {"tested": True, "p": p, "bakes": len(z)}
    blocks = [variable for variable in model.variables if variable.block]
    if blocks:
        # What drifts from one block to the next has gone into the blocks: only the stretch of one was looked at.
        spans = {block.name: _span_within(order, block.codes) for block in blocks}
        facts["within"] = min(spans, key=lambda name: spans[name])
        drift *= spans[str(facts["within"])] / max(float(np.ptp(order)), 1.0)
    facts["drift"] = drift
    return Check(check="order", verdict="look here" if p < ALARM else "fine", facts=facts)


def _span_within(order: Integers, codes: Integers) -> float:
    """How far the order of baking reaches within one group, on average."""
    return float(np.mean([np.ptp(order[codes == code]) for code in np.unique(codes)]))


def looks_sorted(order: Integers, variables: Sequence[Variable]) -> bool:
    """Do the bakes stand in the order of a sorted table rather than of a randomised day?

    True when some variable comes in one stretch for each level, another does so within
    those stretches in the same sequence each time, and so on until nothing is left to sort.
    """
    place = np.argsort(order, kind="stable")
    left = [variable.codes[place] for variable in variables]
    groups = [np.arange(len(place))]
    while any(len(group) > 1 for group in groups):
        settled = [codes for codes in left if all(np.ptp(codes[group]) == 0 for group in groups)]
        left = [codes for codes in left if not any(codes is other for other in settled)]
        if not left:
            return True
        codes = next((codes for codes in left if _sorts(codes, groups)), None)
        if codes is None:
            return False
        groups = [group[codes[group] == code] for group in groups for code in np.unique(codes[group])]
    return True


def _sorts(codes: Integers, groups: Sequence[Integers]) -> bool:
    """Is each level one stretch within every group, in the same sequence?"""
    sequence: list[int] = []
    for group in groups:
        own = codes[group].tolist()
        met = list(dict.fromkeys(own))
        if sum(1 for a, b in pairwise(own) if a != b) != len(met) - 1:
            return False
        sequence = sequence or met
        known = [code for code in met if code in sequence]
        if known != [code for code in sequence if code in met]:
            return False
        sequence += [code for code in met if code not in sequence]
    return True
