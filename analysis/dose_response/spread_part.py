"""What is told of how bakes scatter along the curve?"""

from __future__ import annotations

import numpy as np

from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.results import SpreadPart
from analysis.dose_response.spread import SpreadChoice


def spread_part(fit: ShapeFit, spread: SpreadChoice | None, weights: str | None) -> tuple[SpreadPart, ...]:
    """None when every bake counted alike without a question about it."""
    if spread is None and weights is None:
        return ()
    layout = fit.layout
    own = layout.errors.weights if layout.errors is not None else None
    per_bake = np.ones(layout.n) if own is None else own
    if spread is not None and layout.weights is not None:
        per_bake = per_bake / layout.weights  # of a bake of weight 1
    sds: dict[str, float] = {}
    if spread is not None:
        for dose in layout.doses:
            rows = layout.dose == dose
            sds[f"{float(dose):g}"] = float(np.sqrt(fit.variance * np.mean(1 / per_bake[rows])))
    return (
        SpreadPart(
            kind="given weights" if spread is None else spread.used.kind,
            exponent=None if spread is None else spread.used.exponent,
            sds=sds,
            of="" if spread is None else spread.of,
            statistic=None if spread is None else spread.statistic,
            df=0 if spread is None else spread.df,
            p=None if spread is None else spread.p,
            weights=weights,
            reasons={} if spread is None else {f"spread {kind}": why for kind, why in spread.refused.items()},
        ),
    )
