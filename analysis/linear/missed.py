"""Do the treatments lie further from the model than bakes of one treatment from each other?

For factors as for surfaces: what stands in the model is judged against what the treatments themselves say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis.linear.centre_points import curvature_of
from analysis.linear.lack_of_fit import lack_of_fit
from analysis.linear.mixed_model import MixedModel
from analysis.linear.residual_checks import MOST_CELLS
from analysis.linear.stratum import Model
from analysis.linear.treatments import treatment_codes
from analysis.questions import Question
from analysis.results import Check


def missed(known: Sequence[Check], model: Model, question: Question) -> list[Check]:
    """Nothing with groups, weights or a column for centre points, nor where it is ``known`` or cannot be tested."""
    single = len(model.strata) == 1 and not isinstance(model, MixedModel) and model.strata[0].mean_sq is not None
    if any(check.check == "lack of fit" for check in known) or not single or question.weights:
        return []
    if curvature_of(model.variables) is not None:
        return []
    codes, counts = treatment_codes([variable for variable in model.variables if not variable.block])
    if counts.max() < 2 or len(codes) * len(counts) > MOST_CELLS:
        return []
    beside = [variable.columns for variable in model.variables if variable.block]
    found = lack_of_fit(model.strata[0].fit, codes, np.hstack([np.ones((len(codes), 0)), *beside]), of="model")
    facts = (
        {**found.facts, "order": 1} if _asked_alone(question) else found.facts
    )  # interactions were asked to stay out
    return [replace(found, facts=facts)] if found.facts["tested"] else []


def _asked_alone(question: Question) -> bool:
    """Was it asked that each factor be fitted by itself?"""
    return not question.interactions and (question.order == 1 or question.model == "main effects")
