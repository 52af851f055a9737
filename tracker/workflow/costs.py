"""What does a treatment of a trial cost, so that its price can be weighed against its goals?

Worked out from the weights of the run and the prices of the kitchen, for a kilogram of batter or
for a bake. Water and what else costs nothing needs a price of 0, so that nothing is forgotten.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from tracker.errors import InputError
from tracker.intake.spreadsheet import nearest
from tracker.models import Formula, Trial
from tracker.workflow.formulas import as_stored
from tracker.workflow.ingredients import own_values
from tracker.workflow.lookup import find_trial
from tracker.workflow.options import Options
from tracker.workflow.prices import prices
from tracker.workflow.run_chemistry import factors_of
from tracker.workflow.wanted import read_goal
from tracker.workflow.weighed_runs import factor_tables, weights_of_run

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from sqlmodel import Session

    from analysis.goals.computed import Computed
    from analysis.predicting import Treatments
    from tracker.store import Store

# What can be asked for: its name -> its unit.
COSTS = {"cost": "per kg", "cost per bake": "per bake"}


def split_costs(options: Options, known: Sequence[str]) -> tuple[list[tuple[str, str]], tuple[str, ...]]:
    """The (cost, goal) that were asked for, and the goals that concern responses; a response of that name wins."""
    costs, others = [], []
    for text in options.goals:
        name, _, goal = (part.strip() for part in text.rpartition(":"))
        if name in COSTS and name not in known:
            costs.append((name, goal))
        else:
            others.append(text)
    return costs, tuple(others)


def cost_goals(store: Store, trial: str, costs: Sequence[tuple[str, str]]) -> tuple[Computed, ...]:
    """The costs as computed responses. Raises InputError for a trial without a formula, and for missing prices."""
    if not costs:
        return ()
    from analysis.goals.computed import Computed
    from analysis.questions import Response

    with store.read() as session:
        weigh, known = _weigher(session, trial)
    found = []
    for name, text in costs:
        goal, target = read_goal(text)
        response = Response(name=name, unit=COSTS[name], goal=goal, target=target)
        found.append(Computed(response=response, values=_Values(weigh, known, per_kg=name == "cost")))
    return tuple(found)


def prices_behind(store: Store, trial: str, costs: Sequence[tuple[str, str]]) -> dict[str, float] | None:
    """What a kilogram of each ingredient costs today, where a cost was asked for; None where none was.

    Prices are the kitchen's, not the trial's: its content hash says nothing of them, so its provenance has to.
    """
    if not costs:
        return None
    with store.read() as session:
        weigh, known = _weigher(session, trial)
        return {name: known[name.casefold()] for name in _needed(weigh, _settings(session, trial))}


class _Weigher:
    """Settings -> (ingredient, grams), as the trial is weighed."""

    def __init__(self, formula: Any, tables: Any, flour_g: float, own: Mapping[str, Any], usual: Mapping[str, Any]):
        self.formula, self.tables, self.flour_g, self.own, self.usual = formula, tables, flour_g, own, usual

    def __call__(self, settings: Mapping[str, Any]) -> list[tuple[str, float]]:
        weights = weights_of_run(self.formula, self.tables, {**self.usual, **settings}, self.flour_g, self.own)
        return [(each.ingredient, each.grams) for each in weights]


class _Values:
    """The cost (m,) of settings; equal settings are weighed once."""

    def __init__(self, weigh: _Weigher, prices_of: Mapping[str, float], *, per_kg: bool) -> None:
        self.weigh, self.prices_of, self.per_kg = weigh, prices_of, per_kg
        self.worked_out: dict[tuple[Any, ...], float] = {}

    def __call__(self, settings: Treatments) -> NDArray[np.float64]:
        import numpy as np

        names = [str(name) for name in settings.columns]
        rows = zip(*(settings[name].tolist() for name in names), strict=True)
        return np.array([self._one(names, row) for row in rows], dtype=np.float64)

    def _one(self, names: Sequence[str], row: tuple[Any, ...]) -> float:
        if row not in self.worked_out:
            weights = self.weigh(dict(zip(names, row, strict=True)))
            money = sum(grams / 1000 * self.prices_of[name.casefold()] for name, grams in weights)
            whole = sum(grams for _, grams in weights) / 1000
            self.worked_out[row] = money / whole if self.per_kg else money
        return self.worked_out[row]


def _settings(session: Session, trial: str) -> list[Mapping[str, Any]]:
    from tracker.current import current_trial

    return [json.loads(run.settings) for run in current_trial(session, trial).runs]


def _needed(weigh: _Weigher, runs: Sequence[Mapping[str, Any]]) -> list[str]:
    return list(dict.fromkeys(name for settings in runs for name, _ in weigh(settings)))


def _weigher(session: Session, trial: str) -> tuple[_Weigher, Mapping[str, float]]:
    found = find_trial(session, trial)
    row = session.get(Formula, found.formula_id) if found.formula_id else None
    if row is None or found.flour_per_bake_g is None:
        raise InputError(
            f'Trial "{trial}" has no formula with flour_per_bake_g, so that its cost cannot be worked out.',
            where="--goal",
            try_this="plan the trial with a formula, or leave the cost out",
        )
    factors = factor_tables(factors_of(session, found))
    runs = _settings(session, trial)
    own = own_values(session, when_planned=found)
    weigh = _Weigher(as_stored(session, row).formula, factors, found.flour_per_bake_g, own, runs[0])
    known = prices(session)
    _require_prices(trial, found, weigh, runs, known)
    return weigh, known


def _require_prices(
    trial: str, found: Trial, weigh: _Weigher, runs: Sequence[Mapping[str, Any]], known: Mapping[str, float]
) -> None:
    missing = [name for name in _needed(weigh, runs) if name.casefold() not in known]
    if missing:
        close = nearest(missing[0].casefold(), list(known))
        like = f' (there is one of "{close}")' if close else ""
        raise InputError(
            f"Without the price of {', '.join(missing)} the cost of {found.name} cannot be worked out{like}.",
            where=f'trial "{trial}"',
            try_this=f'crumbwise formula price "{missing[0]}" 1.20',
        )
