"""At which doses is a response baked to find its bends, and so the doses at which it is best?

Box-Behnken (Box & Behnken 1960, Technometrics 2:455), Doehlert's uniform shell (Doehlert 1970,
Applied Statistics 19:231) and what they share with the central composite of ``composite.py``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise, product

import numpy as np

from analysis.designs.arrangement import Arrangement, in_blocks, nested
from analysis.designs.blocks import CENTRE
from analysis.designs.columns import Floats
from analysis.designs.doses import amounts_between, dose_at
from analysis.designs.requests import DesignRequest
from analysis.designs.treatments import Property, Treatments, settings_of
from analysis.errors import PlanError

EQUAL = 1e-9
USUAL_CENTRES = 3  # "approximately 3 to 5 centerpoints", NIST/SEMATECH e-Handbook 5.3.3.7
Groups = tuple[Mapping[str, str], ...]

# Box & Behnken 1960, table 4: the factors that leave the middle together, counted from 0, and the centre
# points of the design; each text is an orthogonal block.
BOX_BEHNKEN: Mapping[int, tuple[tuple[str, ...], int]] = {
    3: (("01 02 12",), 3),
    4: (("01 23", "02 13", "03 12"), 3),
    5: (("01 23 14 02 34", "12 03 24 13 04"), 6),
    6: (("013 124 235 034 145 025",), 6),
    7: (("345 056 146 013 236 024 125",), 6),
}


def range_of(request: DesignRequest, *, fewest: int, most: int) -> dict[str, tuple[float, float]]:
    """Amount -> (low, high). Raises PlanError for categories and for too few or too many amounts."""
    between = amounts_between(
        request,
        why=f'a "{request.kind}" design needs doses between low and high of every factor',
        instead='kind = "optimal", which mixes amounts and categories',
    )
    if not fewest <= len(between) <= most:
        few = len(between) < fewest
        raise PlanError(
            f'A "{request.kind}" design takes {fewest} to {most} amounts; this plan has {len(between)}.',
            where="factor",
            try_this=('kind = "dose ladder"' if len(between) == 1 else 'kind = "central composite"')
            if few
            else 'first a kind = "plackett-burman" or "definitive screening", or kind = "optimal"',
        )
    return between


def surface(
    coded: Floats,
    between: Mapping[str, tuple[float, float]],
    request: DesignRequest,
    *,
    centres: int,
    corner: float = 1.0,
    properties: Mapping[str, Property],
    groups: Groups | None = None,
) -> Treatments:
    """Treatments at coded settings (n, k), with ``centres`` centre points in each replicate.

    A coded 1 lies ``corner`` of the way from the middle to high. Raises PlanError for a dose
    below nothing of what is weighed.
    """
    treatments = tuple(
        {name: dose_at(float(value) * corner, *ends) for (name, ends), value in zip(between.items(), row, strict=True)}
        for row in coded
    )
    _require_weighable(treatments, request)
    middle = {name: dose_at(0.0, *ends) for name, ends in between.items()}
    runs = np.vstack([coded, np.zeros((centres, coded.shape[1]))])
    _require_bends(runs, request)
    return Treatments(
        treatments=treatments,
        settings=settings_of((*treatments, middle), dict.fromkeys(between, ())),
        ranges={name: (dose_at(-corner, *ends), dose_at(corner, *ends)) for name, ends in between.items()},
        centre=middle,
        centre_points=centres * request.replicates,
        model="quadratic",
        properties={**properties, "rotatable": is_rotatable(runs), "orthogonal": bends_are_orthogonal(runs)},
        groups=groups,
    )


def centres_of(request: DesignRequest, usual: int) -> int:
    """Centre points of one replicate. Raises PlanError when those told cannot be shared out evenly."""
    if request.centre_points is None:
        return usual
    if request.centre_points % request.replicates:
        raise PlanError(
            f"{request.centre_points} centre points do not share out over {request.replicates} replicates.",
            where="design, centre_points",
            try_this=f"centre_points = {request.replicates * max(1, request.centre_points // request.replicates)}",
        )
    return request.centre_points // request.replicates


def _require_weighable(treatments: Sequence[Mapping[str, float]], request: DesignRequest) -> None:
    for factor in request.factors:
        lowest = min(treatment[factor.name] for treatment in treatments)
        if factor.weighed and lowest < 0:
            beyond = factor.low is None or factor.low >= 0
            raise PlanError(
                f'The design would ask for {lowest:.4g} {factor.unit} of "{factor.name}", below nothing.',
                where=f"factor {factor.name}",
                try_this=('axial = "face" or inside = true, which stay between low and high, or ' if beyond else "")
                + "a higher low",
            )


def second_order(runs: Floats) -> Floats:
    """(n, p): the columns of amounts, bends and pairs."""
    k = runs.shape[1]
    return np.column_stack([runs, *(runs[:, a] * runs[:, b] for a in range(k) for b in range(a, k))])


def _require_bends(runs: Floats, request: DesignRequest) -> None:
    terms = np.column_stack([np.ones(len(runs)), second_order(runs)])
    if np.linalg.matrix_rank(terms) < terms.shape[1]:
        raise PlanError(
            f'Without centre points this "{request.kind}" design cannot tell the mean from the bends: '
            "all its runs lie equally far from the middle.",
            where="design, centre_points",
            try_this="centre_points = 3, or leave it out",
        )


def is_rotatable(runs: Floats) -> bool:
    """Is a prediction as sure in every direction from the middle?

    Second moments m I, fourth moments proportional to d_ij d_kl + d_ik d_jl + d_il d_jk, odd ones 0
    (Box & Hunter 1957, Ann. Math. Stat. 28:195).
    """
    n, k = runs.shape
    one = np.eye(k)
    pairs = np.einsum("ni,nj->nij", runs, runs).reshape(n, k * k)
    second, third, fourth = runs.T @ runs, runs.T @ pairs, (pairs.T @ pairs).reshape(k, k, k, k)
    alike = sum(np.einsum(f"{a},{b}->ijkl", one, one) for a, b in (("ij", "kl"), ("ik", "jl"), ("il", "jk")))
    return bool(
        np.abs(second - second[0, 0] * one).max() < EQUAL * n
        and np.abs(third).max() < EQUAL * n
        and np.abs(fourth - fourth[0, 0, 0, 0] / 3 * alike).max() < EQUAL * n
    )


def bends_are_orthogonal(runs: Floats) -> bool:
    """Are the estimates of different amounts' bends independent?"""
    squares = runs**2 - (runs**2).mean(axis=0)
    gram = squares.T @ squares
    return bool(np.abs(gram - np.diag(np.diag(gram))).max() < EQUAL * max(1.0, np.diag(gram).max()))


