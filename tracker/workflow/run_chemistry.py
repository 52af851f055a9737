"""What is the chemistry of a formula, and of each run of a trial?

Joins the weights of the runs with the acid-base account: columns beside the readings,
warnings before baking, and the balance of a formula at an amount of flour.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, col, select

from tracker.current import current_trial
from tracker.errors import InputError
from tracker.formulas import BakersFormula
from tracker.intake.plan_tables import FactorTable
from tracker.intake.spreadsheet import nearest
from tracker.models import Factor, Formula, Kitchen, Trial
from tracker.workflow.formulas import as_stored, find_formula
from tracker.workflow.ingredients import own_values
from tracker.workflow.leavening import Answer
from tracker.workflow.lookup import find_trial
from tracker.workflow.weighed_runs import factor_tables, weights_of_run

if TYPE_CHECKING:
    import pandas as pd

    from analysis.leavening.runs import RunChemistry
    from analysis.questions import Question
    from analysis.results import Analysis
    from tracker.store import Store
    from tracker.workflow.reporting import Look, Paper

# A crumb outside these is soapy or sour; rough, common practice, no source.
SENSIBLE_PH = (5.5, 8.5)
MUCH_SODA_LEFT_G = 0.5  # in 100 g of flour
ANY_SODA_LEFT_G = 0.02
SIMULATED = 100


@dataclass(frozen=True, kw_only=True)
class TreatmentChemistry:
    """One treatment's settings with its account."""

    settings: Mapping[str, Any]
    chemistry: RunChemistry

    @property
    def senseless(self) -> bool:
        """Would the crumb be soapy or sour?"""
        ph = self.chemistry.predicted_ph
        # Balanced phosphates end above pH 8 in the model; that alone is no soapy crumb.
        outside = ph is not None and (
            ph < SENSIBLE_PH[0] or (ph > SENSIBLE_PH[1] and self.chemistry.soda_left_g > ANY_SODA_LEFT_G)
        )
        has_leavener = self.chemistry.gas_ml > 0 or self.chemistry.soda_left_g > 0
        return has_leavener and (outside or self.chemistry.soda_left_g > MUCH_SODA_LEFT_G)


def formula_balance(
    store: Store,
    name: str,
    *,
    flour_g: float = 100.0,
    version: int | None = None,
    report: Path | None = None,
    look: Look | None = None,
    paper: Paper = "A4",
) -> Answer:
    """The account of a stored formula: what is known of its lines, what is left out; ``report`` is a file for a page.

    Raises NotFound, and TrialDataError when nothing in it brings water.
    """
    from analysis.leavening.balance import balance
    from analysis.leavening.names import known_amounts
    from analysis.leavening.serialise import balance_json
    from analysis.words.leavening import balance_text, say_left_out_lines

    with store.read() as session:
        stored = find_formula(session, name, version)
        own = own_values(session)
        invented = session.exec(select(Kitchen.invented)).first()
    known, left_out = known_amounts(stored.formula.grams(flour_g), own)
    account = balance(known)
    if report is not None:
        from tracker.workflow.balance_pages import write_balance

        command = ["crumbwise", "formula", "balance", stored.formula.name, "--flour-g", f"{flour_g:g}"]
        command += ["--formula-version", str(stored.version)]
        write_balance(
            report,
            account,
            known,
            command=command,
            title=f"{stored.title}, for {_as_said(flour_g, look)} g of flour",
            left_out=tuple(left_out),
            invented=bool(invented),
            look=look,
            paper=paper,
        )
    document = {"formula": stored.title, "flour_g": flour_g, "left_out": list(left_out), **balance_json(account)}
    text = "\n".join([f"{stored.title}, for {flour_g:g} g of flour", balance_text(account)])
    return Answer(document=document, text=f"{text}\n{say_left_out_lines(left_out)}".rstrip())


