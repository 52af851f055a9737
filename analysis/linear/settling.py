"""Which error goes with which term: one for all, exact strata, or variances estimated by REML?

Where groups are equally large, lie within each other (or cross as strips) and no term lies between
two of them, strata are exact, also where a variance is estimated as zero, and equal what Kenward and
Roger give otherwise. Everywhere else the variances are estimated and their uncertainty allowed for.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.errors import NotPossible
from analysis.linear.centre_points import with_curvature
from analysis.linear.coding import Variable, term_columns
from analysis.linear.fitting import fit_model
from analysis.linear.ground import Ground, flat
from analysis.linear.joint import joint_ground, leave_error, model_columns
from analysis.linear.least_squares import centred
from analysis.linear.mixed_model import MixedModel, mixed_model, terms_of
from analysis.linear.nested import equally_large, nested_ground, parted
from analysis.linear.random_groups import RandomGroup, find_groups, is_chain, without_finest
from analysis.linear.selection import Selection, select
from analysis.linear.stratum import Model
from analysis.linear.strips import lay_strips
from analysis.linear.unequal import unequal
from analysis.questions import Question
from analysis.results import Check

if TYPE_CHECKING:  # loaded where there are groups
    from analysis.mixed.fit import MixedFit

Floats = NDArray[np.float64]
Refit = Callable[[Floats], Model]


@dataclass(frozen=True, eq=False, kw_only=True)
class Settled:
    """A fitted model on its ground. ``again`` fits the same to other readings (n,); ``scatter`` is the REML
    fit whose variances are told (None without groups, or where nothing is left to tell them by);
    ``fitted`` (n,) are the values the leftovers are counted from."""

    model: Model
    ground: Ground
    selection: Selection
    fitted: Floats
    again: Refit
    groups: tuple[RandomGroup, ...] = ()
    scatter: MixedFit | None = None
    notes: tuple[Check, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """Which terms are asked for."""

    order: int
    bends: bool
    screening: bool
    joint: tuple[str, ...] = ()

    def of(self, variables: Sequence[Variable], ground: Ground) -> Selection:
        return select(variables, self.order, ground, bends=self.bends, screening=self.screening, joint=self.joint)


def settle(
    bakes: pd.DataFrame,
    question: Question,
    variables: Sequence[Variable],
    raw: Floats,
    weights: Floats | None = None,
) -> Settled:
    """Fit the terms of a question. Raises NotPossible when no effect can be told from blocks and groups."""
    y, offset = centred(raw)
    wanted = Wanted(
        order=question.order,
        bends=question.model == "quadratic",
        screening=question.model == "main effects",
        joint=question.interactions,
    )
    found = find_groups(bakes, question, variables)
    if not found.groups:
        plain = flat(y, weights)
        variables = with_curvature(found.variables, question.order)
        return _in_strata(variables, wanted, plain, raw, offset, found.notes, spread=question.unequal_spread)
    ground = None if weights is not None else _strata(bakes, question, found.variables, found.groups, y)
    if ground is not None:
        settled = _in_strata(found.variables, wanted, ground, raw, offset, found.notes)
        columns = [term_columns(settled.model.variables, term) for term in settled.selection.columns]
        if parted(ground, columns):
            return _with_scatter(settled, found.groups)
    return _by_reml(found.variables, wanted, found.groups, raw, offset, question, found.notes, weights)


def _strata(
    bakes: pd.DataFrame,
    question: Question,
    variables: Sequence[Variable],
    groups: Sequence[RandomGroup],
    y: Floats,
) -> Ground | None:
    """The ground on which strata may be exact; None where they cannot."""
    if any(group.slope is not None for group in groups):
        return None
    if question.strips:
        names = {group.name for group in groups}
        try:
            return lay_strips(bakes, question, variables, y)[0] if names == set(question.strips) else None
        except NotPossible:
            return None
    return nested_ground(y, groups) if is_chain(groups) and equally_large(groups) else None


def _in_strata(
    variables: Sequence[Variable],
    wanted: Wanted,
    ground: Ground,
    raw: Floats,
    offset: float,
    notes: tuple[Check, ...],
    *,
    spread: bool = False,
) -> Settled:
    """``spread``: treatments may scatter unequally."""
    selection = wanted.of(variables, ground)
    _require_effects(variables, selection)

    def again(readings: Floats) -> Model:
        y, centre = centred(readings)
        model = fit_model(variables, selection, replace(ground, y=y), readings, centre)
        return unequal(model, ground.stretch) if spread and model.strata[0].mean_sq is not None else model

    model = again(raw)
    return Settled(
        model=model,
        ground=ground,
        selection=selection,
        fitted=ground.fitted(tuple(stratum.fitted for stratum in model.strata)) + offset,
        again=again,
        notes=notes,
    )


def _with_scatter(settled: Settled, groups: Sequence[RandomGroup]) -> Settled:
    """Exact strata with the variances beside them."""
    strata = {stratum.name: stratum for stratum in settled.model.strata}
    seen = tuple(group for group in groups if strata[group.name].fit.df > 0)
    judged = not any(stratum.noiseless for stratum in settled.model.strata) and strata["bakes"].fit.df > 0
    scatter = None
    if seen and judged:
        from analysis.mixed.reml import fit_reml

        columns = {term: (0, term_columns(settled.model.variables, term)) for term in settled.selection.columns}
        x = model_columns(Selection(columns=columns), len(settled.ground.y))
        with suppress(NotPossible):  # strata answer all the same where REML finds nothing to part
            scatter = fit_reml(settled.ground.y, x, terms_of(seen))
    return replace(settled, groups=tuple(groups), scatter=scatter)


def _by_reml(
    variables: Sequence[Variable],
    wanted: Wanted,
    groups: Sequence[RandomGroup],
    raw: Floats,
    offset: float,
    question: Question,
    notes: tuple[Check, ...],
    weights: Floats | None,
) -> Settled:
    y, _ = centred(raw)
    ground = joint_ground(y, groups)
    selection = wanted.of(variables, ground)
    _require_effects(variables, selection)
    left = leave_error(selection, groups, len(y))
    fewer, gone = without_finest(groups)
    if left.residual <= 0 and fewer:
        why = "with it nothing would be left to judge single bakes by"
        note = Check(check="group left out", verdict="look here", facts={"group": gone, "why": why})
        return _by_reml(variables, wanted, fewer, raw, offset, question, (*notes, note), weights)
    if left.residual <= 0:
        raise NotPossible(
            "Groups and treatments together leave no scatter between bakes to judge by.",
            where=", ".join(group.name for group in groups),
            try_this="leave a group out, ask for fewer interactions, or bake treatments again within groups.",
        )

    def again(readings: Floats) -> MixedModel:
        own, centre = centred(readings)
        return mixed_model(
            variables,
            selection,
            own,
            centre,
            groups,
            left,
            raw=readings,
            method=question.small_sample,
            weights=weights,
        )

    model = again(raw)
    return Settled(
        model=model,
        ground=ground,
        selection=selection,
        fitted=model.mixed.conditional + offset,
        again=again,
        groups=tuple(groups),
        scatter=model.mixed,
        notes=notes,
    )


def _require_effects(variables: Sequence[Variable], selection: Selection) -> None:
    if all(term.block for term in selection.columns) and not all(variable.block for variable in variables):
        raise NotPossible(
            "No effect can be told from the blocks.",
            where="blocks and groups",
            try_this="bake several treatments within each block, or leave the block out.",
        )