def blocks_are_orthogonal(runs: Floats, labels: Sequence[str]) -> bool:
    """Do no terms of a quadratic model differ between blocks on average (Box & Hunter 1957)?"""
    terms = second_order(runs)
    of = np.array(labels)
    means = [terms[of == label].mean(axis=0) for label in dict.fromkeys(labels)]
    return bool(np.abs(np.array(means) - terms.mean(axis=0)).max() < EQUAL)


def in_stages(made: Treatments, request: DesignRequest) -> Arrangement:
    """The blocks that the design itself falls into, each set of them once for each replicate; else whole sets.

    ``made.groups`` go on past the treatments with the groups of the centre points.
    """
    if made.groups is None:
        return in_blocks(made, replace(request, block_size=None))
    assert request.block is not None
    contents: dict[str, list[int]] = {}
    for at, each in enumerate(made.groups):
        contents.setdefault(each[request.block], []).append(at if at < len(made.treatments) else CENTRE)
    stages = [[members] for members in contents.values()] * request.replicates
    return nested(stages, request, block=request.block, plot=None)


def in_groups(request: DesignRequest, members: Sequence[Sequence[int]], centres: Sequence[int]) -> Groups:
    """Groups of treatments in ``members`` of each block, then those of ``centres`` centre points of each block."""
    assert request.block is not None
    of = {at: str(number) for number, block in enumerate(members, start=1) for at in block}
    middle = [str(number) for number, count in enumerate(centres, start=1) for _ in range(count)]
    return tuple({request.block: label} for label in [*(of[at] for at in sorted(of)), *middle])


