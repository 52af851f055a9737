"""How was each trial made that is put together with others: formula, flour, dates, design?"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING

from analysis.words.numbers import join_words, say_level

if TYPE_CHECKING:
    from tracker.current import CurrentTrial
    from tracker.store import Store


def about_trials(store: Store, names: Sequence[str]) -> dict[str, dict[str, str]]:
    """Trial -> what -> how it was there, in the order in which a page shows it."""
    from tracker.current import current_trial

    with store.read() as session:
        return {name: _about(current_trial(session, name)) for name in names}


def _about(current: CurrentTrial) -> dict[str, str]:
    trial, formula = current.trial, current.formula
    design = json.loads(trial.design)
    flours = [line.ingredient for line in current.formula_lines if line.flour]
    done = [outcome for outcome in current.outcomes.values() if outcome.state == "done"]
    read = [reading for readings in current.readings.values() for reading in readings]
    days = sorted({at[:10] for at in (*(row.at for row in done), *(row.at for row in read))})
    return {
        "formula": f"{formula.name}, version {formula.version}" if formula else "",
        "flour": join_words(flours),
        "flour for a bake": f"{say_level(trial.flour_per_bake_g)} g" if trial.flour_per_bake_g else "",
        "baked": "" if not days else days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}",
        "design": str(design.get("kind") or ""),
        "blocks": str(design.get("block") or "none"),
        "planned runs": str(len(current.runs)),
        **{f"levels of {factor.name}": _levels(current, factor.name, factor.unit) for factor in current.factors},
    }


def _levels(current: CurrentTrial, name: str, unit: str) -> str:
    met = list(dict.fromkeys(current.settings(run).get(name) for run in current.runs))
    amounts = sorted(value for value in met if isinstance(value, int | float))
    said = [say_level(float(value)) for value in amounts] or sorted(str(value) for value in met if value is not None)
    return f"{', '.join(said)} {unit}".rstrip()