def _as_said(grams: float, look: Look | None) -> str:
    from analysis.words.numbers import say_level
    from tracker.workflow.reporting import Look

    with (look or Look()).writing():
        return say_level(grams)


def treatments_chemistry(
    formula: BakersFormula,
    factors: Sequence[FactorTable],
    settings: Sequence[Mapping[str, Any]],
    flour_g: float,
    own: Mapping[str, Any] | None = None,
) -> tuple[TreatmentChemistry, ...]:
    """The account of every different treatment, in order of appearance."""
    from analysis.leavening.runs import run_chemistry

    found: dict[str, TreatmentChemistry] = {}
    for each in settings:
        told = json.dumps(dict(each), sort_keys=True)
        if told not in found:
            weights = [(w.ingredient, w.grams) for w in weights_of_run(formula, factors, each, flour_g, own)]
            chemistry = run_chemistry(weights, flour_g, own=own, draws=SIMULATED)
            found[told] = TreatmentChemistry(settings=dict(each), chemistry=chemistry)
    return tuple(found.values())


def cautions_before_baking(treatments: Sequence[TreatmentChemistry]) -> tuple[str, ...]:
    """Sentences about settings that fall outside sense, with the range around the neutral point."""
    from analysis.words.chemistry import say_senseless

    wrong = [each for each in treatments if each.senseless]
    if not wrong:
        return ()
    return say_senseless([(each.settings, each.chemistry) for each in wrong], len(treatments))


def trial_chemistry(store: Store, trial: str) -> dict[str, RunChemistry]:
    """Run code -> account, at what was really weighed and by what is known of the ingredients now.

    Empty when the trial has no formula to weigh.
    """
    from analysis.leavening.runs import run_chemistry

    with store.read() as session:
        found = find_trial(session, trial)
        row = session.get(Formula, found.formula_id) if found.formula_id else None
        if row is None or found.flour_per_bake_g is None:
            return {}
        formula = as_stored(session, row).formula
        tables = factor_tables(factors_of(session, found))
        current = current_trial(session, trial)
        own, own_then = own_values(session), own_values(session, when_planned=found)
    accounts: dict[str, RunChemistry] = {}
    same: dict[tuple[tuple[str, float], ...], RunChemistry] = {}
    for run in current.runs:
        planned = weights_of_run(formula, tables, json.loads(run.settings), found.flour_per_bake_g, own_then)
        really = {row.ingredient.casefold(): row.grams for row in current.weighings.get(run.id or 0, [])}
        weights = tuple((w.ingredient, really.get(w.ingredient.casefold(), w.grams)) for w in planned)
        if weights not in same:
            same[weights] = run_chemistry(weights, found.flour_per_bake_g, own=own, draws=SIMULATED)
        accounts[run.code] = same[weights]
    return accounts


def factors_of(session: Session, trial: Trial) -> list[Factor]:
    return list(session.exec(select(Factor).where(Factor.trial_id == trial.id).order_by(col(Factor.position))))


def trial_balance(store: Store, trial: str) -> Answer:
    """The account of every run of a trial, in bake order, as a document and a table.

    Raises NotFound; InputError when the trial has no formula to account for.
    """
    from analysis.words.chemistry import CHEMISTRY_FOR, say_about_ph

    accounts = trial_chemistry(store, trial)
    if not accounts:
        raise InputError(
            f'Trial "{trial}" has no formula with flour_per_bake_g, so there is nothing to account for.',
            where=f'trial "{trial}"',
            try_this="[formula] and flour_per_bake_g in the plan file",
        )
    runs = [
        {
            "run": code,
            **account.columns(),
            "ph_low": account.ph_low,
            "ph_high": account.ph_high,
            "left_out": list(account.left_out),
        }
        for code, account in accounts.items()
    ]
    rows = [f"{'run':>4} {'gas mL':>8} {'soda left g':>12} {'acid left meq':>14}  crumb pH"]
    for code, each in accounts.items():
        ph = f"{each.predicted_ph:.1f} ({each.ph_low:.1f} to {each.ph_high:.1f})" if each.account else "not known"
        rows.append(f"{code:>4} {each.gas_ml:8.0f} {each.soda_left_g:12.2f} {each.acid_left_meq:14.1f}  {ph}")
    rows += [CHEMISTRY_FOR, *say_about_ph(list(accounts.values()))]
    return Answer(document={"schema_version": 1, "trial": trial, "runs": runs}, text="\n".join(rows))