def box_behnken(request: DesignRequest) -> Treatments:
    """No run with all amounts at their extremes: two or three leave the middle at a time.

    With ``block`` it falls into its orthogonal blocks, where there are any, unless ``block_size`` holds it whole.
    """
    between = range_of(request, fewest=min(BOX_BEHNKEN), most=max(BOX_BEHNKEN))
    parts, usual = BOX_BEHNKEN[len(between)]
    coded = np.array([row for part in parts for row in _rows(part, len(between))])
    centres = centres_of(request, usual)
    members = _box_behnken_blocks(coded, parts)
    if request.block is None or (request.block_size or 0) >= len(coded) + centres:
        return surface(coded, between, request, centres=centres, properties={})
    if len(members) == 1 and request.block_size is None:
        return surface(coded, between, request, centres=centres, properties={})
    _require_parts(request, members, centres, whole=len(coded) + centres)
    groups = in_groups(request, members, [centres // len(members)] * len(members))
    runs = np.vstack([coded, np.zeros((centres, coded.shape[1]))])
    orthogonal = blocks_are_orthogonal(runs, [group[str(request.block)] for group in groups])
    return surface(
        coded, between, request, centres=centres, properties={"orthogonal_blocks": orthogonal}, groups=groups
    )


def _rows(part: str, factors: int) -> list[list[float]]:
    """All signs of each chosen set of amounts, the others in the middle; the first sign changes fastest."""
    rows = []
    for chosen in part.split():
        for signs in product((-1.0, 1.0), repeat=len(chosen)):
            row = [0.0] * factors
            for place, sign in zip(chosen, reversed(signs), strict=True):
                row[int(place)] = sign
            rows.append(row)
    return rows


def _box_behnken_blocks(coded: Floats, parts: Sequence[str]) -> list[list[int]]:
    """Places of the rows in each orthogonal block: as the table parts them, triples by the product of their signs."""
    if len(parts) == 1 and coded.shape[1] > 3:
        side = np.where(coded == 0, 1.0, coded).prod(axis=1)
        return [[int(at) for at in np.flatnonzero(side == half)] for half in (-1.0, 1.0)]
    bounds = np.cumsum([0, *(len(_rows(part, coded.shape[1])) for part in parts)])
    return [list(range(begin, end)) for begin, end in pairwise(bounds.tolist())]


def _require_parts(request: DesignRequest, members: Sequence[Sequence[int]], centres: int, *, whole: int) -> None:
    count = len(members)
    size = len(members[0]) + -(-centres // count)
    if count > 1 and centres % count:
        raise PlanError(
            f"The {count} blocks of this Box-Behnken design cannot share {centres} centre points evenly.",
            where="design, centre_points",
            try_this=f"centre_points = {count * request.replicates}, or block_size = {whole} for whole designs",
        )
    if count == 1 or size > (request.block_size or size):
        parts = f"its {count} orthogonal blocks hold {size} runs each" if count > 1 else "it has no orthogonal parts"
        raise PlanError(
            f"A block of {request.block_size} does not hold this Box-Behnken design of {whole} runs; {parts}.",
            where="design, block_size",
            try_this=f'block_size = {size if count > 1 else whole}, or kind = "central composite"',
        )


def doehlert(request: DesignRequest) -> Treatments:
    """k^2 + k + 1 settings spread evenly: a centre and all differences of two corners of a regular simplex.

    The first amount has five doses, the last three, those between seven: put first what bends most.
    low and high are the outermost doses of each amount.
    """
    between = range_of(request, fewest=2, most=6)
    shell = doehlert_shell(len(between))
    centres = centres_of(request, USUAL_CENTRES)
    made = surface(shell / np.abs(shell).max(axis=0), between, request, centres=centres, properties={})
    doses = [str(len(np.unique(np.round(column, 9)))) for column in np.vstack([shell, 0 * shell[:1]]).T]
    # Stretched to low and high it is a sphere no longer; it is rotatable where the shell is.
    return replace(
        made, properties={**made.properties, "rotatable": is_rotatable(shell), "doses_of_each": ", ".join(doses)}
    )


def doehlert_shell(factors: int) -> Floats:
    """(k^2 + k, k) points at distance 1 from the middle and from their neighbours, without the middle."""
    corners = np.zeros((factors + 1, factors))
    for at in range(1, factors + 1):  # above the mean of the corners before, at distance 1 from each
        corners[at, : at - 1] = corners[:at, : at - 1].mean(axis=0)
        corners[at, at - 1] = np.sqrt(1 - (corners[at, : at - 1] ** 2).sum())
    ahead = [corners[a] - corners[b] for a in range(1, factors + 1) for b in range(a)]
    return np.array([point for each in ahead for point in (each, -each)])
