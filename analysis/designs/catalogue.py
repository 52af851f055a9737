"""Which kinds of design are there, and what does each need to be told?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches

from analysis.designs.arrangement import OVEN_LOAD, OVEN_PLACE, WHOLE_PLOT, Arrangement, in_blocks, in_own_groups
from analysis.designs.best import best_design
from analysis.designs.composite import central_composite
from analysis.designs.factorials import (
    complete_blocks,
    completely_randomised,
    dose_ladder,
    fractional_factorial,
    full_factorial,
    with_centre,
)
from analysis.designs.incomplete import in_incomplete_blocks, incomplete_blocks
from analysis.designs.mixtures import constrained_mixture, mixture_centroid, mixture_lattice
from analysis.designs.plots import in_strips, in_whole_plots, split_plot, strip_plot
from analysis.designs.requests import MIXTURE_MODELS, DesignRequest
from analysis.designs.screening import definitive_screening, plackett_burman
from analysis.designs.squares import graeco_latin_square, in_square, latin_square
from analysis.designs.surfaces import box_behnken, doehlert, in_stages
from analysis.designs.treatments import Treatments
from analysis.errors import PlanError


@dataclass(frozen=True, kw_only=True)
class Kind:
    """How a kind makes its treatments and arranges its runs.

    ``keys`` are the keys of the design, beyond those every kind has, that it reads; ``shares``
    tells that it takes shares of a whole. ``about`` says in a line what it is for.
    """

    make: Callable[[DesignRequest], Treatments]
    about: str
    arrange: Callable[[Treatments, DesignRequest], Arrangement] = in_blocks
    keys: frozenset[str] = frozenset()
    shares: bool = False


BLOCKED = frozenset({"block", "block_size"})
LEVELLED = BLOCKED | {"levels"}
# Keys that only some kinds read; a key that a kind would overlook is refused.
SPECIAL = (
    "block",
    "block_size",
    "levels",
    "runs",
    "resolution",
    "generators",
    "centre_points",
    "axial",
    "inside",
    "rows",
    "columns",
    "whole_plots",
    "criterion",
    "degree",
    "starts",
    "constraints",
)

KINDS: Mapping[str, Kind] = {
    "dose ladder": Kind(
        make=dose_ladder, keys=LEVELLED, about="one amount at several doses, to see how the response follows it"
    ),
    "full factorial": Kind(
        make=lambda request: with_centre(full_factorial(request), request),
        keys=LEVELLED | {"centre_points"},
        about="every combination of all levels",
    ),
    "fractional factorial": Kind(
        make=lambda request: with_centre(fractional_factorial(request), request),
        keys=LEVELLED | {"centre_points", "runs", "resolution", "generators"},
        about="a chosen part of all combinations of two levels",
    ),
    "complete blocks": Kind(
        make=complete_blocks, keys=LEVELLED, about="every treatment once in each block, such as a bake day"
    ),
    "completely randomised": Kind(
        make=completely_randomised, keys=LEVELLED, about="every treatment a few times, in one random order"
    ),
    "plackett-burman": Kind(
        make=plackett_burman,
        keys=BLOCKED | {"runs", "centre_points"},
        about="two levels of many factors in hardly more bakes than factors, to find the few that matter",
    ),
    "definitive screening": Kind(
        make=definitive_screening,
        keys=BLOCKED | {"runs", "centre_points"},
        about="three doses of many amounts in two bakes for each, to find those that matter and those that bend",
    ),
    "central composite": Kind(
        make=central_composite,
        arrange=in_stages,
        keys=BLOCKED | {"axial", "inside", "centre_points", "resolution"},
        about="corners, points further out on each axis and repeats of the middle, to find the best doses",
    ),
    "box-behnken": Kind(
        make=box_behnken,
        arrange=in_stages,
        keys=BLOCKED | {"centre_points"},
        about="three doses of three to seven amounts and never all at their extremes, to find the best doses",
    ),
    "doehlert": Kind(
        make=doehlert,
        arrange=in_stages,
        keys=BLOCKED | {"centre_points"},
        about="few bakes spread evenly around a middle, with more doses of the amounts named first",
    ),
    "mixture lattice": Kind(
        make=mixture_lattice,
        keys=LEVELLED | {"degree", "centre_points"},
        shares=True,
        about="blends of a whole at even steps, pure ones included, to see how shares work together",
    ),
    "mixture centroid": Kind(
        make=mixture_centroid,
        keys=LEVELLED | {"degree", "centre_points"},
        shares=True,
        about="each share alone and the even blends of every two, three and more",
    ),
    "constrained mixture": Kind(
        make=constrained_mixture,
        keys=LEVELLED | {"degree", "centre_points", "constraints", "runs", "starts"},
        shares=True,
        about="the extreme blends that lows, highs and constraints leave, and middles between them",
    ),
    "incomplete blocks": Kind(
        make=incomplete_blocks,
        arrange=in_incomplete_blocks,
        keys=LEVELLED,
        about="a part of the treatments in each block, so that every two meet equally often",
    ),
    "latin square": Kind(
        make=latin_square,
        arrange=in_square,
        keys=frozenset({"levels", "rows", "columns"}),
        about="every treatment once in each row and column, such as oven shelf and turn of the day",
    ),
    "graeco-latin square": Kind(
        make=graeco_latin_square,
        arrange=in_square,
        keys=frozenset({"levels", "rows", "columns"}),
        about="two factors in one square, each once in every row and column",
    ),
    "split-plot": Kind(
        make=split_plot,
        arrange=in_whole_plots,
        keys=LEVELLED | {"whole_plots"},
        about="what is hard to change is set once for several bakes, the rest for each",
    ),
    "strip-plot": Kind(
        make=strip_plot,
        arrange=in_strips,
        keys=LEVELLED | {"rows", "columns"},
        about="one thing is set for whole rows of bakes and another for whole columns",
    ),
    "optimal": Kind(
        make=best_design,
        arrange=in_own_groups,
        keys=LEVELLED | {"runs", "criterion", "starts", "constraints", "whole_plots"},
        shares=True,
        about="the bakes that tell most, chosen where limits or odd numbers leave no design of the books",
    ),
}


def kind_of(request: DesignRequest) -> Kind:
    """The kind of a request, checked. Raises PlanError for an unknown kind, no factor, a key it does not read."""
    kind = KINDS.get(request.kind)
    if kind is None:
        near = get_close_matches(request.kind.lower(), list(KINDS), n=1)
        raise PlanError(
            f'No design is called "{request.kind}".',
            where="design, kind",
            try_this=f'kind = "{near[0]}"' if near else f"one of {', '.join(KINDS)}",
        )
    _require_sound(request)
    _require_keys(request, kind)
    _require_own_groups(request)
    _require_shares(request, kind)
    return kind


def _require_sound(request: DesignRequest) -> None:
    if not request.factors:
        raise PlanError("The plan changes nothing: it has no factor.", where="factor", try_this="add a [[factor]]")
    if request.replicates < 1:
        raise PlanError("Each treatment must be baked at least once.", where="design", try_this="replicates = 2")
    names = [factor.name.casefold() for factor in request.factors]
    if len(set(names)) < len(names):
        raise PlanError("Two factors have the same name.", where="factor", try_this="a name of its own for each")
    if request.oven_holds is not None and request.oven_holds < 1:
        raise PlanError("An oven load holds at least one bake.", where="design, oven_holds", try_this="oven_holds = 4")


def _require_keys(request: DesignRequest, kind: Kind) -> None:
    for key in SPECIAL:
        if key in kind.keys or not getattr(request, key):
            continue
        readers = [name for name, other in KINDS.items() if key in other.keys]
        shown = "[[constraint]]" if key == "constraints" else key
        raise PlanError(
            f'A "{request.kind}" design does not use {shown}.',
            where=f"design, {key}",
            try_this=f"leave {shown} out" + (f", or kind = {_or(readers)}" if readers else ""),
        )
    mixed = any(factor.kind == "share" for factor in request.factors)
    if request.model is not None and (request.model in MIXTURE_MODELS) != mixed:
        raise PlanError(
            f'The model "{request.model}" is {"not one" if mixed else "one"} for shares of a whole.',
            where="design, model",
            try_this='model = "mixture quadratic"' if mixed else 'model = "interactions"',
        )


def _require_own_groups(request: DesignRequest) -> None:
    """A bake's block, row, column, whole plot and place in the oven are told apart by their names."""
    oven = {OVEN_LOAD, OVEN_PLACE} if request.oven_holds is not None else set()
    taken = {WHOLE_PLOT, *oven}
    for key in ("block", "rows", "columns"):
        name = getattr(request, key)
        if name is None:
            continue
        if name.casefold() in taken:
            raise PlanError(
                f'"{name}" would name two things about where a bake stands.',
                where=f"design, {key}",
                try_this=f"another name for {key}" + (", or leave oven_holds out" if name.casefold() in oven else ""),
            )
        taken.add(name.casefold())


def _require_shares(request: DesignRequest, kind: Kind) -> None:
    shares = [factor.name for factor in request.factors if factor.kind == "share"]
    if shares and not kind.shares:
        takers = [name for name, other in KINDS.items() if other.shares]
        raise PlanError(
            f'"{shares[0]}" is a share of a whole: when it goes up, others go down, and a '
            f'"{request.kind}" would change each by itself.',
            where=f"factor {shares[0]}",
            try_this=f"kind = {_or(takers)}",
        )


def _or(names: list[str]) -> str:
    return " or ".join(f'"{name}"' for name in names)


def make_treatments(request: DesignRequest) -> Treatments:
    """The treatments of the request's kind. Raises PlanError for what cannot be made."""
    return kind_of(request).make(request)
