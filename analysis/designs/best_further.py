"""Which further treatments tell the most, given the runs there are?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from analysis.designs.best import starts_for
from analysis.designs.mixtures import blend_points
from analysis.designs.optimal import exchange
from analysis.designs.region import region_of
from analysis.designs.requests import DesignFactor, DesignRequest, ModelName
from analysis.designs.treatments import Settings

if TYPE_CHECKING:
    from analysis.designs.extending import Standing


def best_further(request: DesignRequest, standing: Standing, count: int, model: ModelName) -> Sequence[Settings]:
    """``count`` treatments that, with the runs that stand, tell the model best (D criterion).

    They form a block of their own, whose difference from the earlier runs is taken out. Doses are
    those baked so far and, for a model with squares, the middle between the lowest and the highest.
    """
    factors = tuple(_with_doses(factor, standing, model) for factor in request.factors)
    region = region_of(replace(request, factors=factors), model, blend_points(request))
    held = [run.settings for run in standing.known]
    blocks = [run.block or run.groups.get("stage", "1") for run in standing.known]
    ordered = sorted(range(len(held)), key=lambda at: blocks[at])
    sizes = [blocks.count(label) for label in sorted(set(blocks))]
    result = exchange(
        region.terms,
        count,
        moments=region.moments,
        fixed=region.rows([held[at] for at in ordered]),
        fixed_blocks=sizes,
        blocks=[count],
        starts=starts_for(len(region.points), count, region.terms.shape[1]),
        seed=request.seed,
    )
    return [region.points[row] for row in result.rows]


def _with_doses(factor: DesignFactor, standing: Standing, model: ModelName) -> DesignFactor:
    if factor.kind != "amount":
        return factor
    doses = {float(run.settings[factor.name]) for run in standing.runs}
    if model == "quadratic":
        doses.add(float(f"{(min(doses) + max(doses)) / 2:.12g}"))
    return replace(factor, values=tuple(sorted(doses)), low=None, high=None, n_levels=None)
