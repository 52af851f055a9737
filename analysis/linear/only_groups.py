"""Nothing was changed on purpose: what is the mean, and where does the scatter lie?

A study of variances: bakes of several days, readings of several assessors, with the mean over all.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.errors import NotPossible
from analysis.estimates import Coefficient
from analysis.findings import judge
from analysis.linear.coding import variables_of
from analysis.linear.coefficients import coefficients
from analysis.linear.door import check_frame
from analysis.linear.finite import finite
from analysis.linear.fitting import is_constant
from analysis.linear.mixed_model import DF_METHODS, MixedModel
from analysis.linear.residual_checks import check_odd_bakes
from analysis.linear.scatter import RESIDUAL, ScatterPart, scatter_checks, scatter_part
from analysis.linear.settling import Settled, settle
from analysis.linear.tables import points, residual
from analysis.questions import Question, Response
from analysis.results import Check, FamilyResult, Finding, ModelNote

Floats = NDArray[np.float64]


def scatter_only(bakes: pd.DataFrame, response: Response, question: Question) -> FamilyResult:
    """The mean with its interval and the variances. Raises NotPossible without groups or without scatter."""
    check_frame(bakes, response, question)
    raw = bakes[response.name].to_numpy(dtype=np.float64)
    if is_constant(raw):
        raise NotPossible(
            f"Every bake gave the same {response.name}, so there is no scatter to part.",
            where=response.name,
            try_this="read it more finely, or see whether values were copied.",
        )
    blocks = [name for name in question.blocks if bakes[name].nunique() > 1]
    settled = settle(bakes, question, variables_of(bakes, [], blocks), raw)
    if settled.scatter is None:
        raise NotPossible(
            f"No factor was changed, and the groups leave nothing to tell the scatter of {response.name} by.",
            where=", ".join([*question.group, *(name for chain in question.crossed for name in chain)]),
            try_this="name what was changed on purpose, or bake several times in three groups or more.",
        )
    part = scatter_part(settled.scatter, settled.groups, question.bake)
    mean = coefficients(settled.model, question.confidence)[0]
    return finite(_answer(bakes, response, question, raw, settled, part, mean), where=response.name)


def _answer(
    bakes: pd.DataFrame,
    response: Response,
    question: Question,
    raw: Floats,
    settled: Settled,
    part: ScatterPart,
    mean: Coefficient,
) -> FamilyResult:
    assert settled.scatter is not None
    exact = not isinstance(settled.model, MixedModel)
    checks: list[Check | None] = [
        *settled.notes,
        *scatter_checks(settled.scatter, settled.groups, exact=exact),
        check_odd_bakes(settled.model, settled.ground.per_plot, [str(name) for name in bakes["bake"]]),
    ]
    return FamilyResult(
        model=ModelNote(
            kind="factors",
            terms=tuple(term.name for term in settled.model.terms),
            groups=tuple(group.name for group in settled.groups),
            estimation="REML",
            df_method=DF_METHODS[question.small_sample] if not exact else "strata",
        ),
        residual=residual(settled.model, raw, settled.fitted),
        coefficients=(mean,),
        checks=tuple(check for check in checks if check is not None),
        evidence=(_finding(response, part, mean),),
        points=tuple(points(bakes, question, raw, settled.fitted)),
        reasons=dict.fromkeys(("tests", "means", "comparisons", "effects"), "no factor was changed"),
        variances=settled.scatter.variances,
        parts=(part,),
    )


def _finding(response: Response, part: ScatterPart, mean: Coefficient) -> Finding:
    """The widest scatter between groups beside that within them, and the mean over all."""
    lines = [line for line in part.lines if line.slope_of is None]
    between = [line for line in lines if line.group != RESIDUAL]
    most = max(between, key=lambda line: line.sd) if between else lines[-1]
    return Finding(
        kind="scatter",
        response=response.name,
        variables=(most.group,),
        size=most.sd,
        low=most.low,
        high=most.high,
        unit=response.unit,
        direction="none",
        matters=judge(most.low, most.high, response.matters) if response.matters else "unsure",
        facts={
            "within": most.within,
            "smallest": part.smallest,
            "confidence": part.confidence,
            "smallest_sd": lines[-1].sd,
            "mean": mean.estimate,
            "mean_low": mean.low,
            "mean_high": mean.high,
        },
    )
