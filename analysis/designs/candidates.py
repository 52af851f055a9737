"""Which kinds of design could answer a question, in order of preference?

Rules of the trade (common practice, no single source): a curve needs four doses, a bend three;
single effects clear of pairs come before cheaper designs that mix them; what cannot be set
afresh for each bake is kept for whole plots; a blend is planned over shares.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from math import prod
from typing import Any

from analysis.designs.fractions import best_fraction
from analysis.designs.requests import DesignFactor, DesignRequest
from analysis.designs.situations import Candidate, Reason, Situation
from analysis.designs.treatments import MOST_TREATMENTS
from analysis.errors import PlanError

Grown = tuple[Mapping[str, Any], ...]
MOST_GROWTH = 30
MOST_COMBINATIONS = 10**9

REPLICATES: Grown = tuple({"replicates": count} for count in range(1, MOST_GROWTH + 1))
FEW_REPLICATES: Grown = REPLICATES[:4]
CENTRES: Grown = tuple({"centre_points": count} for count in (3, 4, 5, 6))
OPTIMAL_RUNS: Grown = tuple({"runs": count} for count in (8, 12, 16, 24, 36, 48, 60))
# Starts of a search over so many combinations, so that advice comes within seconds; None: as many as usual.
STARTS: tuple[tuple[int, int | None], ...] = ((200, None), (2000, 6), (MOST_COMBINATIONS, 2))
# Whole plots of two or four bakes; three error degrees of freedom take at least five.
WHOLE_PLOTS: Grown = tuple(
    {"runs": runs, "whole_plots": plots}
    for runs, plots in sorted((size * plots, plots) for size in (2, 4) for plots in (5, 6, 8, 10, 12, 15))
)
MANY = 6  # things, from which on no bake shows the best of all: first find out which matter
AT_A_PRICE = 2  # tiers lower when something has to be set afresh that is hard to set


def candidates(situation: Situation) -> Iterator[Candidate]:
    """Designs to try, best first within a tier; most will not fit and are dropped by laying them out."""
    hard = [factor for factor in situation.factors if factor.hard_to_change]
    price = 0
    if hard and len(hard) < len(situation.factors):
        yield from _whole_plots(situation)
        price = AT_A_PRICE
    for candidate in _by_aim(situation):
        if price and candidate.searched:
            continue  # a search keeps whole plots by itself, and is among them already
        yield replace(candidate, tier=candidate.tier + price)


def _by_aim(situation: Situation) -> Iterator[Candidate]:
    kinds = [factor.kind for factor in situation.factors]
    if "share" in kinds:
        yield from _blends(situation)
    elif len(kinds) == 1 and kinds[0] == "amount":
        yield from _ladders(situation)
    elif situation.aim == "which matter" or len(kinds) >= MANY:
        yield from _screenings(situation)
    elif "amount" not in kinds:
        yield from _comparisons(situation)
    elif kinds.count("amount") == 1:
        yield from _curves_by_level(situation)
    else:
        yield from _surfaces(situation)


def _ask(situation: Situation, kind: str, **keys: Any) -> DesignRequest:
    return DesignRequest(
        kind=kind,
        factors=situation.factors,
        seed=situation.seed,
        responses=situation.responses,
        constraints=situation.constraints,
        **keys,
    )


def _levels(factor: DesignFactor, amounts: int = 2) -> int:
    if factor.kind == "category":
        return len(factor.levels)
    return len(factor.values) or factor.n_levels or amounts


def _names(situation: Situation, kind: str = "") -> list[str]:
    return [factor.name for factor in situation.factors if not kind or factor.kind == kind]


def _ladders(situation: Situation) -> Iterator[Candidate]:
    (factor,) = situation.factors
    fixed = len(factor.values) or factor.n_levels
    for levels, tier in [(fixed, 1)] if fixed else [(5, 1), (6, 1), (4, 2), (3, 3)]:
        why = Reason(key="a ladder of doses", facts={"factor": factor.name, "doses": levels})
        keys = {} if fixed else {"levels": levels}
        yield Candidate(request=_ask(situation, "dose ladder", **keys), why=why, tier=tier, grown=REPLICATES)
        if situation.bakes_a_day is not None and situation.bakes_a_day < levels:
            yield Candidate(
                request=_ask(situation, "incomplete blocks", **keys),
                why=Reason(key="a part of the kinds each day", facts={"treatments": levels}),
                tier=tier,
                grown=REPLICATES[1:],
            )


def _curves_by_level(situation: Situation) -> Iterator[Candidate]:
    """One amount at several doses, with every combination of the other things."""
    amount = next(factor for factor in situation.factors if factor.kind == "amount")
    others = [name for name in _names(situation) if name != amount.name]
    fixed = len(amount.values) or amount.n_levels
    for levels, tier in [(fixed, 1)] if fixed else [(4, 1), (5, 1), (3, 2)]:
        yield Candidate(
            request=_ask(situation, "full factorial", **({} if fixed else {"levels": levels})),
            why=Reason(key="a curve for each kind", facts={"factor": amount.name, "doses": levels, "others": others}),
            tier=tier,
            grown=REPLICATES,
        )
    yield _optimal(situation, "quadratic", tier=2)


def _comparisons(situation: Situation) -> Iterator[Candidate]:
    treatments = prod(_levels(factor) for factor in situation.factors)
    several = Reason(key="all combinations", facts={"factors": _names(situation), "treatments": treatments})
    alone = Reason(key="each kind a few times", facts={"factor": _names(situation)[0], "treatments": treatments})
    why = alone if len(situation.factors) == 1 else several
    if treatments <= MOST_TREATMENTS:
        yield Candidate(request=_ask(situation, "completely randomised"), why=why, grown=REPLICATES)
        whole = Reason(key="every kind each day", facts={"treatments": treatments, "day": situation.day})
        yield Candidate(request=_ask(situation, "complete blocks"), why=whole, grown=REPLICATES[1:])
        if situation.bakes_a_day is not None and situation.bakes_a_day < treatments:
            part = Reason(key="a part of the kinds each day", facts={"treatments": treatments})
            yield Candidate(request=_ask(situation, "incomplete blocks"), why=part, tier=2, grown=REPLICATES[1:])
    if len(situation.factors) == 1:
        square = Reason(key="a square", facts={"rows": situation.day, "columns": "turn of the day"})
        yield Candidate(
            request=_ask(situation, "latin square", rows=situation.day, columns="turn of the day"),
            why=square,
            grown=FEW_REPLICATES,
        )
    else:
        yield _optimal(situation, "main effects", tier=2)


def _screenings(situation: Situation) -> Iterator[Candidate]:
    """Which of several things matter: single effects clear of pairs first."""
    count = len(situation.factors)
    amounts_only = all(factor.kind == "amount" for factor in situation.factors)
    two_level = all(_levels(factor) == 2 for factor in situation.factors)
    treatments = prod(_levels(factor) for factor in situation.factors)
    growth = (*REPLICATES[:1], *CENTRES, *REPLICATES[1:]) if amounts_only and two_level else REPLICATES
    if treatments <= 64:
        why = Reason(key="all combinations", facts={"factors": _names(situation), "treatments": treatments})
        yield Candidate(request=_ask(situation, "full factorial", levels=2), why=why, grown=growth)
    if two_level:
        yield from _fractions(situation, count, growth)
    if amounts_only and count >= 3:
        yield Candidate(
            request=_ask(situation, "definitive screening"),
            why=Reason(key="a screening that shows bends", facts={"factors": count}),
            grown=({}, *({"centre_points": centres} for centres in (2, 3, 4)), *FEW_REPLICATES[1:]),
        )
    if two_level and count >= 3:
        yield Candidate(
            request=_ask(situation, "plackett-burman"),
            why=Reason(key="the smallest screening", facts={"factors": count}),
            tier=2,
            grown=growth,
        )
    if not two_level:
        yield _optimal(situation, "main effects", tier=1)
    if situation.aim != "which matter" and amounts_only:
        yield from _surfaces(situation)


def _fractions(situation: Situation, count: int, growth: Grown) -> Iterator[Candidate]:
    for runs in (8, 16, 32):
        try:
            resolution = best_fraction(count, runs=runs, resolution=None).resolution
        except PlanError:
            continue
        why = Reason(key="a part of all combinations", facts={"factors": count, "runs": runs, "resolution": resolution})
        yield Candidate(
            request=_ask(situation, "fractional factorial", runs=runs),
            why=why,
            tier=1 if resolution > 3 else 2,
            grown=growth,
        )


def _surfaces(situation: Situation) -> Iterator[Candidate]:
    """The best setting of several amounts: bends and pairs of all of them."""
    amounts = _names(situation, "amount")
    bend = {"factors": amounts}
    if len(amounts) == len(situation.factors):
        grown = (*CENTRES, {"centre_points": 4, "replicates": 2}, {"centre_points": 6, "replicates": 3})
        star = Reason(key="corners and star points", facts=bend)
        yield Candidate(request=_ask(situation, "central composite", axial="face"), why=star, grown=grown)
        far = Reason(key="corners and far star points", facts=bend)
        inside = _ask(situation, "central composite", inside=True)
        yield Candidate(request=inside, why=far, grown=({}, *REPLICATES[1:4]))
        edges = Reason(key="edges and middle", facts=bend)
        yield Candidate(request=_ask(situation, "box-behnken"), why=edges, grown=({}, *grown, *REPLICATES[1:3]))
        shell = Reason(key="an even shell", facts=bend)
        yield Candidate(request=_ask(situation, "doehlert"), why=shell, grown=({}, *grown, *REPLICATES[1:3]))
        if len(amounts) > 3:
            yield Candidate(
                request=_ask(situation, "definitive screening"),
                why=Reason(key="a screening that shows bends", facts={"factors": len(amounts)}),
                tier=2,
                grown=({"centre_points": 3}, {"centre_points": 4}, {"replicates": 2}),
            )
    treatments = _combinations(situation)
    if treatments <= 54:
        yield Candidate(
            request=_ask(situation, "full factorial", levels=3, model="quadratic"),
            why=Reason(key="three doses of each", facts={**bend, "treatments": treatments}),
            grown=REPLICATES,
        )
    yield _optimal(situation, "quadratic", tier=1)


def _blends(situation: Situation) -> Iterator[Candidate]:
    shares = [factor for factor in situation.factors if factor.kind == "share"]
    bounded = situation.constraints or any(
        (each.low or 0) > 0 or (each.high is not None and each.high < (each.total or 1)) for each in shares
    )
    facts = {"factors": [each.name for each in shares]}
    if len(shares) == len(situation.factors):
        if bounded:
            why = Reason(key="blends within bounds", facts=facts)
            yield Candidate(request=_ask(situation, "constrained mixture"), why=why, grown=REPLICATES)
        else:
            even = Reason(key="pure kinds and half blends", facts=facts)
            yield Candidate(request=_ask(situation, "mixture lattice", degree=2), why=even, grown=REPLICATES)
            all_even = Reason(key="every even blend", facts=facts)
            yield Candidate(request=_ask(situation, "mixture centroid"), why=all_even, grown=REPLICATES)
    yield _optimal(situation, "mixture quadratic", tier=2)


def _whole_plots(situation: Situation) -> Iterator[Candidate]:
    """What is hard to set stays as it is for a whole plot, all else changes within it."""
    hard = [factor for factor in situation.factors if factor.hard_to_change]
    settings = prod(_levels(factor) for factor in hard)
    model = "quadratic" if situation.aim == "best setting" else None
    facts = {"factors": [factor.name for factor in hard]}
    yield Candidate(
        request=_ask(situation, "split-plot", model=model),
        why=Reason(key="whole plots", facts=facts),
        grown=tuple({"whole_plots": settings * times} for times in range(2, 7)),
    )
    yield replace(
        _optimal(situation, model or "interactions", tier=1),
        why=Reason(key="whole plots", facts=facts),
        grown=WHOLE_PLOTS,
    )


def _optimal(situation: Situation, model: Any, *, tier: int) -> Candidate:
    return Candidate(
        request=_ask(
            situation,
            "optimal",
            model=model,
            criterion="I" if model != "main effects" else "D",
            starts=_starts(_combinations(situation)),
        ),
        why=Reason(key="chosen by computer", facts={"model": model}),
        tier=tier,
        searched=True,
        grown=OPTIMAL_RUNS,
    )


def _starts(combinations: int) -> int | None:
    return next((starts for most, starts in STARTS if combinations <= most), 1)


def _combinations(situation: Situation) -> int:
    return prod(_levels(factor, amounts=3) for factor in situation.factors)
