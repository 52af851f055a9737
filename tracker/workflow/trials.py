"""Which trials are there, how far have they come, and are they still open?"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, col, select

from tracker.current import design_as_it_stands
from tracker.errors import Conflict, InputError
from tracker.intake.numbers import number_text
from tracker.models import Factor, Formula, Outcome, Response, Run, Trial, TrialState
from tracker.workflow.lookup import find_trial, key, state_of
from tracker.workflow.standing import TrialRecord, record_of

if TYPE_CHECKING:
    from tracker.store import Deed, Store


@dataclass(frozen=True, kw_only=True)
class TrialLine:
    """One trial in a list. ``runs`` are planned, ``baked`` have a bake that ended as done."""

    name: str
    title: str
    state: str
    runs: int
    baked: int
    made_at: str

    def to_json(self) -> dict[str, Any]:
        return dict(self.__dict__)


@dataclass(frozen=True, kw_only=True)
class TrialView:
    """One trial as planned and how far it has come; ``runs`` as in the plan's JSON plus ``state``."""

    line: TrialLine
    question: str
    formula: str | None
    flour_per_bake_g: float | None
    factors: tuple[Mapping[str, Any], ...]
    responses: tuple[Mapping[str, Any], ...]
    runs: tuple[Mapping[str, Any], ...]
    design: Mapping[str, Any]

    def to_json(self) -> dict[str, Any]:
        return {
            **self.line.to_json(),
            "question": self.question,
            "formula": self.formula,
            "flour_per_bake_g": self.flour_per_bake_g,
            "factors": [dict(factor) for factor in self.factors],
            "responses": [dict(response) for response in self.responses],
            "runs": [dict(run) for run in self.runs],
            "design": dict(self.design),
        }

    def summary(self) -> str:
        """The trial on a screen. Codes stand without their settings: a taster may be looking."""
        line = self.line
        rows = [f'Trial "{line.name}" ({line.state}; {line.baked} of {line.runs} runs baked): {line.title}']
        rows += [f"  {self.question}"] if self.question else []
        if self.formula:
            flour = f", {self.flour_per_bake_g:g} g of flour a bake" if self.flour_per_bake_g else ""
            rows.append(f"  Formula: {self.formula}{flour}")
        rows += [f"  Factor {factor['name']}: {factor['said']}" for factor in self.factors]
        rows += [f"  Response {response['name']}: {response['said']}" for response in self.responses]
        rows.append("  Runs in bake order:")
        block = object()
        for run in self.runs:
            if run["block"] != block:
                block = run["block"]
                rows += [f"    {self.design.get('block') or 'block'} {block}"] if block else []
            rows.append(f"    {run['bake_order']:>3}. {run['code']}  {_standing(run)}")
        return "\n".join(rows)


def _standing(run: Mapping[str, Any]) -> str:
    """ "done; rise height 42 (piece 1), 41.5 (piece 2)", or "skipped: out of eggs"."""
    ended = run["state"] or "not baked yet"
    if run["state"] in ("failed", "skipped") and run["reason"]:
        ended += f": {run['reason']}"
    kept: dict[str, list[str]] = {}
    for reading in run["readings"]:
        piece = f" (piece {reading['piece']})" if reading["piece"] else ""
        kept.setdefault(reading["response"], []).append(f"{number_text(reading['value'])}{piece}")
    return "; ".join([ended, *(f"{response} {', '.join(values)}" for response, values in kept.items())])


def list_trials(store: Store) -> tuple[TrialLine, ...]:
    """All trials, oldest first."""
    with store.read() as session:
        trials = session.exec(select(Trial).order_by(col(Trial.id))).all()
        return tuple(_line(session, trial, record_of(session, trial)) for trial in trials)


def show_trial(store: Store, name: str) -> TrialView:
    """One trial. Raises NotFound with the nearest name."""
    with store.read() as session:
        trial = find_trial(session, name)
        record = record_of(session, trial)
        factors = session.exec(select(Factor).where(Factor.trial_id == trial.id).order_by(col(Factor.position))).all()
        responses = session.exec(
            select(Response).where(Response.trial_id == trial.id).order_by(col(Response.position))
        ).all()
        formula = session.get(Formula, trial.formula_id) if trial.formula_id else None
        units = {factor.name: factor.unit for factor in factors}
        return TrialView(
            line=_line(session, trial, record),
            question=trial.question,
            formula=f"{formula.name}, version {formula.version}" if formula else None,
            flour_per_bake_g=trial.flour_per_bake_g,
            factors=tuple(_factor(factor) for factor in factors),
            responses=tuple(_response(response) for response in responses),
            runs=tuple(_run(run, record, units) for run in record.runs),
            design=design_as_it_stands(session, trial),
        )


