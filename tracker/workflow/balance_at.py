"""What does a treatment that was not baked weigh up to: its gas, what is left over, its pH, its cost?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.errors import AnalysisError
from analysis.words.formula_balance import cost_fact, run_facts
from tracker.errors import TrackerError
from tracker.models import Formula
from tracker.workflow.costs import cost_goals
from tracker.workflow.formulas import as_stored
from tracker.workflow.ingredients import own_values
from tracker.workflow.lookup import find_trial
from tracker.workflow.run_chemistry import factors_of, treatments_chemistry
from tracker.workflow.weighed_runs import factor_tables

if TYPE_CHECKING:
    from tracker.store import Store
    from tracker.workflow.what_if import Settings

Facts = tuple[tuple[str, str], ...]
PER_BAKE = "cost per bake"


def facts_at(store: Store, trial: str, settings: Settings) -> Facts:
    """Name and value, for 100 g of flour; none for a trial without a formula, no cost without every price."""
    with store.read() as session:
        found = find_trial(session, trial)
        row = session.get(Formula, found.formula_id) if found.formula_id else None
        if row is None or found.flour_per_bake_g is None:
            return ()
        formula = as_stored(session, row).formula
        tables = factor_tables(factors_of(session, found))
        own = own_values(session, when_planned=found)
    try:
        (one,) = treatments_chemistry(formula, tables, [settings], found.flour_per_bake_g, own)
    except (AnalysisError, TrackerError):
        return ()  # settings that leave something open cannot be weighed
    return (*run_facts(one.chemistry), *_cost(store, trial, settings))


def _cost(store: Store, trial: str, settings: Settings) -> Facts:
    from analysis.predicting import Settings

    try:
        (computed,) = cost_goals(store, trial, [(PER_BAKE, "minimise")])
    except (AnalysisError, TrackerError):
        return ()  # a price is missing: the cost of a bake is not known
    (cost,) = computed.values(Settings({name: [value] for name, value in settings.items()}))
    return (cost_fact(float(cost)),)
