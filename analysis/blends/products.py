"""Does what a factor beside the blend does depend on the blend?"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.blends.judged import LINEAR
from analysis.blends.lines import change_by, on_line, reference_blend
from analysis.blends.terms import BlendDesign
from analysis.findings import judge
from analysis.linear.stratum import Model
from analysis.questions import Response
from analysis.results import Finding

Floats = NDArray[np.float64]


def product_findings(
    design: BlendDesign, model: Model, response: Response, p: Mapping[str, float | None], confidence: float
) -> list[Finding]:
    """For each such factor the largest change of its effect along the line of a share, with allowance for the
    choice among shares (and pairs of levels)."""
    beside = sorted({at for term in model.terms if design.is_product(term) for at in design.beside_blend(term)})
    return [_finding(design, model, response, at, p, confidence) for at in beside]


def _finding(
    design: BlendDesign,
    model: Model,
    response: Response,
    at: int,
    p: Mapping[str, float | None],
    confidence: float,
) -> Finding:
    variable, reference = model.variables[at], reference_blend(design)
    count = len(variable.levels)
    pairs = [(0, count - 1)] if variable.amount else list(combinations(range(count), 2))
    choices = []
    for start, end in pairs:
        for share in range(len(design.blends.names)):
            ends = [float(design.blends.parts[:, share].min()), float(design.blends.parts[:, share].max())]
            rows = [
                change_by(
                    design, model, at, variable.coded[start], variable.coded[end], on_line(reference, share, part)
                )
                for part in ends
            ]
            choices.append((start, end, share, ends, rows))
    contrasts = model.contrasts(np.array([rows[1] - rows[0] for *_, rows in choices]))
    chosen = int(np.argmax([abs(contrast.estimate) for contrast in contrasts]))
    start, end, share, ends, rows = choices[chosen]
    contrast, factor = contrasts[chosen], design.blends.factors[share]
    low, high = contrast.interval(1 - (1 - confidence) / len(choices))
    first, second = model.contrasts(np.array(rows))
    facts: dict[str, Any] = {
        "of": variable.name,
        "of_kind": "amount" if variable.amount else "category",
        "of_unit": variable.unit,
        "from": variable.levels[start],
        "to": variable.levels[end],
        "by": factor.name,
        "by_unit": factor.unit,
        "by_from": f"{ends[0] * design.blends.total:.6g}",
        "by_to": f"{ends[1] * design.blends.total:.6g}",
        "effect_at_from": first.estimate,
        "effect_at_to": second.estimate,
        "along": "others in proportion",
        "shares": tuple(design.blends.names),
    }
    return Finding(
        kind="interaction",
        response=response.name,
        variables=(variable.name, factor.name),
        size=contrast.estimate,
        low=low,
        high=high,
        unit=response.unit,
        direction="up" if contrast.estimate > 0 else "down" if contrast.estimate < 0 else "none",
        matters=judge(low, high, response.matters),
        p=p.get(f"{LINEAR}:{variable.name}"),
        facts=facts,
    )
