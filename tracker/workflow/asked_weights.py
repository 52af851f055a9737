"""What does the sheet ask to be weighed for one run, and is what was weighed likely beside it?"""

from __future__ import annotations

import json

from sqlmodel import Session, col, select

from tracker.intake.numbers import number_text
from tracker.models import Factor, Formula, Run, Trial
from tracker.workflow.formulas import as_stored
from tracker.workflow.ingredients import own_values
from tracker.workflow.weighed_runs import factor_tables, weights_of_run

FAR_OFF = 2  # times more or less than planned is asked about; common practice, no source


def asked_grams(session: Session, trial: Trial, run: Run) -> dict[str, float]:
    """Grams by ingredient as the sheet rounds them; empty for a trial without a formula or without flour."""
    row = session.get(Formula, trial.formula_id) if trial.formula_id else None
    if row is None or trial.flour_per_bake_g is None:
        return {}
    factors = session.exec(select(Factor).where(Factor.trial_id == trial.id).order_by(col(Factor.position))).all()
    own = own_values(session, when_planned=trial)
    weights = weights_of_run(
        as_stored(session, row).formula, factor_tables(factors), json.loads(run.settings), trial.flour_per_bake_g, own
    )
    return {weight.ingredient: float(weight.text) for weight in weights}


def unlikely_weight(ingredient: str, grams: float, planned: float | None) -> str:
    """What is asked back about a weight; "" where it is likely, or where nothing is planned to compare it with."""
    if not planned or planned / FAR_OFF < grams < planned * FAR_OFF:
        return ""
    return f"{ingredient}: {number_text(grams)} g is an unlikely weight, the sheet asks for {number_text(planned)} g."
