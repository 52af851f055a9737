"""Which combinations of levels does a factorial bake: all of them, or a regular fraction?"""

from __future__ import annotations

from dataclasses import replace
from itertools import product

from analysis.designs.fractions import Fraction, best_fraction, fraction_from
from analysis.designs.levels import factor_settings
from analysis.designs.requests import DesignFactor, DesignRequest
from analysis.designs.treatments import MOST_TREATMENTS, Treatments
from analysis.errors import PlanError


def dose_ladder(request: DesignRequest) -> Treatments:
    amounts = [factor for factor in request.factors if factor.kind == "amount"]
    if len(request.factors) != 1 or not amounts:
        raise PlanError(
            f"A dose ladder changes one amount; this plan changes {len(request.factors)} factor(s), "
            f"of which {len(amounts)} are amounts.",
            where="design, kind",
            try_this='kind = "full factorial" for several factors or a category',
        )
    return replace(all_combinations(request, default=None), model="quadratic")


def full_factorial(request: DesignRequest) -> Treatments:
    return all_combinations(request, default=2)


def complete_blocks(request: DesignRequest) -> Treatments:
    if request.block is None:
        raise PlanError(
            "Complete blocks need a name for what a block is.",
            where="design",
            try_this='block = "bake day", or kind = "completely randomised"',
        )
    return all_combinations(request, default=2)


def completely_randomised(request: DesignRequest) -> Treatments:
    if request.block is not None:
        raise PlanError(
            f'A completely randomised design has no blocks, but block = "{request.block}" is given.',
            where="design, block",
            try_this='kind = "complete blocks", or leave block out',
        )
    return all_combinations(request, default=2)


def all_combinations(request: DesignRequest, *, default: int | None) -> Treatments:
    settings = {factor.name: factor_settings(factor, request, default=default) for factor in request.factors}
    count = 1
    for doses in settings.values():
        count *= len(doses)
    if count * request.replicates > MOST_TREATMENTS:
        raise PlanError(
            f"All combinations, {request.replicates} time(s), make {count * request.replicates} runs; "
            f"a trial holds at most {MOST_TREATMENTS}.",
            where="design",
            try_this='fewer levels or replicates, or kind = "fractional factorial" with two levels',
        )
    # product() changes its last argument fastest; standard order changes the first.
    backwards = product(*reversed(list(settings.values())))
    treatments = tuple(dict(zip(settings, reversed(row), strict=True)) for row in backwards)
    signs = None
    if all(len(doses) == 2 for doses in settings.values()):
        signs = tuple(
            tuple(1 if run >> place & 1 else -1 for place in range(len(settings))) for run in range(len(treatments))
        )
    return Treatments(treatments=treatments, settings=settings, signs=signs)


def fractional_factorial(request: DesignRequest) -> Treatments:
    for factor in request.factors:
        _require_two_levels(factor, request)
    settings = {factor.name: factor_settings(factor, request, default=2) for factor in request.factors}
    count = len(request.factors)
    if request.generators:
        fraction = fraction_from(count, request.generators)
        _require_agreement(fraction, request)
    else:
        fraction = best_fraction(count, runs=request.runs, resolution=request.resolution)
    signs = tuple(fraction.signs())
    treatments = tuple(
        {name: doses[(sign + 1) // 2] for (name, doses), sign in zip(settings.items(), row, strict=True)}
        for row in signs
    )
    return Treatments(treatments=treatments, settings=settings, signs=signs, fraction=fraction)


def _require_two_levels(factor: DesignFactor, request: DesignRequest) -> None:
    count = (
        len(factor.levels)
        if factor.kind == "category"
        else len(factor.values) or factor.n_levels or request.levels or 2
    )
    if count != 2:
        raise PlanError(
            f'A fractional factorial has two levels of each factor; "{factor.name}" has {count}.',
            where=f"factor {factor.name}",
            try_this='two levels, or kind = "full factorial"',
        )


def _require_agreement(fraction: Fraction, request: DesignRequest) -> None:
    if request.runs not in (None, fraction.runs) or (request.resolution or 0) > fraction.resolution:
        raise PlanError(
            f"The generators make {fraction.runs} runs of resolution {fraction.resolution}, not what the design asks.",
            where="design, generators",
            try_this="leave out the generators, or runs and resolution",
        )


def with_centre(made: Treatments, request: DesignRequest) -> Treatments:
    """Centre points: every amount half way, to see curvature and the spread between bakes."""
    if not request.centre_points:
        return made
    if made.signs is None or any(factor.kind != "amount" for factor in request.factors):
        raise PlanError(
            "Centre points need two levels of every factor, and amounts only: a category has no middle.",
            where="design, centre_points",
            try_this="leave centre_points out, or give the amounts three levels",
        )
    middle = {name: float(f"{(doses[0] + doses[1]) / 2:.12g}") for name, doses in made.settings.items()}  # type: ignore[operator]
    return replace(made, centre=middle, centre_points=request.centre_points)
