"""How far does the middle of all amounts lie off the plane through the corners?

Centre points tell that the response bends, and by how much half way, but not over which amount.
"""

from __future__ import annotations

import numpy as np

from analysis.findings import judge
from analysis.linear.centre_points import curvature_of
from analysis.linear.stratum import Model
from analysis.questions import Response
from analysis.results import FamilyResult, Finding


def centre_finding(model: Model, result: FamilyResult, response: Response, confidence: float) -> Finding | None:
    """None where the model holds no column for the centre points."""
    position = curvature_of(model.variables)
    term = None if position is None else model.find(position)
    if term is None:
        return None
    contrast = model.contrast(model.only(term, np.ones(1)))
    low, high = contrast.interval(confidence)
    size = contrast.estimate
    line = next((line for line in result.tests if line.term == term.name), None)
    return Finding(
        kind="centre",
        response=response.name,
        variables=tuple(v.name for v in model.variables if v.amount and not v.block),
        size=size,
        low=low,
        high=high,
        unit=response.unit,
        direction="none" if not size else "up" if size > 0 else "down",
        matters=judge(low, high, response.matters),
        p=None if line is None else line.p,
        facts={"factor_kind": "amount"},
    )
