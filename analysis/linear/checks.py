"""Can the answer be trusted? All checks of a factorial answer, in the order they are read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.checks import leading_digits
from analysis.linear import design_checks, residual_checks
from analysis.linear.coding import Variable
from analysis.linear.ground import Ground
from analysis.linear.lack_of_fit import check_lack_of_fit
from analysis.linear.mixed_in import check_mixed_in
from analysis.linear.selection import Selection
from analysis.linear.stratum import Model
from analysis.questions import Question
from analysis.results import Check

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


def all_checks(
    *,
    model: Model,
    selection: Selection,
    ground: Ground,
    question: Question,
    raw: Floats,
    fitted: Floats,
    order: Integers,
    names: Sequence[str],
    still: Mapping[str, str],
    curvature: Mapping[str, Check],
    judged: bool,
    bends: bool = False,
    screening: bool = False,
) -> list[Check]:
    """Design first, then the error, then the leftovers. ``judged``: Lenth's error stood in for a missing one."""
    factors = [variable for variable in model.variables if not variable.block]
    found: list[Check | None] = [
        design_checks.check_unit(question, len(raw), factors),
        design_checks.check_evenness(factors),
        *(Check(check="constant", verdict="look here", facts={"factor": n, "level": at}) for n, at in still.items()),
        *design_checks.check_whole_plots(model.variables, ground, order),
        *design_checks.selection_checks(selection, question.order),
        check_mixed_in(model, selection, screening=screening),
        *_error_checks(model, judged=judged),
        *design_checks.check_squares(model),
        leading_digits(raw),
        *{id(check): check for check in curvature.values()}.values(),
        check_lack_of_fit(model, ground) if bends else None,
        _check_spread(factors, raw, fitted, model, ground),
        residual_checks.check_odd_bakes(model, ground.per_plot, names),
        residual_checks.check_order(model, order, ground.stretch),
    ]
    return [check for check in found if check is not None]


def _check_spread(
    factors: Sequence[Variable], raw: Floats, fitted: Floats, model: Model, ground: Ground
) -> Check | None:
    """With weights it is the weighed leftovers that should scatter alike."""
    df = residual_checks.bakes_stratum(model).fit.df
    left = (raw - fitted) * ground.stretch
    return residual_checks.check_spread(factors, raw if ground.weights is None else left, left, df)


def _error_checks(model: Model, *, judged: bool) -> list[Check | None]:
    """Is there an error to judge by?"""
    if any(stratum.noiseless for stratum in model.strata):
        return [Check(check="no scatter", verdict="do not rely", facts={})]
    if all(stratum.fit.df == 0 for stratum in model.strata):
        effects = sum(not term.block for term in model.terms)
        facts = {"effects": effects, "judged": judged}
        return [Check(check="saturated", verdict="look here" if judged else "do not rely", facts=facts)]
    return [design_checks.check_error_df(model)]
