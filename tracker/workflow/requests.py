"""What does a plan file ask of a design, in the plain values that lay it out?"""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING

from tracker.errors import InputError
from tracker.intake.plan_file import PlanFile
from tracker.intake.plan_shares import whole_of
from tracker.intake.plan_tables import LARGEST_SEED, FactorTable

if TYPE_CHECKING:
    from analysis.designs.requests import DesignFactor, DesignRequest, DesignResponse


def design_request(read: PlanFile, seed: int | None) -> DesignRequest:
    """The plan file's design in plain values; a seed is drawn when none is given."""
    from analysis.designs.requests import DesignRequest

    table = read.design
    refuse_seed(seed)
    chosen = seed if seed is not None else table.seed
    return DesignRequest(
        kind=table.kind,
        factors=tuple(design_factor(factor) for factor in read.factors),
        seed=secrets.randbelow(LARGEST_SEED) if chosen is None else chosen,
        responses=design_responses(read),
        levels=table.levels,
        replicates=table.replicates,
        block=table.block,
        block_size=table.block_size,
        runs=table.runs,
        resolution=table.resolution,
        generators=tuple(table.generators),
        centre_points=table.centre_points,
        accept_few_df=table.accept_few_df,
        model=table.model,
        axial=table.axial,
        inside=table.inside,
        rows=table.rows,
        columns=table.columns,
        whole_plots=table.whole_plots,
        criterion=table.criterion,
        degree=table.degree,
        starts=table.starts,
        constraints=read.constraints,
        oven_holds=table.oven_holds,
    )


def refuse_seed(seed: int | None) -> None:
    """Raises InputError for a seed that no plan can keep."""
    if seed is not None and not 0 <= seed <= LARGEST_SEED:
        raise InputError(f"The seed {seed} is out of range.", where="--seed", try_this=f"0 to {LARGEST_SEED}")


def design_responses(read: PlanFile) -> tuple[DesignResponse, ...]:
    """The responses of a plan file in the words of a design."""
    from analysis.designs.requests import DesignResponse

    return tuple(
        DesignResponse(
            name=each.name,
            unit=each.unit,
            spread=each.spread,
            matters=each.matters,
            whole_plot_spread=each.whole_plot_spread,
        )
        for each in read.responses
    )


def design_factor(factor: FactorTable) -> DesignFactor:
    """A factor of a plan file in the words of a design."""
    from analysis.designs.requests import DesignFactor

    return DesignFactor(
        name=factor.name,
        kind=factor.kind,
        unit=factor.unit,
        low=factor.low,
        high=factor.high,
        values=tuple(factor.values or ()),
        n_levels=factor.levels if isinstance(factor.levels, int) else None,
        spacing=factor.spacing,
        levels=tuple(factor.level_names),
        hard_to_change=factor.hard_to_change,
        of=factor.of or "",
        total=whole_of(factor) if factor.kind == "share" else None,
        weighed=factor.ingredient is not None,
    )
