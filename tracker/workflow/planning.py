"""What will be baked, in which order, and under which codes?

A plan file becomes a trial with its factors, responses and runs in one transaction;
a preview does the same without a kitchen and writes nothing.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, select

from tracker.errors import Conflict, InputError
from tracker.intake.plan_file import PlanFile, load_plan
from tracker.intake.plan_tables import clean_name
from tracker.models import Factor, Response, Run, Trial, TrialState
from tracker.workflow.formulas import StoredFormula, find_formula, keep_formula
from tracker.workflow.ingredients import own_values
from tracker.workflow.lookup import key
from tracker.workflow.requests import design_request, design_responses
from tracker.workflow.run_chemistry import TreatmentChemistry, cautions_before_baking, treatments_chemistry
from tracker.workflow.weighed_runs import refuse_unweighable

if TYPE_CHECKING:
    from analysis.designs.plan import Plan
    from analysis.designs.requests import DesignResponse
    from tracker.deeds import Deed
    from tracker.formulas import BakersFormula
    from tracker.store import Store

LONGEST_TRIAL_NAME = 60
PLAN_SCHEMA = "1.0"


@dataclass(frozen=True, kw_only=True)
class PlannedTrial:
    """A plan laid out: what was (or would be) written. ``trial_id`` is None for a preview.

    ``treatments`` are the different ones with their chemistry, empty where nothing can be weighed.
    """

    name: str
    title: str
    trial_id: int | None
    plan: Plan
    notes: tuple[str, ...] = ()
    responses: tuple[DesignResponse, ...] = ()
    treatments: tuple[TreatmentChemistry, ...] = ()

    @property
    def cautions(self) -> tuple[str, ...]:
        """Plain sentences the baker should read before baking."""
        return (*self.plan.warnings, *self.notes)

    def summary(self) -> str:
        """A few lines to read on a screen."""
        from analysis.words.plans import plan_lines

        verb = "is planned" if self.trial_id is not None else "would be planned"
        told = (f"  {line}" for line in plan_lines(self.plan, self.responses))
        return "\n".join([f'Trial "{self.name}" {verb}: {self.title}', *told])

    def to_json(self) -> dict[str, Any]:
        """``trial``, ``title``, ``runs``, ``design`` and ``cautions``, as ``analysis/schema/plan.schema.json`` says."""
        return {
            "schema_version": PLAN_SCHEMA,
            "trial": self.name,
            "title": self.title,
            **self.plan.to_json(),
            "cautions": list(self.cautions),
        }


def plan_trial(
    store: Store,
    plan: str | Path,
    *,
    name: str | None = None,
    person: int = 1,
    seed: int | None = None,
    laid: Plan | None = None,
) -> PlannedTrial:
    """Write the plan (a path, or the text of a plan file) as a new trial, in one transaction.

    ``laid`` was laid out of the same plan and seed and shown with its chemistry before: neither is done again.
    Raises InputError for a plan that contradicts itself, Conflict when the name is taken,
    NotFound for an unknown formula or file.
    """
    read = load_plan(plan)
    chosen = _chosen_name(name, read)
    shown, laid = laid is not None, laid or _lay_out(read, seed)
    with store.write(person=person, action="plan trial") as deed:
        _refuse_taken(deed.session, chosen)
        stored = _formula_of(deed.session, read)
        formula = read.formula or (stored.formula if stored else None)
        notes, treatments = _check_formula(read, formula, laid, own_values(deed.session), chemistry=not shown)
        if read.formula is not None:
            stored = keep_formula(deed, read.formula)
        trial = deed.add(
            Trial(
                name=chosen,
                title=read.title,
                question=read.question,
                formula_id=stored.id if stored else None,
                flour_per_bake_g=read.flour_per_bake_g,
                seed=laid.design.seed,
                plan=read.text,
                design=json.dumps(laid.design.to_json(), ensure_ascii=False, sort_keys=True),
                made_at=deed.at,
            )
        )
        _write_parts(deed, trial, read, laid, person)
    return PlannedTrial(
        name=chosen,
        title=read.title,
        trial_id=key(trial),
        plan=laid,
        notes=(*_unordered(read), *notes),
        responses=design_responses(read),
        treatments=treatments,
    )


def preview_plan(
    plan: str | Path,
    store: Store | None = None,
    *,
    name: str | None = None,
    seed: int | None = None,
    laid: Plan | None = None,
) -> PlannedTrial:
    """The same without writing; needs a kitchen only when the plan names a stored formula."""
    read = load_plan(plan)
    chosen = _chosen_name(name, read)
    laid = laid or _lay_out(read, seed)
    formula, own = read.formula, {}
    if store is not None:
        with store.read() as session:
            _refuse_taken(session, chosen)
            own = own_values(session)
            stored = _formula_of(session, read)
            formula = formula or (stored.formula if stored else None)
    elif read.formula_name is not None:
        raise InputError(
            f'The plan names the formula "{read.formula_name}", and there is no kitchen to look it up in.',
            where="formula",
            try_this="write the formula into the plan as [formula], or name the kitchen with --kitchen",
        )
    notes, treatments = _check_formula(read, formula, laid, own)
    return PlannedTrial(
        name=chosen,
        title=read.title,
        trial_id=None,
        plan=laid,
        notes=(*_unordered(read), *notes),
        responses=design_responses(read),
        treatments=treatments,
    )


def _chosen_name(given: str | None, read: PlanFile) -> str:
    """The trial's name: as given, else the plan's, else made from the title."""
    if given is None:
        return read.name or slug(read.title)
    try:
        return str(clean_name(given))
    except ValueError as wrong:
        raise InputError(f"The name {wrong}.", where="--name", try_this=f'--name "{slug(read.title)}"') from wrong


def slug(title: str) -> str:
    """A name to type, from a title: "Soda, three acids" -> "soda-three-acids"."""
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().casefold()
    name = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:LONGEST_TRIAL_NAME].rstrip("-")
    return name or "trial"


def _refuse_taken(session: Session, name: str) -> None:
    if session.exec(select(Trial.id).where(Trial.name == name)).first() is not None:
        raise Conflict(
            f'There is a trial "{name}" already; a plan never replaces one.',
            where="kitchen",
            try_this=f'--name "{name}-2"',
        )


def _formula_of(session: Session, read: PlanFile) -> StoredFormula | None:
    return None if read.formula_name is None else find_formula(session, read.formula_name)


def _unordered(read: PlanFile) -> tuple[str, ...]:
    """Doses that do not rise: "0,5" typed with a decimal comma is read as 0 and 5."""
    return tuple(
        f"The values of {factor.name} do not rise ({', '.join(f'{value:g}' for value in factor.values)}): "
        "was a decimal comma meant? Decimals take a point here."
        for factor in read.factors
        if factor.values and list(factor.values) != sorted(factor.values)
    )


def _check_formula(
    read: PlanFile, formula: BakersFormula | None, laid: Plan, own: Mapping[str, Any], *, chemistry: bool = True
) -> tuple[tuple[str, ...], tuple[TreatmentChemistry, ...]]:
    """Every run must be weighable. Returns notes for the baker, and the chemistry they rest on."""
    if formula is None:
        return ("The plan names no formula, so the bench sheet cannot say what to weigh.",), ()
    read.check_against(formula.ingredients())
    if read.flour_per_bake_g is None:
        return ("The plan gives no flour_per_bake_g, so the bench sheet cannot say what to weigh.",), ()
    settings = [run.settings for run in laid.runs]
    notes = refuse_unweighable(formula, read.factors, settings, read.flour_per_bake_g, own)
    if not chemistry:
        return notes, ()
    treatments = treatments_chemistry(formula, read.factors, settings, read.flour_per_bake_g, own)
    return (*notes, *cautions_before_baking(treatments)), treatments


def _lay_out(read: PlanFile, seed: int | None) -> Plan:
    from analysis.designs.plan import lay_out

    return lay_out(design_request(read, seed))


def _write_parts(deed: Deed, trial: Trial, read: PlanFile, laid: Plan, person: int) -> None:
    deed.add(TrialState(trial_id=key(trial), state="planned", at=deed.at, person_id=person))
    deed.add_many(
        Factor(
            trial_id=key(trial),
            position=position,
            name=factor.name,
            kind=factor.kind,
            unit=factor.unit,
            levels=json.dumps([str(level) for level in factor.level_names], ensure_ascii=False),
            reference=factor.reference,
            hard_to_change=factor.hard_to_change,
            ingredient=factor.ingredient,
            settings=json.dumps(factor.model_dump(exclude_defaults=True), ensure_ascii=False, sort_keys=True),
        )
        for position, factor in enumerate(read.factors, start=1)
    )
    deed.add_many(
        Response(
            trial_id=key(trial),
            position=position,
            name=each.name,
            unit=each.unit,
            scale=each.scale,
            goal=each.goal,
            target=each.target,
            matters=each.matters,
            plausible_low=each.plausible[0] if each.plausible else None,
            plausible_high=each.plausible[1] if each.plausible else None,
            possible_low=each.possible[0] if each.possible else None,
            possible_high=each.possible[1] if each.possible else None,
            spread=each.spread,
            accept_low=each.accept[0] if each.accept else None,
            accept_high=each.accept[1] if each.accept else None,
            importance=each.importance,
            anchors=json.dumps(list(each.anchors), ensure_ascii=False),
            pieces=each.pieces,
            readings=each.readings,
        )
        for position, each in enumerate(read.responses, start=1)
    )
    deed.add_many(
        Run(
            trial_id=key(trial),
            place_in_design=run.place_in_design,
            bake_order=run.bake_order,
            block=run.block,
            code=run.code,
            settings=json.dumps(dict(run.settings), ensure_ascii=False, sort_keys=True),
            groups=json.dumps(dict(run.groups), ensure_ascii=False),
        )
        for run in laid.runs
    )
