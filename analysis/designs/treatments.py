"""Which treatments does a kind of design bake, each once, in standard order?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import product

from analysis.designs.fractions import Fraction, best_fraction, fraction_from
from analysis.designs.levels import Setting, factor_settings
from analysis.designs.requests import DesignFactor, DesignRequest
from analysis.errors import PlanError

MOST_TREATMENTS = 865  # as many as there are blind codes
NOT_YET = (
    "incomplete blocks",
    "latin square",
    "graeco-latin square",
    "plackett-burman",
    "definitive screening",
    "central composite",
    "box-behnken",
    "mixture lattice",
    "mixture centroid",
    "constrained mixture",
    "split-plot",
    "strip-plot",
    "optimal",
)


@dataclass(frozen=True, kw_only=True)
class Treatments:
    """Treatments in standard order (the first factor changes fastest).

    ``settings``: factor -> its settings from low to high or in level order, without centre points.
    ``signs``: for two-level designs one row of -1 and 1 per treatment, else None.
    """

    treatments: tuple[Mapping[str, Setting], ...]
    settings: Mapping[str, tuple[Setting, ...]]
    signs: tuple[tuple[int, ...], ...] | None = None
    fraction: Fraction | None = None
    centre: Mapping[str, Setting] | None = None


def make_treatments(request: DesignRequest) -> Treatments:
    """The treatments of the request's kind. Raises PlanError for a kind that is unknown or not here yet."""
    _require_sound(request)
    made = KINDS[request.kind](request)
    return made if not request.centre_points else _with_centre(made, request)


def _require_sound(request: DesignRequest) -> None:
    kind = request.kind
    if kind not in KINDS:
        offered = ", ".join(f'"{name}"' for name in KINDS)
        if kind in NOT_YET:
            raise PlanError(
                f'Not yet: "{kind}" designs cannot be laid out.', where="design", try_this=f"one of {offered}"
            )
        near = get_close_matches(kind.lower(), [*KINDS, *NOT_YET], n=1)
        raise PlanError(
            f'No design is called "{kind}".',
            where="design, kind",
            try_this=f'kind = "{near[0]}"' if near and near[0] in KINDS else f"one of {offered}",
        )
    if not request.factors:
        raise PlanError("The plan changes nothing: it has no factor.", where="factor", try_this="add a [[factor]]")
    if request.replicates < 1:
        raise PlanError("Each treatment must be baked at least once.", where="design", try_this="replicates = 2")
    names = [factor.name.casefold() for factor in request.factors]
    if len(set(names)) < len(names):
        raise PlanError("Two factors have the same name.", where="factor", try_this="a name of its own for each")
    _require_fraction_keys(request)


def _require_fraction_keys(request: DesignRequest) -> None:
    if request.kind == "fractional factorial":
        return
    for key, value in (("runs", request.runs), ("resolution", request.resolution), ("generators", request.generators)):
        if value:
            raise PlanError(
                f'"{key}" chooses a fraction, but the kind is "{request.kind}".',
                where=f"design, {key}",
                try_this=f'kind = "fractional factorial", or leave {key} out',
            )


def _dose_ladder(request: DesignRequest) -> Treatments:
    amounts = [factor for factor in request.factors if factor.kind == "amount"]
    if len(request.factors) != 1 or not amounts:
        raise PlanError(
            f"A dose ladder changes one amount; this plan changes {len(request.factors)} factor(s), "
            f"of which {len(amounts)} are amounts.",
            where="design, kind",
            try_this='kind = "full factorial" for several factors or a category',
        )
    return _all_combinations(request, default=None)


def _full_factorial(request: DesignRequest) -> Treatments:
    return _all_combinations(request, default=2)


def _complete_blocks(request: DesignRequest) -> Treatments:
    if request.block is None:
        raise PlanError(
            "Complete blocks need a name for what a block is.",
            where="design",
            try_this='block = "bake day", or kind = "completely randomised"',
        )
    return _all_combinations(request, default=2)


def _completely_randomised(request: DesignRequest) -> Treatments:
    if request.block is not None:
        raise PlanError(
            f'A completely randomised design has no blocks, but block = "{request.block}" is given.',
            where="design, block",
            try_this='kind = "complete blocks", or leave block out',
        )
    return _all_combinations(request, default=2)


def _all_combinations(request: DesignRequest, *, default: int | None) -> Treatments:
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


def _fractional_factorial(request: DesignRequest) -> Treatments:
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


def _with_centre(made: Treatments, request: DesignRequest) -> Treatments:
    """Centre points: every amount half way, to see curvature and the spread between bakes."""
    if made.signs is None or any(factor.kind != "amount" for factor in request.factors):
        raise PlanError(
            "Centre points need two levels of every factor, and amounts only: a category has no middle.",
            where="design, centre_points",
            try_this="leave centre_points out, or give the amounts three levels",
        )
    middle = {name: float(f"{(doses[0] + doses[1]) / 2:.12g}") for name, doses in made.settings.items()}  # type: ignore[operator]
    return Treatments(
        treatments=made.treatments,
        settings=made.settings,
        signs=made.signs,
        fraction=made.fraction,
        centre=middle,
    )


KINDS: Mapping[str, Callable[[DesignRequest], Treatments]] = {
    "dose ladder": _dose_ladder,
    "full factorial": _full_factorial,
    "fractional factorial": _fractional_factorial,
    "complete blocks": _complete_blocks,
    "completely randomised": _completely_randomised,
}
