"""How does a trial go on: which runs are added to what was baked?

Nothing of what is there changes: further runs come behind the last one, under codes of their
own, in one transaction with the reason and with what the whole can tell now.
"""

from __future__ import annotations

import json
import secrets
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, col, select

from tracker.current import CurrentTrial, current_trial, design_as_it_stands
from tracker.errors import Conflict, InputError
from tracker.intake.plan_tables import LARGEST_SEED
from tracker.models import Extension, Run, Trial
from tracker.workflow.formulas import as_stored
from tracker.workflow.ingredients import own_values
from tracker.workflow.lookup import key, refuse_closed
from tracker.workflow.planning import PLAN_SCHEMA
from tracker.workflow.requests import design_factor
from tracker.workflow.weighed_runs import factor_tables, refuse_unweighable

if TYPE_CHECKING:
    from analysis.designs.extending import Extended, Standing
    from analysis.designs.further import Further
    from analysis.designs.requests import DesignFactor, DesignRequest
    from tracker.store import Store


@dataclass(frozen=True, kw_only=True)
class ExtendedTrial:
    """What is (or would be) added. ``number`` counts the extensions of the trial from 1."""

    trial: str
    number: int
    way: str
    seed: int
    extended: Extended
    notes: tuple[str, ...]
    stored: bool

    @property
    def cautions(self) -> tuple[str, ...]:
        return (*self.extended.warnings, *self.notes)

    def summary(self) -> str:
        """A few lines to read on a screen; codes stand without their settings."""
        added, design = self.extended.added, self.extended.design
        verb = "are added" if self.stored else "would be added"
        lines = [f'{len(added)} runs {verb} to "{self.trial}": {self.way}, seed {self.seed}.']
        for each in added:
            where = ", ".join(f"{name} {label}" for name, label in each.run.groups.items())
            again = f", in place of {each.stands_for}" if each.stands_for else ""
            lines.append(f"  {each.run.bake_order:>3}. {each.run.code}  {where}{again}".rstrip())
        lines.append(f"  All {design.n_runs} runs together are judged by {design.judgement.judged_by}")
        for response, widths in design.judgement.half_widths.items():
            if widths:
                told = ", ".join(f"{term.replace(':', ' with ')} ± {width:.2g}" for term, width in widths.items())
                lines.append(f"  how closely effects on {response} would be known: {told}")
        return "\n".join(lines)

    def to_json(self) -> dict[str, Any]:
        """``trial``, ``extension``, ``runs`` (the added ones), ``design`` (of all runs) and ``cautions``."""
        units = self.extended.units
        return {
            "schema_version": PLAN_SCHEMA,
            "trial": self.trial,
            "extension": {"number": self.number, "way": self.way, "seed": self.seed},
            "runs": [{**each.run.to_json(units), "stands_for": each.stands_for} for each in self.extended.added],
            "design": self.extended.design.to_json(),
            "cautions": list(self.cautions),
        }


def preview_extension(store: Store, trial: str, further: Further, *, seed: int | None = None) -> ExtendedTrial:
    """What would be added; nothing is written. Raises as ``extend_trial``."""
    with store.read() as session:
        current = current_trial(session, trial)
        return _extended(session, current, further, _seed(seed), stored=False)


def extend_trial(
    store: Store, trial: str, further: Further, *, reason: str = "", seed: int | None = None, person: int = 1
) -> ExtendedTrial:
    """Add runs in one transaction.

    Raises NotFound (the trial), Conflict (it is closed, or a lost run is made up for already) and
    PlanError when it cannot go on that way.
    """
    chosen = _seed(seed)
    with store.write(person=person, action="extend trial", reason=reason) as deed:
        current = current_trial(deed.session, trial)
        refuse_closed(deed.session, current.trial)
        planned = _extended(deed.session, current, further, chosen, stored=True)
        extension = deed.add(
            Extension(
                trial_id=key(current.trial),
                number=planned.number,
                kind=further.way,
                reason=reason,
                design=json.dumps(planned.extended.design.to_json(), ensure_ascii=False, sort_keys=True),
                seed=chosen,
                at=deed.at,
                person_id=person,
            )
        )
        numbers = {run.code: key(run) for run in current.runs}
        deed.add_many(
            Run(
                trial_id=key(current.trial),
                place_in_design=each.run.place_in_design,
                bake_order=each.run.bake_order,
                block=each.run.block,
                code=each.run.code,
                settings=json.dumps(dict(each.run.settings), ensure_ascii=False, sort_keys=True),
                groups=json.dumps(dict(each.run.groups), ensure_ascii=False),
                extension_id=key(extension),
                stands_for_id=numbers[each.stands_for] if each.stands_for else None,
            )
            for each in planned.extended.added
        )
    return planned