def with_chemistry(tables: Mapping[str, pd.DataFrame], accounts: Mapping[str, RunChemistry]) -> dict[str, pd.DataFrame]:
    """The tables of a trial with the columns of ``analysis.leavening.runs`` beside each bake."""
    import pandas as pd

    if not accounts:
        return dict(tables)
    columns = pd.DataFrame({code: account.columns() for code, account in accounts.items()}).T.astype(float)
    return {name: table.join(columns, on="bake") if len(table) else table for name, table in tables.items()}


def follow_chemistry(
    tables: Mapping[str, pd.DataFrame], question: Question, names: Sequence[str], by: str | None
) -> tuple[dict[str, pd.DataFrame], Question]:
    """Put chemistry of the runs in the place of the factors: does the response follow the gas, whatever gave it?

    ``names`` are of FOLLOW; ``by`` keeps one category beside them. Raises InputError for an
    unknown name, and when the trial has no formula to account for.
    """
    from analysis.questions import Factor as Asked

    columns = _follow_columns()
    for name in names:
        if name not in columns:
            near = nearest(name, list(columns)) or "gas"
            raise InputError(
                f'There is no chemistry called "{name}"; there is {", ".join(columns)}.',
                where="--follow",
                try_this=f'--follow "{near}"',
            )
    if any(columns[name][0] not in table for table in tables.values() for name in names):
        raise InputError(
            "This trial has no formula with flour_per_bake_g, so its runs have no chemistry.",
            where="--follow",
            try_this="plan the trial with a formula, or analyse it by its factors",
        )
    renamed = {
        response: table.assign(**{name: table[columns[name][0]] for name in names})
        for response, table in tables.items()
    }
    kept = tuple(factor for factor in question.factors if factor.name == by)
    amounts = tuple(Asked(name=name, kind="amount", unit=columns[name][1]) for name in names)
    dose = names[0] if question.kind == "dose" or (question.kind == "auto" and len(names) == 1) else None
    return renamed, replace(question, factors=(*amounts, *kept), dose=dose, by=by)


def _follow_columns() -> dict[str, tuple[str, str]]:
    """What may be followed: its name -> (column, unit)."""
    from analysis.leavening.runs import ACID_LEFT, GAS, PREDICTED_PH, SODA_LEFT

    return {
        "gas": (GAS, "mL in 100 g flour"),
        "soda left": (SODA_LEFT, "g in 100 g flour"),
        "acid left": (ACID_LEFT, "meq in 100 g flour"),
        "predicted pH": (PREDICTED_PH, ""),
    }


def chemistry_table(analysis: Analysis, accounts: Mapping[str, RunChemistry]) -> pd.DataFrame | None:
    """One row per analysed bake: ``bake``, the factors' settings, the account, and measured pH where there is one.

    A response measures pH when its name has the word "pH" in it.
    """
    import pandas as pd

    if not accounts:
        return None
    rows: dict[str, dict[str, Any]] = {}
    for result in analysis.responses:
        for point in result.family.points:
            if point.bake not in accounts:
                continue
            account = accounts[point.bake]
            row = rows.setdefault(
                point.bake,
                {
                    "bake": point.bake,
                    **point.settings,
                    **account.columns(),
                    "ph_low": account.ph_low,
                    "ph_high": account.ph_high,
                },
            )
            if "ph" in result.response.name.casefold().split():
                row["measured_ph"] = point.observed
    return pd.DataFrame(list(rows.values())) if rows else None
