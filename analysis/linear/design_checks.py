"""Can a design like this answer the question?

Checks that look at which settings were baked how often, not at the leftovers.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.linear.coding import Variable
from analysis.linear.ground import Ground
from analysis.linear.mixed_model import MixedModel
from analysis.linear.residual_checks import looks_sorted
from analysis.linear.selection import Selection
from analysis.linear.squares import disagreements
from analysis.linear.stratum import Model
from analysis.linear.treatments import treatment_codes
from analysis.questions import Question
from analysis.results import Check, Verdict
from analysis.rows import group_columns

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

TOO_FEW, FEW = 3, 6  # error df below which not to rely, below which to look


def check_unit(question: Question, bakes: int, factors: Sequence[Variable]) -> Check | None:
    """Rows with the same settings and no name for a bake: replicates, or readings of one bake?"""
    _, counts = treatment_codes(factors)
    if question.bake is not None or group_columns(question) or counts.max() < 2:
        return None
    facts = {"bakes": bakes, "readings": bakes, "most": 1, "named": False, "replicated": True}
    return Check(check="experimental unit", verdict="look here", facts=facts)


def check_evenness(factors: Sequence[Variable]) -> Check:
    """How often was each treatment baked?"""
    _, counts = treatment_codes(factors)
    fewest, most = int(counts.min()), int(counts.max())
    facts = {"treatments": len(counts), "fewest": fewest, "most": most, "even": fewest == most}
    return Check(check="evenness", verdict="look here" if most > 2 * fewest else "fine", facts=facts)


def check_error_df(model: Model) -> Check | None:
    """Is there enough error to judge by, in the stratum that has least of it?"""
    if isinstance(model, MixedModel):
        return _fewest_of(model)
    judged = [stratum for stratum in model.strata if any(not term.block for term in stratum.terms)]
    if not judged or all(stratum.fit.df == 0 for stratum in judged):
        return None
    least = min(judged, key=lambda stratum: stratum.fit.df)
    df = least.fit.df
    verdict: Verdict = "do not rely" if df < TOO_FEW else "look here" if df < FEW else "fine"
    return Check(check="few error df", verdict=verdict, facts={"df_error": df, "stratum": least.name})


def _fewest_of(model: MixedModel) -> Check | None:
    """The term with the fewest error df, rounded down: Kenward and Roger's need not be whole."""
    factors = {term.name for term in model.terms if not term.block}
    lines = [line for line in model.tests(3) if line.term in factors and line.df_error is not None]
    if not lines:
        return None
    least = min(lines, key=lambda line: line.df_error or 0.0)
    df = int((least.df_error or 0.0) + 1e-6)
    verdict: Verdict = "do not rely" if df < TOO_FEW else "look here" if df < FEW else "fine"
    return Check(check="few error df", verdict=verdict, facts={"df_error": df, "stratum": least.stratum})


def selection_checks(selection: Selection, asked: int) -> list[Check]:
    """What was not fitted, and why."""
    found = []
    for term, cells in selection.empty.items():
        found.append(Check(check="empty cells", verdict="look here", facts={"term": term.name, "cells": cells}))
    for term, with_ in selection.entangled.items():
        verdict: Verdict = "do not rely" if term.order == 1 and not term.block else "look here"
        facts = {"term": term.name, "with": with_, "order": term.order}
        found.append(Check(check="not estimable", verdict=verdict, facts=facts))
    twins = {term.name: [other for other in chain if other.order == 1] for term, chain in selection.aliases.items()}
    for name, others in twins.items():
        for other in others:
            facts = {"term": other.name, "with": (name,), "order": 1}
            found.append(Check(check="not estimable", verdict="do not rely", facts=facts))
    if selection.for_error or selection.partial:
        dropped = [*selection.for_error, *selection.partial]
        facts = {
            "terms": tuple(term.name for term in dropped),
            "order": max(term.order for term in dropped),
            "because": "partly aliased" if selection.partial else "no error df",
        }
        found.append(Check(check="dropped terms", verdict="look here", facts=facts))
    chains = [
        (term.name, *(other.name for other in selection.aliases.get(term, []) if other.order <= max(asked, 2)))
        for term in selection.columns
        if term.order <= max(asked, 2)
    ]
    chains = [chain for chain in chains if len(chain) > 1]
    if chains:
        found.append(Check(check="aliases", verdict="look here", facts={"chains": tuple(chains)}))
    return found


def check_squares(model: Model) -> list[Check]:
    """Terms on which types 2 and 3 would lead to different talk."""
    found = (
        model.disagreements()
        if isinstance(model, MixedModel)
        else [each for stratum in model.strata for each in disagreements(stratum)]
    )
    return [
        Check(
            check="sums of squares differ",
            verdict="look here",
            facts={"term": term, "p_type_2": two, "p_type_3": three},
        )
        for term, two, three in found
    ]


def check_whole_plots(variables: Sequence[Variable], ground: Ground, order: Integers) -> list[Check]:
    """Settings that were not reset for every bake, and whole plots that are not alike."""
    factors = [variable for variable in variables if not variable.block]
    if ground.plots is not None:
        if ground.even(np.hstack([factor.columns for factor in factors])):
            return []
        sizes = np.bincount(ground.plots)
        facts = {"group": ground.names[0], "fewest": int(sizes.min()), "most": int(sizes.max())}
        return [Check(check="uneven whole plots", verdict="look here", facts=facts)]
    found = []
    for factor in factors:
        for block in (variable for variable in variables if variable.block and not variable.covariate):
            if len(block.levels) > len(factor.levels) and _constant_within(factor.codes, block.codes):
                facts = {"factor": factor.name, "block": block.name, "because": "constant within"}
                found.append(Check(check="whole plot", verdict="look here", facts=facts))
    if len(factors) > 1 and not looks_sorted(order, variables):
        for factor in factors:
            if _baked_in_stretches(factor, order):
                facts = {"factor": factor.name, "because": "not reset", "levels": len(factor.levels)}
                found.append(Check(check="whole plot", verdict="look here", facts=facts))
    return found


def _constant_within(codes: Integers, groups: Integers) -> bool:
    pairs = np.unique(np.column_stack([groups, codes]), axis=0)
    return len(pairs) == len(np.unique(groups))


def _baked_in_stretches(factor: Variable, order: Integers) -> bool:
    """Was every level baked in one go, with at least three bakes in each?"""
    sequence = factor.codes[np.argsort(order, kind="stable")]
    stretches = 1 + int((sequence[1:] != sequence[:-1]).sum())
    return stretches == len(factor.levels) and int(np.bincount(factor.codes).min()) >= 3
