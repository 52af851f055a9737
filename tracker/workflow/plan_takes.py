"""What does a plan take before it is baked: flour, every ingredient, and money where the kitchen has prices?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tracker.intake.plan_file import PlanFile
from tracker.store import Store
from tracker.workflow.formulas import find_formula
from tracker.workflow.ingredients import own_values
from tracker.workflow.prices import prices
from tracker.workflow.weighed_runs import weights_of_run


@dataclass(frozen=True, kw_only=True)
class Takes:
    """For all bakes together. ``money`` None without every price; ``unpriced`` names what has none."""

    flour_g: float | None = None
    ingredients: tuple[tuple[str, float], ...] = ()
    money: float | None = None
    unpriced: tuple[str, ...] = ()


def what_it_takes(store: Store, read: PlanFile, settings: Sequence[Mapping[str, Any]]) -> Takes:
    """``settings``: those of every run. Nothing is known of a plan without a formula or the flour of a bake."""
    flour_g = read.flour_per_bake_g
    with store.read() as session:
        stored = None if read.formula_name is None else find_formula(session, read.formula_name)
        own, known = own_values(session), prices(session)
    formula = read.formula or (stored.formula if stored else None)
    if formula is None or flour_g is None:
        return Takes()
    grams: dict[str, float] = {}
    for each in settings:
        for weight in weights_of_run(formula, read.factors, each, flour_g, own):
            grams[weight.ingredient] = grams.get(weight.ingredient, 0.0) + weight.grams
    unpriced = tuple(name for name in grams if name.casefold() not in known)
    money = None if unpriced else sum(each / 1000 * known[name.casefold()] for name, each in grams.items())
    return Takes(
        flour_g=flour_g * len(settings),
        ingredients=tuple(grams.items()),
        money=money,
        unpriced=unpriced if known else (),
    )
