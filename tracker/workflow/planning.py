"""What will be baked, in which order, and under which codes?

A plan file becomes a trial with its factors, responses and runs in one transaction;
a preview does the same without a kitchen and writes nothing.
"""

from __future__ import annotations

import json
import re
import secrets
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, select

from tracker.errors import Conflict, InputError
from tracker.intake.plan_file import PlanFile, load_plan
from tracker.intake.plan_shares import whole_of
from tracker.intake.plan_tables import LARGEST_SEED, FactorTable, clean_name
from tracker.models import Factor, Response, Run, Trial, TrialState
from tracker.workflow.formulas import StoredFormula, find_formula, keep_formula
from tracker.workflow.ingredients import own_values
from tracker.workflow.lookup import key
from tracker.workflow.run_chemistry import cautions_before_baking, treatments_chemistry
from tracker.workflow.weighed_runs import refuse_unweighable

if TYPE_CHECKING:
    from analysis.designs.plan import Plan
    from analysis.designs.requests import DesignFactor, DesignRequest
    from tracker.formulas import BakersFormula
    from tracker.store import Deed, Store

LONGEST_TRIAL_NAME = 60
PLAN_SCHEMA = "1.0"


@dataclass(frozen=True, kw_only=True)
class PlannedTrial:
    """A plan laid out: what was (or would be) written. ``trial_id`` is None for a preview."""

    name: str
    title: str
    trial_id: int | None
    plan: Plan
    notes: tuple[str, ...] = ()

    @property
    def cautions(self) -> tuple[str, ...]:
        """Plain sentences the baker should read before baking."""
        return (*self.plan.warnings, *self.notes)

    def summary(self) -> str:
        """A few lines to read on a screen."""
        design = self.plan.design
        blocks = f" in {design.blocks} {design.block}s" if design.block else ""
        verb = "is planned" if self.trial_id is not None else "would be planned"
        lines = [
            f'Trial "{self.name}" {verb}: {self.title}',
            f"  {design.kind}, {design.n_runs} runs{blocks}, seed {design.seed}",
            *(f"  {_levels_said(name, values, self.plan.units)}" for name, values in design.settings.items()),
            f"  judged by {design.judgement.judged_by}",
        ]
        lines += [f"  {words}" for words in design.alias_words]
        for response, widths in design.judgement.half_widths.items():
            if widths:
                told = ", ".join(f"{term.replace(':', ' with ')} ± {width:.2g}" for term, width in widths.items())
                lines.append(f"  how closely effects on {response} would be known: {told}")
        return "\n".join(lines)

    def to_json(self) -> dict[str, Any]:
        """``trial``, ``title``, ``runs``, ``design`` and ``cautions``, as ``analysis/schema/plan.schema.json`` says."""
        return {
            "schema_version": PLAN_SCHEMA,
            "trial": self.name,
            "title": self.title,
            **self.plan.to_json(),
            "cautions": list(self.cautions),
        }


def _levels_said(name: str, values: tuple[Any, ...], units: Mapping[str, str]) -> str:
    unit = units.get(name, "")
    told = ", ".join(f"{value:g}" if not isinstance(value, str) else value for value in values)
    return f"{name}: {told} {unit}".rstrip()


def plan_trial(
    store: Store, plan: str | Path, *, name: str | None = None, person: int = 1, seed: int | None = None
) -> PlannedTrial:
    """Write the plan (a path, or the text of a plan file) as a new trial, in one transaction.

    Raises InputError for a plan that contradicts itself, Conflict when the name is taken,
    NotFound for an unknown formula or file.
    """
    read = load_plan(plan)
    chosen = _chosen_name(name, read)
    laid = _lay_out(read, seed)
    with store.write(person=person, action="plan trial") as deed:
        _refuse_taken(deed.session, chosen)
        stored = _formula_of(deed.session, read)
        formula = read.formula or (stored.formula if stored else None)
        notes = _check_formula(read, formula, laid, own_values(deed.session))
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
        name=chosen, title=read.title, trial_id=key(trial), plan=laid, notes=(*_unordered(read), *notes)
    )


def preview_plan(
    plan: str | Path, store: Store | None = None, *, name: str | None = None, seed: int | None = None
) -> PlannedTrial:
    """The same without writing; needs a kitchen only when the plan names a stored formula."""
    read = load_plan(plan)
    chosen = _chosen_name(name, read)
    laid = _lay_out(read, seed)
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
    notes = _check_formula(read, formula, laid, own)
    return PlannedTrial(name=chosen, title=read.title, trial_id=None, plan=laid, notes=(*_unordered(read), *notes))


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
    read: PlanFile, formula: BakersFormula | None, laid: Plan, own: Mapping[str, Any]
) -> tuple[str, ...]:
    """Every run must be weighable. Returns notes for the baker."""
    if formula is None:
        return ("The plan names no formula, so the bench sheet cannot say what to weigh.",)
    read.check_against(formula.ingredients())
    if read.flour_per_bake_g is None:
        return ("The plan gives no flour_per_bake_g, so the bench sheet cannot say what to weigh.",)
    settings = [run.settings for run in laid.runs]
    notes = refuse_unweighable(formula, read.factors, settings, read.flour_per_bake_g, own)
    treatments = treatments_chemistry(formula, read.factors, settings, read.flour_per_bake_g, own)
    return (*notes, *cautions_before_baking(treatments))


def design_request(read: PlanFile, seed: int | None) -> DesignRequest:
    """The plan file's design in plain values; a seed is drawn when none is given."""
    from analysis.designs.requests import DesignRequest, DesignResponse

    table = read.design
    if seed is not None and not 0 <= seed <= LARGEST_SEED:
        raise InputError(f"The seed {seed} is out of range.", where="--seed", try_this=f"0 to {LARGEST_SEED}")
    chosen = seed if seed is not None else table.seed
    return DesignRequest(
        kind=table.kind,
        factors=tuple(design_factor(factor) for factor in read.factors),
        seed=secrets.randbelow(LARGEST_SEED) if chosen is None else chosen,
        responses=tuple(
            DesignResponse(
                name=each.name,
                unit=each.unit,
                spread=each.spread,
                matters=each.matters,
                whole_plot_spread=each.whole_plot_spread,
            )
            for each in read.responses
        ),
        levels=table.levels,
        replicates=table.replicates,
        block=table.block,
        block_size=table.block_size,
        runs=table.runs,
        resolution=table.resolution,
        generators=tuple(table.generators),
        centre_points=table.centre_points,
        accept_few_df=table.accept_few_df,
        model=table.model,
        axial=table.axial,
        inside=table.inside,
        rows=table.rows,
        columns=table.columns,
        whole_plots=table.whole_plots,
        criterion=table.criterion,
        degree=table.degree,
        starts=table.starts,
        constraints=read.constraints,
        oven_holds=table.oven_holds,
    )


def design_factor(factor: FactorTable) -> DesignFactor:
    """A factor of a plan file in the words of a design."""
    from analysis.designs.requests import DesignFactor

    return DesignFactor(
        name=factor.name,
        kind=factor.kind,
        unit=factor.unit,
        low=factor.low,
        high=factor.high,
        values=tuple(factor.values or ()),
        n_levels=factor.levels if isinstance(factor.levels, int) else None,
        spacing=factor.spacing,
        levels=tuple(factor.level_names),
        hard_to_change=factor.hard_to_change,
        of=factor.of or "",
        total=whole_of(factor) if factor.kind == "share" else None,
        weighed=factor.ingredient is not None,
    )


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
