"""Which n bakes tell the most, when what may be baked has odd shapes or some things cannot be reset each time?

Exact optimal designs over any mix of amounts, categories and shares, with constraints, blocks
and hard-to-change factors.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from analysis.designs.arrangement import WHOLE_PLOT, numbered
from analysis.designs.mixtures import blend_points
from analysis.designs.optimal import exchange, exchange_split
from analysis.designs.optimal.problem import OptimalResult
from analysis.designs.optimal.updates import Integers
from analysis.designs.region import Region, region_of, usual_model
from analysis.designs.requests import DesignRequest
from analysis.designs.treatments import Property, Treatments, settings_of
from analysis.errors import PlanError

SPARE_DF = 5  # more runs than terms when the plan does not say how many
EFFORT = 4e8  # multiplications spent on one search, about
FEWEST_STARTS, MOST_STARTS = 20, 400


def best_design(request: DesignRequest) -> Treatments:
    """``runs`` treatments, some perhaps more than once. Raises PlanError for too few runs or an empty region."""
    if request.replicates > 1:
        raise PlanError(
            "An optimal design is as large as its runs; replicates do not multiply it.",
            where="design, replicates",
            try_this="a larger runs",
        )
    model = request.model or usual_model(request)
    region = region_of(request, model, blend_points(request))
    hard = [factor.name for factor in request.factors if factor.hard_to_change]
    runs = _runs(request, region)
    groups: tuple[Mapping[str, str], ...] | None
    if hard:
        result, groups = _in_whole_plots(request, region, hard, runs)
    else:
        result, groups = _in_blocks(request, region, runs)
    treatments = tuple(region.points[row] for row in result.rows)
    order = {factor.name: factor.levels for factor in request.factors}
    properties: dict[str, Property] = {
        "criterion": request.criterion or "D",
        "starts": result.starts_used,
        "starts that came as far": result.reached,
        "candidates": len(region.points),
    }
    if result.i_value is not None:
        properties["i_value"] = round(result.i_value, 9)
    return Treatments(
        treatments=treatments,
        settings=settings_of(treatments, order),
        ranges={
            factor.name: (0.0, factor.total or 1.0) if factor.kind == "share" else (column.low, column.high)
            for factor in request.factors
            for column in [region.columns[factor.name]]
            if factor.kind != "category"
        },
        model=model,
        properties=properties,
        groups=groups,
        allowed=region.points if request.constraints else (),
    )


def _runs(request: DesignRequest, region: Region) -> int:
    if request.runs is not None:
        return request.runs
    terms = region.terms.shape[1]
    wanted = terms + SPARE_DF
    size = request.block_size
    return -(-(wanted + wanted // (size or wanted)) // size) * size if size else wanted


def starts_for(candidates: int, runs: int, terms: int) -> int:
    """As many starts as a search of a few seconds has room for."""
    return int(np.clip(EFFORT / (candidates * runs * terms), FEWEST_STARTS, MOST_STARTS))


def _in_blocks(
    request: DesignRequest, region: Region, runs: int
) -> tuple[OptimalResult, tuple[Mapping[str, str], ...] | None]:
    sizes = _block_sizes(request, runs)
    result = exchange(
        region.terms,
        runs,
        criterion=request.criterion or "D",
        moments=region.moments,
        blocks=sizes,
        starts=request.starts or starts_for(len(region.points), runs, region.terms.shape[1]),
        seed=request.seed,
    )
    if sizes is None or request.block is None:
        return result, None
    labels = numbered(len(sizes))
    return result, tuple({request.block: label} for label, size in zip(labels, sizes, strict=True) for _ in range(size))


def _block_sizes(request: DesignRequest, runs: int) -> list[int] | None:
    """Blocks of ``block_size`` runs, the last perhaps smaller by what is left over."""
    if request.block is None:
        if request.block_size is not None:
            raise PlanError(
                f"block_size = {request.block_size} is given, but not what a block is.",
                where="design, block_size",
                try_this='block = "bake day", or leave block_size out',
            )
        return None
    size = request.block_size or runs
    count = -(-runs // size)
    return [runs // count + (at < runs % count) for at in range(count)]


def _in_whole_plots(
    request: DesignRequest, region: Region, hard: Sequence[str], runs: int
) -> tuple[OptimalResult, tuple[Mapping[str, str], ...]]:
    if len(hard) == len(request.factors):
        raise PlanError(
            "Every factor is hard to change, so that each whole plot would hold one treatment.",
            where="design",
            try_this="hard_to_change = true only for what cannot be reset for each bake",
        )
    plots = request.whole_plots or max(runs // 4, 2)
    if not 2 <= plots <= runs:
        raise PlanError(
            f"{runs} runs cannot be divided into {plots} whole plots.",
            where="design, whole_plots",
            try_this=f"whole_plots = {max(runs // 4, 2)}",
        )
    sizes = [runs // plots + (at < runs % plots) for at in range(plots)]
    per_block = _plots_per_block(request, runs, plots)
    result = exchange_split(
        region.terms,
        hard=_numbered(region, hard),
        easy=_numbered(region, [name for name in region.columns if name not in hard]),
        plots=sizes,
        ratio=_ratio(request),
        criterion=request.criterion or "D",
        moments=region.moments,
        blocks=[sum(sizes[at : at + per_block]) for at in range(0, plots, per_block)] if request.block else None,
        starts=request.starts or max(starts_for(len(region.points), runs, region.terms.shape[1]) // 4, 10),
        seed=request.seed,
    )
    labels, days = numbered(plots), numbered(plots // per_block)
    groups = [
        {**({request.block: days[at // per_block]} if request.block else {}), WHOLE_PLOT: labels[at]}
        for at, size in enumerate(sizes)
        for _ in range(size)
    ]
    return result, tuple(groups)


def _plots_per_block(request: DesignRequest, runs: int, plots: int) -> int:
    """Blocks hold whole plots whole, and equally many of them."""
    if request.block is None:
        return plots
    size = request.block_size or runs
    if runs % size or runs % plots or size % (runs // plots):
        raise PlanError(
            f"Blocks of {size} runs cannot hold {plots} whole plots of {runs / plots:g} runs whole.",
            where="design, block_size",
            try_this=f"runs = {plots * max(runs // plots, 1)} and block_size = {2 * max(runs // plots, 1)}",
        )
    return size // (runs // plots)


def _numbered(region: Region, names: Sequence[str]) -> Integers:
    """(N,) for each candidate the number of its combination of these factors' settings."""
    known: dict[tuple[object, ...], int] = {}
    return np.array([known.setdefault(tuple(point[name] for name in names), len(known)) for point in region.points])


def _ratio(request: DesignRequest) -> float:
    """Variance between whole plots over that between bakes, as the first response expects it; 1 when none does."""
    for response in request.responses:
        if response.spread and response.whole_plot_spread is not None:
            return float((response.whole_plot_spread / response.spread) ** 2)
    return 1.0
