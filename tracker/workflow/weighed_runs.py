"""What does each run of a trial weigh, from the formula and what the plan says of its factors?"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from tracker.formulas import BakersFormula, same_ingredient
from tracker.intake.plan_tables import FactorTable
from tracker.models import Factor

if TYPE_CHECKING:
    from analysis.leavening.weights import WeighedFactor, Weight


def factor_tables(factors: Sequence[Factor]) -> list[FactorTable]:
    """What the plan said of stored factors (name and kind alone for a trial that was imported)."""
    tables = []
    for factor in factors:
        said = {"name": factor.name, "kind": factor.kind, "unit": factor.unit, **json.loads(factor.settings)}
        tables.append(FactorTable.model_validate(said))
    return tables


def weighed_factors(factors: Sequence[FactorTable]) -> list[WeighedFactor]:
    from analysis.leavening.weights import WeighedFactor

    return [
        WeighedFactor(
            name=factor.name,
            kind=factor.kind,
            unit=factor.unit,
            ingredient=factor.ingredient,
            levels=tuple(factor.level_names),
            neutralises=factor.neutralises,
            amounts=factor.amounts,
            lines=factor.lines,
            replaces=factor.replaces,
            water_back=factor.water_line,
        )
        for factor in factors
    ]


def weights_of_run(
    formula: BakersFormula,
    factors: Sequence[FactorTable],
    settings: Mapping[str, Any],
    flour_g: float,
    own: Mapping[str, Any] | None = None,
) -> tuple[Weight, ...]:
    """Weights; ``own`` measured ingredients come before the tables. Raises PlanError for a setting nobody can weigh."""
    from analysis.leavening.neutralising import NEUTRALISING, of_ingredient
    from analysis.leavening.weights import Line, run_weights

    lines = [
        Line(ingredient=line.ingredient, bakers_percent=line.bakers_percent, flour=line.flour) for line in formula.lines
    ]
    substances = {**NEUTRALISING, **{name: of_ingredient(item) for name, item in (own or {}).items()}}
    return run_weights(lines, weighed_factors(factors), settings, flour_g, substances)


def refuse_unweighable(
    formula: BakersFormula,
    factors: Sequence[FactorTable],
    settings: Sequence[Mapping[str, Any]],
    flour_g: float,
    own: Mapping[str, Any] | None = None,
) -> tuple[str, ...]:
    """Weigh every treatment once; raises PlanError for the first that cannot be. Returns notes."""
    seen: set[str] = set()
    for each in settings:
        told = json.dumps(dict(each), sort_keys=True)
        if told not in seen:
            seen.add(told)
            weights_of_run(formula, factors, each, flour_g, own)
    notes = [
        f"{factor.ingredient} is not in the formula: its dose is weighed in addition."
        for factor in factors
        if factor.ingredient and not any(same_ingredient(factor.ingredient, each) for each in formula.ingredients())
    ]
    if any(isinstance(factor.neutralises, str) for factor in factors):
        notes.append(
            "The acid follows each run's soda, so that left-over soda does not vary: "
            "this trial cannot tell what left-over soda does."
        )
    return tuple(notes)
