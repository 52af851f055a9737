"""Which few of many factors matter: how are they all tried in hardly more bakes than factors?

Plackett-Burman designs have two levels of each factor (Plackett & Burman 1946, Biometrika 33:305);
definitive screening designs three, so that a bend shows as well (Jones & Nachtsheim 2011, J. Quality
Technology 43:1), built from conference matrices (Xiao, Lin & Bai 2012, J. Quality Technology 44:2).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np

from analysis.designs.columns import Floats
from analysis.designs.conference import LARGEST_ORDER, conference_matrix
from analysis.designs.doses import amounts_between, dose_at, low_and_high
from analysis.designs.levels import Setting, factor_settings
from analysis.designs.requests import DesignFactor, DesignRequest
from analysis.designs.treatments import Treatments
from analysis.errors import PlanError

# Plackett & Burman 1946: the first row; the others are its cyclic shifts, and a row of -1.
# Their 28 runs are not cyclic and are left out.
GENERATING_ROWS: Mapping[int, str] = {
    8: "+++-+--",
    12: "++-+++---+-",
    16: "++++-+-++--+---",
    20: "++--++++-+-+----++-",
    24: "+++++-+-++--++--+-+----",
    36: "-+-+++---+++++-+++--+----+-+-++--+-",
}
WANTED_DF = 3
FEWEST_FACTORS = 3


def plackett_burman(request: DesignRequest) -> Treatments:
    """``runs`` of the published sizes, else the smallest that leaves three error degrees of freedom, where one does.

    Factors take the columns in their order.
    """
    _require_factors(request, most=max(GENERATING_ROWS) - 1, instead='kind = "full factorial"')
    settings = {factor.name: _two_levels(factor, request) for factor in request.factors}
    runs = _size(request, len(settings))
    signs = plackett_burman_signs(runs)[:, : len(settings)]
    treatments = tuple(
        {name: pair[int(sign > 0)] for (name, pair), sign in zip(settings.items(), row, strict=True)} for row in signs
    )
    return Treatments(
        treatments=treatments,
        settings=settings,
        centre=_middle(request) if request.centre_points else None,
        centre_points=request.centre_points or 0,
        model="main effects",
        # In 8 and 16 runs products of columns are columns again, as in a regular fraction.
        properties={"most_factors": runs - 1, "regular": runs & (runs - 1) == 0},
    )


def plackett_burman_signs(runs: int) -> Floats:
    """(runs, runs - 1) of -1 and 1."""
    row = [1.0 if sign == "+" else -1.0 for sign in GENERATING_ROWS[runs]]
    return np.array([np.roll(row, shift) for shift in range(runs - 1)] + [[-1.0] * (runs - 1)])


def _size(request: DesignRequest, factors: int) -> int:
    holding = [runs for runs in GENERATING_ROWS if runs > factors]
    if request.runs is None:
        return next((runs for runs in holding if runs - 1 - factors >= WANTED_DF), holding[0])
    if request.runs not in holding:
        raise PlanError(
            f"No Plackett-Burman design of {request.runs} runs holds {factors} factors.",
            where="design, runs",
            try_this=f"runs = {_or(holding)} (centre points and replicates come on top)",
        )
    return request.runs


def _two_levels(factor: DesignFactor, request: DesignRequest) -> tuple[Setting, ...]:
    if factor.kind == "amount":
        return low_and_high(factor, kind=request.kind)
    levels = factor_settings(factor, request)
    if len(levels) != 2:
        raise PlanError(
            f'A Plackett-Burman design has two levels of each factor; "{factor.name}" has {len(levels)}.',
            where=f"factor {factor.name}",
            try_this='its two most different levels, or kind = "optimal"',
        )
    return levels


def _middle(request: DesignRequest) -> dict[str, Setting]:
    between = amounts_between(
        request, why="it has no middle for centre points", instead="leave centre_points out, or replicates = 2"
    )
    return {name: dose_at(0.0, low, high) for name, (low, high) in between.items()}


def definitive_screening(request: DesignRequest) -> Treatments:
    """Mirrored pairs of runs, in each of which one factor stays in the middle, and a run with all in the middle.

    A conference matrix C of even order m gives the runs C, -C and 0: 2 m + 1 for up to m factors.
    With more ``runs`` than needed the matrix is larger, and its idle columns judge the error.
    """
    between = amounts_between(
        request,
        why="definitive screening needs a middle of every factor",
        instead='kind = "plackett-burman" or "fractional factorial" for two levels, or kind = "optimal"',
    )
    _require_factors(request, most=LARGEST_ORDER, instead='kind = "central composite", or "full factorial"')
    centres = request.replicates if request.centre_points is None else request.centre_points
    if centres < 1:
        raise PlanError(
            "Without a run in the middle a definitive screening cannot tell bends from the mean.",
            where="design, centre_points",
            try_this="centre_points = 1, or leave it out",
        )
    matrix = conference_matrix(_order(request, len(between), centres))[:, : len(between)]
    coded = np.vstack([matrix, -matrix])
    return Treatments(
        treatments=tuple(
            {name: dose_at(value, *ends) for (name, ends), value in zip(between.items(), row, strict=True)}
            for row in coded
        ),
        settings={name: (low, dose_at(0.0, low, high), high) for name, (low, high) in between.items()},
        centre={name: dose_at(0.0, low, high) for name, (low, high) in between.items()},
        centre_points=centres,
        model="main effects",
        properties={"conference_order": len(coded) // 2, **second_order_correlations(coded, centres)},
    )


def _order(request: DesignRequest, factors: int, centres: int) -> int:
    """The order of the conference matrix: the smallest even one, or the one that gives ``runs``."""
    orders = range(max(4, factors + factors % 2), LARGEST_ORDER + 1, 2)
    if request.runs is None:
        return orders[0]
    each = centres // request.replicates
    sizes = {2 * order + each: order for order in orders}
    if request.runs not in sizes:
        raise PlanError(
            f"No definitive screening of {factors} factors has {request.runs} runs with {each} centre point(s).",
            where="design, runs",
            try_this=f"runs = {_or(list(sizes)[:5])}",
        )
    return sizes[request.runs]


def second_order_correlations(coded: Floats, centres: int) -> dict[str, float]:
    """Largest absolute correlations among pairs and bends, and of main effects with either.

    ``coded`` (n, m) without the centre points, which are added ``centres`` times.
    """
    runs = np.vstack([coded, np.zeros((centres, coded.shape[1]))])
    factors = range(runs.shape[1])
    pairs = np.column_stack([runs[:, a] * runs[:, b] for a, b in combinations(factors, 2)])
    found = {
        "main_with_second_order": _largest(runs, np.hstack([pairs, runs**2])),
        "bend_with_bend": _largest(runs**2, runs**2),
        "pair_with_bend": _largest(pairs, runs**2),
        "pair_with_pair": _largest(pairs, pairs),
    }
    return {name: round(value, 12) for name, value in found.items()}


def _largest(one: Floats, other: Floats) -> float:
    """Largest absolute correlation between different columns of two sets."""
    a, b = (part - part.mean(axis=0) for part in (one, other))
    table = np.abs(a.T @ b) / np.outer(np.linalg.norm(a, axis=0), np.linalg.norm(b, axis=0))
    if one.shape == other.shape and np.array_equal(one, other):
        np.fill_diagonal(table, 0.0)
    return float(table.max(initial=0.0))


def _require_factors(request: DesignRequest, *, most: int, instead: str) -> None:
    count = len(request.factors)
    if count < FEWEST_FACTORS:
        raise PlanError(
            f"Screening is for many factors; this plan has {count}.",
            where="factor",
            try_this=f"{FEWEST_FACTORS} factors or more, or {instead}",
        )
    if count > most:
        raise PlanError(
            f'A "{request.kind}" design holds at most {most} factors; this plan has {count}.',
            where="factor",
            try_this="leave out what matters least, or screen in two trials",
        )


def _or(sizes: Sequence[int]) -> str:
    return " or ".join(str(size) for size in sizes)