def _seed(seed: int | None) -> int:
    if seed is None:
        return secrets.randbelow(LARGEST_SEED)
    if not 0 <= seed <= LARGEST_SEED:
        raise InputError(f"The seed {seed} is out of range.", where="--seed", try_this=f"0 to {LARGEST_SEED}")
    return seed


def _extended(session: Session, current: CurrentTrial, further: Further, seed: int, *, stored: bool) -> ExtendedTrial:
    from analysis.designs.extending import extend

    _refuse_made_up(current, further)
    past = session.exec(select(Extension).where(Extension.trial_id == current.trial.id)).all()
    design = design_as_it_stands(session, current.trial)
    request = _request(current, design, seed)
    found = extend(request, _standing(current, design, stages=1 + len(past)), further)
    return ExtendedTrial(
        trial=current.trial.name,
        number=len(past) + 1,
        way=further.way,
        seed=seed,
        extended=found,
        notes=_weighable(session, current, found),
        stored=stored,
    )


def _refuse_made_up(current: CurrentTrial, further: Further) -> None:
    made_up = {run.stands_for_id for run in current.runs if run.stands_for_id}
    for run in current.runs:
        if run.id in made_up and run.code in further.codes:
            by = next(other.code for other in current.runs if other.stands_for_id == run.id)
            raise Conflict(
                f"Run {run.code} is baked again already, as {by}.",
                where=f'trial "{current.trial.name}"',
                try_this=f'crumbwise trial record "{current.trial.name}" {by}',
            )


def _request(current: CurrentTrial, design: dict[str, Any], seed: int) -> DesignRequest:
    from analysis.designs.requests import DesignRequest, DesignResponse

    return DesignRequest(
        kind=str(design.get("kind") or "imported"),
        factors=tuple(_as_baked(design_factor(table), current) for table in factor_tables(current.factors)),
        seed=seed,
        responses=tuple(
            DesignResponse(name=each.name, unit=each.unit, spread=each.spread, matters=each.matters)
            for each in current.responses
        ),
        accept_few_df=True,  # what is added only helps; the words say what is still missing
    )


def _as_baked(factor: DesignFactor, current: CurrentTrial) -> DesignFactor:
    """A trial that came in from a spreadsheet has no plan: what was baked are its levels and its range."""
    baked = list(dict.fromkeys(current.settings(run).get(factor.name) for run in current.runs))
    if factor.kind == "category" and not factor.levels:
        return replace(factor, levels=tuple(str(each) for each in baked if each is not None))
    amounts = [float(each) for each in baked if isinstance(each, int | float)]
    if factor.kind == "amount" and factor.low is None and not factor.values and amounts:
        return replace(factor, low=min(amounts), high=max(amounts))
    return factor


def _standing(current: CurrentTrial, design: dict[str, Any], *, stages: int) -> Standing:
    from analysis.designs.extending import ExistingRun, Standing

    states = {number: outcome.state for number, outcome in current.outcomes.items()}
    made_up = {run.stands_for_id for run in current.runs if run.stands_for_id}
    block = design.get("block") if any(run.block for run in current.runs) else None
    return Standing(
        runs=tuple(
            ExistingRun(
                place_in_design=run.place_in_design,
                bake_order=run.bake_order,
                code=run.code,
                settings=current.settings(run),
                block=run.block,
                groups={**({block: run.block} if block and run.block else {}), **json.loads(run.groups)},
                lost=states.get(key(run)) in ("failed", "skipped"),
                baked=states.get(key(run)) == "done",
                made_up=run.id in made_up,
            )
            for run in current.runs
        ),
        block=block,
        fixed=tuple(design.get("fixed_groups") or ([block] if block else ())),
        errors=tuple(design.get("error_groups") or ()),
        crossed=bool(design.get("crossed_groups")),
        model=design.get("model") or "interactions",
        stages=stages,
    )


def _weighable(session: Session, current: CurrentTrial, found: Extended) -> tuple[str, ...]:
    """Every added run must be weighable. Returns notes for the baker."""
    trial: Trial = current.trial
    if current.formula is None or trial.flour_per_bake_g is None:
        return ()
    formula = as_stored(session, current.formula).formula
    settings = [each.run.settings for each in found.added]
    own = own_values(session, when_planned=trial)
    return refuse_unweighable(formula, factor_tables(current.factors), settings, trial.flour_per_bake_g, own)


def extensions_of(session: Session, trial: Trial) -> list[Extension]:
    """What was added to a trial, in order."""
    return list(session.exec(select(Extension).where(Extension.trial_id == trial.id).order_by(col(Extension.number))))
