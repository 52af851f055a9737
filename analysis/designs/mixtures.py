"""Which blends are baked to learn how a response follows the shares of a whole?

Simplex lattices (Scheffé 1958, J. Royal Statistical Society B 20:344), simplex centroids (Scheffé 1963,
B 25:235) and, where bounds or constraints cut the simplex, the corners of what is left with the middles
of its edges and faces. Amounts and categories beside the shares are crossed with every blend.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations, product
from math import comb

import numpy as np

from analysis.designs.blend_region import blends_within, distinct, linear_bounds, region_points
from analysis.designs.columns import Column, Floats, products, wanted_terms
from analysis.designs.levels import Setting, factor_settings
from analysis.designs.requests import DesignRequest, ModelName
from analysis.designs.shares import ROOM, Blend, blend_of, share_at
from analysis.designs.treatments import Property, Treatments, refuse_too_many, settings_of
from analysis.errors import PlanError

MODELS: Mapping[int, ModelName] = {1: "mixture linear", 2: "mixture quadratic", 3: "mixture special cubic"}
DEGREES = {name: degree for degree, name in MODELS.items()}
USUAL_DEGREE = 2
HIGHEST_DEGREE = 10
MOST_SHARES = 9  # of a centroid, which then has 511 blends
MOST_CORNERS = 100  # of a region whose flat faces are still looked for in a search


def mixture_lattice(request: DesignRequest) -> Treatments:
    """Every blend whose shares are multiples of 1/``degree`` of what the lows leave free."""
    degree = USUAL_DEGREE if request.degree is None else request.degree
    if not 1 <= degree <= HIGHEST_DEGREE:
        raise PlanError(
            f"A lattice of degree {degree} cannot be planned.",
            where="design, degree",
            try_this="degree = 2 for bends, 3 for blends of three as well",
        )
    blend = blend_of(request)
    count = comb(len(blend.names) + degree - 1, degree)
    refuse_too_many(count * request.replicates, try_this="a lower degree, or fewer replicates")
    parts = np.array(list(_sums_to(degree, len(blend.names))), dtype=float) / degree
    told: dict[str, Property] = {"degree": degree, "blends": count}
    return _blends(_above_the_lows(parts, blend, request), blend, request, degree=degree, properties=told)


def _sums_to(total: int, terms: int) -> Iterator[tuple[int, ...]]:
    """All ways to add up to ``total``, with most in the first place first."""
    if terms == 1:
        yield (total,)
        return
    for first in range(total, -1, -1):
        for rest in _sums_to(total - first, terms - 1):
            yield (first, *rest)


def mixture_centroid(request: DesignRequest) -> Treatments:
    """Each share alone and the even blends of every two, three … of them: 2^q - 1 blends."""
    degree = USUAL_DEGREE if request.degree is None else request.degree
    if degree not in MODELS:
        raise PlanError(
            f"The model of a centroid has degree 1, 2 or 3, not {degree}.",
            where="design, degree",
            try_this="degree = 3 for blends of three",
        )
    blend = blend_of(request)
    q = len(blend.names)
    if q > MOST_SHARES:
        raise PlanError(
            f"A centroid of {q} shares has {2**q - 1} blends.",
            where="factor",
            try_this='kind = "mixture lattice", or "constrained mixture" with runs',
        )
    parts = np.zeros((2**q - 1, q))
    for row, together in zip(parts, (each for k in range(1, q + 1) for each in combinations(range(q), k)), strict=True):
        row[list(together)] = 1 / len(together)
    told: dict[str, Property] = {"blends": 2**q - 1}
    return _blends(_above_the_lows(parts, blend, request), blend, request, degree=degree, properties=told)


def _above_the_lows(parts: Floats, blend: Blend, request: DesignRequest) -> Floats:
    """Shares of the whole for ``parts`` (n, q) of what the lows leave free (pseudo-components).

    Raises PlanError where a high or a constraint cuts off a part of that simplex.
    """
    free = 1 - blend.low.sum()
    for name, low, high in zip(blend.names, blend.low, blend.high, strict=True):
        if high < low + free - ROOM and high < 1 - ROOM:
            raise PlanError(
                f'The high of "{name}" ({blend.said(high)}) cuts off a part of the blends: with the others at their '
                f"lows it could be {blend.said(low + free)}.",
                where=f"factor {name}",
                try_this='kind = "constrained mixture", or leave the high out',
            )
    return np.asarray(blend.low + free * parts)


def constrained_mixture(request: DesignRequest) -> Treatments:
    """The corners of the region that bounds and constraints leave, middles of its edges and faces, and its middle.

    With ``runs`` that many of them, each perhaps more than once, as D-optimality chooses.
    """
    blend = blend_of(request)
    model = request.model or MODELS[_degree_told(request)]
    region = blends_within(blend, linear_bounds(request, blend))
    points = region_points(region, DEGREES[model])
    told: dict[str, Property] = {"corners": len(region.corners), "blends": len(points)}
    made = _blends(points, blend, request, degree=DEGREES[model], properties=told, middle=region.middle())
    return made if request.runs is None else _best_of(made, model, request)


def _best_of(made: Treatments, model: ModelName, request: DesignRequest) -> Treatments:
    from analysis.designs.optimal import exchange

    columns = {}
    for factor in request.factors:
        doses = made.settings[factor.name]
        low, high = made.ranges.get(factor.name, (-1.0, 1.0))
        if factor.kind == "amount":
            low, high = float(doses[0]), float(doses[-1])
        columns[factor.name] = Column(name=factor.name, kind=factor.kind, settings=doses, low=low, high=high)
    at = {name: np.array([column.at(each[name]) for each in made.treatments]) for name, column in columns.items()}
    terms = np.hstack([products([at[name] for name in term.factors]) for term in wanted_terms(columns, model)])
    assert request.runs is not None
    refuse_too_many(request.runs * request.replicates, try_this="fewer runs or replicates")
    best = exchange(terms, request.runs, starts=request.starts or 200, seed=request.seed)
    chosen = tuple(made.treatments[row] for row in best.rows)
    return replace(
        made,
        treatments=chosen,
        settings=settings_of(chosen, made.settings),
        properties={**made.properties, "criterion": "D", "starts": best.starts_used},
    )


def _degree_told(request: DesignRequest) -> int:
    degree = USUAL_DEGREE if request.degree is None else request.degree
    if degree not in MODELS:
        raise PlanError(
            f"A constrained mixture is planned for a model of degree 1, 2 or 3, not {degree}.",
            where="design, degree",
            try_this="degree = 2 for bends",
        )
    return degree


def blend_points(request: DesignRequest) -> tuple[Mapping[str, float], ...]:
    """Blends worth choosing from: all corners, middles of edges and faces, the middle, and half way to each corner.

    Empty without shares. Constraints that are no linear bound on shares are left to who chooses.
    """
    if not any(factor.kind == "share" for factor in request.factors):
        return ()
    blend = blend_of(request)
    region = blends_within(blend, linear_bounds(request, blend, others_too=True))
    half_way = (region.corners + region.middle()) / 2
    degree = 3 if len(region.corners) <= MOST_CORNERS else 2
    return _settings(distinct(np.vstack([region_points(region, degree), half_way])), blend)


def _settings(points: Floats, blend: Blend) -> tuple[Mapping[str, float], ...]:
    return tuple(
        {name: share_at(float(part), blend.total) for name, part in zip(blend.names, point, strict=True)}
        for point in points
    )


def _blends(
    points: Floats,
    blend: Blend,
    request: DesignRequest,
    *,
    degree: int,
    properties: Mapping[str, Property],
    middle: Floats | None = None,
) -> Treatments:
    """Every blend, at every combination of what is changed beside the shares."""
    others = [factor for factor in request.factors if factor.kind != "share"]
    known = {factor.name: factor_settings(factor, request, default=2) for factor in others}
    crossings = [dict(zip(known, reversed(row), strict=True)) for row in product(*reversed(list(known.values())))]
    refuse_too_many(
        len(points) * len(crossings) * request.replicates,
        try_this='a lower degree, fewer levels beside the shares, or kind = "optimal"',
    )
    order = [factor.name for factor in request.factors]
    treatments = tuple(
        _in_order({**shares, **crossing}, order) for crossing in crossings for shares in _settings(points, blend)
    )
    if request.centre_points and others:
        raise PlanError(
            f'Centre points repeat the middle blend, but at which "{others[0].name}"?',
            where="design, centre_points",
            try_this="replicates = 2, or leave centre_points out",
        )
    centre = _settings(points.mean(axis=0, keepdims=True) if middle is None else middle, blend)[0]
    return Treatments(
        treatments=treatments,
        settings=settings_of(treatments, {name: known.get(name, ()) for name in order}),
        ranges=dict.fromkeys(blend.names, (0.0, blend.total)),
        centre=centre if request.centre_points else None,
        centre_points=request.centre_points or 0,
        model=MODELS[min(degree, 3)],
        properties=properties,
    )


def _in_order(treatment: Mapping[str, Setting], order: Sequence[str]) -> dict[str, Setting]:
    return {name: treatment[name] for name in order}
