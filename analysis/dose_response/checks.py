"""Can this curve be trusted? One question at a time.

Keys and facts are listed in ``analysis.words.checks``; the tests of leftovers are those
of the factorial family where they can be shared.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import numpy.typing as npt

from analysis.dose_response.anova import Scatter
from analysis.dose_response.compare import Choice
from analysis.dose_response.curves import ShapeFit, joint_jacobian
from analysis.dose_response.layout import Layout
from analysis.dose_response.tails import t_above
from analysis.dose_results import Curve, LackOfFit
from analysis.linear.residual_checks import brown_forsythe, looks_sorted
from analysis.questions import Question
from analysis.results import Check, Verdict

Array = npt.NDArray[np.float64]
ALARM, GRAVE = 0.05, 0.01
TOO_FEW_DF, FEW_DF = 3, 6
_SETTLED = 0.8  # weight from which the shape is taken as settled


@dataclass(frozen=True)
class Leftovers:
    """Residuals of the curve with what is needed to judge each: leverage and error df."""

    residuals: Array
    hat: Array
    basis: Array
    df: int
    sum_sq: float


def all_checks(
    layout: Layout,
    choice: Choice,
    question: Question,
    curves: tuple[Curve, ...],
    misses: LackOfFit | None,
    pure: Scatter,
) -> tuple[Check, ...]:
    """Design first, then the curve, then the leftovers."""
    fit = choice.chosen.fit
    left = _leftovers(fit)
    found = [
        _unit(layout, question),
        _few_doses(layout),
        _few_df(fit, pure),
        _constant(layout),
        _no_scatter(fit, pure),
        _lack_of_fit(misses, fit, pure),
        _shape_choice(choice),
        _edge(curves),
        _spread(layout, left),
        _odd_bakes(layout, left),
        _order(fit.layout, left),
    ]
    return tuple(check for check in found if check is not None)


def _unit(layout: Layout, question: Question) -> Check | None:
    """Rows of one dose and no name for a bake: replicates, or readings of one bake?"""
    most = max(layout.readings)
    facts = {"bakes": layout.n, "readings": sum(layout.readings), "most": most}
    if question.bake is not None or most > 1:
        return Check(check="experimental unit", verdict="fine", facts={**facts, "named": True})
    if question.group or max(part.counts.max() for part in layout.parts) < 2:
        return None
    return Check(check="experimental unit", verdict="look here", facts={**facts, "named": False, "replicated": True})


def _few_doses(layout: Layout) -> Check:
    fewest = min(layout.parts, key=lambda part: part.doses.size)
    doses = int(fewest.doses.size)
    verdict: Verdict = "fine" if doses >= 5 else "look here" if doses >= 3 else "do not rely"
    return Check(check="few doses", verdict=verdict, facts={"doses": doses, "enough": 5, "level": fewest.level})


def _few_df(fit: ShapeFit, pure: Scatter) -> Check:
    df = pure.df if pure.df > 0 else fit.df
    verdict: Verdict = "do not rely" if df < TOO_FEW_DF else "look here" if df < FEW_DF else "fine"
    facts = {"df_error": df, "stratum": "bakes", "between": "bakes of one dose" if pure.df > 0 else None}
    return Check(check="few error df", verdict=verdict, facts=facts)


def _constant(layout: Layout) -> Check | None:
    """Nearly every bake gave one value: the scatter says little."""
    _, counts = np.unique(layout.y, return_counts=True)
    if counts.max() <= 0.7 * layout.n:
        return None
    facts = {"same": int(counts.max()), "bakes": layout.n, "distinct": int(counts.size)}
    return Check(check="few values", verdict="look here", facts=facts)


def _no_scatter(fit: ShapeFit, pure: Scatter) -> Check | None:
    """The curve, or the dose means, hit every bake: what is left is arithmetic, not baking."""
    y = fit.layout.y - fit.layout.y.mean()
    left = min(fit.rss, pure.sum_sq) if pure.df > 0 else fit.rss
    return Check(check="no scatter", verdict="do not rely", facts={}) if left <= 1e-20 * float(y @ y) else None


def _lack_of_fit(misses: LackOfFit | None, fit: ShapeFit, pure: Scatter) -> Check:
    if misses is None:
        facts: dict[str, object] = {"tested": False, "df": fit.df - pure.df, "df_error": pure.df, "f": None, "p": None}
        return Check(check="lack of fit", verdict="fine", facts=facts)
    facts = {"tested": True, "f": misses.value, "p": misses.p, "df": misses.df, "df_error": misses.df_error}
    verdict: Verdict = "do not rely" if misses.p < GRAVE else "look here" if misses.p < ALARM else "fine"
    return Check(check="lack of fit", verdict=verdict, facts=facts)


def _shape_choice(choice: Choice) -> Check:
    chosen = choice.chosen
    others = [one for one in choice.ranked if one is not chosen]
    facts = {
        "shape": chosen.fit.shape.name,
        "best": choice.ranked[0].fit.shape.name,
        "second": others[0].fit.shape.name if others else None,
        "runner_up": others[0].fit.shape.name if others else None,
        "weight": chosen.weight,
        "runner_up_weight": others[0].weight if others else None,
        "forced": choice.forced,
    }
    if choice.overruled:
        facts |= {"not_flat_p": choice.against_flat, "best": chosen.fit.shape.name}
        rivals = [one for one in choice.plausible if one.fit is not chosen.fit]
        facts["second"] = rivals[0].fit.shape.name if rivals else None
    far = choice.forced and chosen.aicc > choice.ranked[0].aicc + 10
    settled = choice.forced or chosen.weight >= _SETTLED
    verdict: Verdict = "look here" if far or not settled else "fine"
    return Check(check="shape choice", verdict=verdict, facts=facts)


def _edge(curves: tuple[Curve, ...]) -> Check:
    """The first curve whose best lies at an end of its doses speaks for all; a plateau was seen and does not."""
    at_edge = [
        curve
        for curve in curves
        if curve.recommended is not None and curve.recommended.edge is not None and "plateau" not in curve.parameters
    ]
    if not at_edge or at_edge[0].recommended is None:
        seen = any(curve.optimum is not None for curve in curves)
        held = any("plateau" in curve.parameters for curve in curves)
        best = {} if seen else {"best": "plateau" if held else None}
        return Check(check="edge of range", verdict="fine", facts={"edge": None, **best})
    facts = {
        "edge": at_edge[0].recommended.edge,
        "level": at_edge[0].level if len(at_edge) < len(curves) else None,
        "levels": tuple(curve.level for curve in at_edge if curve.level is not None),
        "curves": len(curves),
    }
    return Check(check="edge of range", verdict="look here", facts=facts)


def _leftovers(fit: ShapeFit) -> Leftovers:
    layout = fit.layout
    slopes = layout.whiten(joint_jacobian(layout, fit.shape, np.concatenate([fit.inner.ravel(), fit.block_effects])))
    basis = np.linalg.qr(slopes / np.linalg.norm(slopes, axis=0))[0]
    residuals = layout.whiten(layout.y - fit.fitted)
    return Leftovers(residuals, (basis**2).sum(axis=1), basis, layout.n - fit.parameters, fit.rss)


def _spread(layout: Layout, left: Leftovers) -> Check | None:
    """Does the scatter differ between doses (three or more bakes each)?"""
    groups = np.unique(layout.dose, return_inverse=True)[1]
    if np.bincount(groups).min() < 3:
        return None
    result = brown_forsythe(left.residuals, groups)
    if result is None:
        return None
    value, df, df_error, p = result
    sds = [float(np.std(left.residuals[groups == g])) for g in range(int(groups.max()) + 1)]
    facts = {
        "value": value,
        "df": df,
        "df_error": df_error,
        "p": p,
        "between": layout.dose_name,
        "ratio": max(sds) / min(sds) if min(sds) > 0 else None,
    }
    return Check(check="spread", verdict="look here" if p < ALARM else "fine", facts=facts)


def scatters_unevenly(fit: ShapeFit) -> bool:
    """Does the check of the spread look up?"""
    found = _spread(fit.layout, _leftovers(fit))
    return found is not None and found.verdict != "fine"


def _odd_bakes(layout: Layout, left: Leftovers) -> Check | None:
    """Externally studentised residuals, p times the number of bakes (Bonferroni)."""
    if left.df < 2 or left.sum_sq <= 1e-20 * float(layout.y @ layout.y):
        return None
    room = 1 - left.hat
    usable = np.flatnonzero(room > 1e-8)
    odd, sizes, smallest = [], [], 1.0
    for i in usable:
        e = float(left.residuals[i])
        rest = (left.sum_sq - e * e / room[i]) / (left.df - 1)
        if rest <= 1e-12 * left.sum_sq:
            p = 0.0  # without this bake there is no scatter at all
        else:
            p = min(1.0, usable.size * 2 * t_above(abs(e) / np.sqrt(rest * room[i]), left.df - 1))
        smallest = min(smallest, p)
        if p < ALARM:
            odd.append(layout.bakes[i])
            sizes.append(e)
    facts = {"bakes": tuple(odd), "residuals": tuple(sizes), "tested": int(usable.size), "p": smallest}
    return Check(check="odd bakes", verdict="look here" if odd else "fine", facts=facts)


def _order(layout: Layout, left: Leftovers) -> Check | None:
    """A straight drift over the order of baking, after the curve and the blocks."""
    order = np.asarray(layout.order, dtype=float)
    if left.df < 3 or np.unique(order).size < 3 or left.sum_sq <= 1e-20 * float(layout.y @ layout.y):
        return None
    if layout.random:
        return None  # groups follow each other in time, and what drifts from one to the next is their scatter
    if _sorted(layout):
        return Check(check="order", verdict="fine", facts={"tested": False})
    z = layout.whiten((order - order.mean()) / max(float(np.ptp(order)), 1.0))
    along = z - left.basis @ (left.basis.T @ z)
    size = float(along @ along)
    if size <= 1e-8 * float(z @ z):
        return Check(check="order", verdict="look here", facts={"tested": False})
    drift = float(along @ left.residuals) / size
    rest = (left.sum_sq - drift * drift * size) / (left.df - 1)
    if rest <= 1e-12 * left.sum_sq:
        return None
    p = 2 * t_above(abs(drift) * np.sqrt(size / rest), left.df - 1)
    facts = {"tested": True, "p": p, "drift": drift, "bakes": layout.n}
    return Check(check="order", verdict="look here" if p < ALARM else "fine", facts=facts)


def _sorted(layout: Layout) -> bool:
    """Do the bakes stand in the order of a sorted table rather than of a randomised day?"""
    dose = np.unique(layout.dose, return_inverse=True)[1]
    codes = [dose, layout.level_code, *(code for _, code in layout.block_codes)]
    variables = [SimpleNamespace(codes=code) for code in codes if np.ptp(code) > 0]
    return looks_sorted(np.asarray(layout.order), cast(Any, variables))