def close_trial(store: Store, name: str, *, reason: str = "", person: int = 1) -> TrialLine:
    """No more readings are expected. Raises Conflict when it is closed already."""
    with store.write(person=person, action="close trial", reason=reason) as deed:
        trial = find_trial(deed.session, name)
        if state_of(deed.session, trial) == "closed":
            raise Conflict(f'Trial "{name}" is closed already.', where="kitchen", try_this="crumbwise trial list")
        return _turn(deed, trial, "closed", reason, person)


def reopen_trial(store: Store, name: str, *, reason: str, person: int = 1) -> TrialLine:
    """Take a closed trial up again; needs a reason. Raises Conflict when it is not closed."""
    if not reason.strip():
        raise InputError(
            "A closed trial is taken up again for a reason.", where="--reason", try_this='--reason "two runs forgotten"'
        )
    with store.write(person=person, action="reopen trial", reason=reason) as deed:
        trial = find_trial(deed.session, name)
        if state_of(deed.session, trial) != "closed":
            raise Conflict(f'Trial "{name}" is not closed.', where="kitchen", try_this="crumbwise trial list")
        return _turn(deed, trial, "reopened", reason, person)


def _turn(deed: Deed, trial: Trial, state: str, reason: str, person: int) -> TrialLine:
    deed.add(TrialState(trial_id=key(trial), state=state, reason=reason, at=deed.at, person_id=person))
    return _line(deed.session, trial, record_of(deed.session, trial))


def _line(session: Session, trial: Trial, record: TrialRecord) -> TrialLine:
    states = [_state(run, record) for run in record.runs]
    return TrialLine(
        name=trial.name,
        title=trial.title,
        state=state_of(session, trial),
        runs=len(states),
        baked=states.count("done"),
        made_at=trial.made_at,
    )


def _outcome(run: Run, record: TrialRecord) -> Outcome | None:
    bake = record.bakes.get(key(run))
    return record.outcomes.get(key(bake)) if bake else None


def _state(run: Run, record: TrialRecord) -> str:
    outcome = _outcome(run, record)
    return outcome.state if outcome else ""


def _readings(run: Run, record: TrialRecord) -> list[dict[str, Any]]:
    """What stands for the run, by response as the plan lists them, then by piece and repeat."""
    rows = [(record.piece_number(row.piece_id), row) for row in record.of_run(record.readings, run)]
    rows.sort(key=lambda pair: (pair[1].response_id, pair[0] or 0, pair[1].repeat))
    return [{"response": row.response, "piece": piece, "repeat": row.repeat, "value": row.value} for piece, row in rows]


def _run(run: Run, record: TrialRecord, units: Mapping[str, str]) -> dict[str, Any]:
    outcome = _outcome(run, record)
    return {
        "place_in_design": run.place_in_design,
        "bake_order": run.bake_order,
        "block": run.block,
        "groups": json.loads(run.groups),
        "code": run.code,
        "settings": {
            name: {"value": value, "unit": units.get(name) or None} for name, value in json.loads(run.settings).items()
        },
        "state": _state(run, record),
        "reason": outcome.reason if outcome else "",
        "readings": _readings(run, record),
    }


def _factor(factor: Factor) -> dict[str, Any]:
    levels = json.loads(factor.levels)
    unit = f" ({factor.unit})" if factor.unit else ""
    return {
        "name": factor.name,
        "kind": factor.kind,
        "unit": factor.unit or None,
        "levels": levels,
        "reference": factor.reference,
        "hard_to_change": factor.hard_to_change,
        "said": f"{factor.kind}{unit}{': ' + ', '.join(levels) if levels else ''}",
    }


def _response(response: Response) -> dict[str, Any]:
    matters = f", a difference of {response.matters:g} matters" if response.matters else ""
    unit = f" ({response.unit})" if response.unit else ""
    goal = f", {response.goal}{f' {response.target:g}' if response.target is not None else ''}" if response.goal else ""
    return {
        "name": response.name,
        "unit": response.unit or None,
        "scale": response.scale,
        "goal": response.goal,
        "target": response.target,
        "matters": response.matters,
        "pieces": response.pieces,
        "readings": response.readings,
        "anchors": json.loads(response.anchors),
        "said": f"{response.scale}{unit}{goal}{matters}",
    }
