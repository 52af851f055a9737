"""Which trials are there, how far have they come, and are they still open?"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, col, select

from tracker.current import CurrentTrial, current_trial, design_as_it_stands, rows_of, standing
from tracker.errors import Conflict, InputError
from tracker.intake.numbers import number_text
from tracker.models import Bake, Factor, Outcome, Response, Run, Trial, TrialState
from tracker.workflow.lookup import find_trial, key, state_of

if TYPE_CHECKING:
    from tracker.deeds import Deed
    from tracker.store import Store


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
        return _lines(session, session.exec(select(Trial).order_by(col(Trial.id))).all())


def show_trial(store: Store, name: str) -> TrialView:
    """One trial. Raises NotFound with the nearest name."""
    with store.read() as session:
        current = current_trial(session, name)
        trial, formula = current.trial, current.formula
        units = {factor.name: factor.unit for factor in current.factors}
        return TrialView(
            line=_line(session, trial),
            question=trial.question,
            formula=f"{formula.name}, version {formula.version}" if formula else None,
            flour_per_bake_g=trial.flour_per_bake_g,
            factors=tuple(_factor(factor) for factor in current.factors),
            responses=tuple(_response(response) for response in current.responses),
            runs=tuple(_run(run, current, units) for run in current.runs),
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
    return _line(deed.session, trial)


def _line(session: Session, trial: Trial) -> TrialLine:
    return _lines(session, [trial])[0]


def _lines(session: Session, trials: Sequence[Trial]) -> tuple[TrialLine, ...]:
    """What was planned of each, how much of it was baked, and its state; in as many queries for many as for one."""
    wanted = [trial.id for trial in trials]
    states = {row.trial_id: row.state for row in rows_of(session, TrialState, TrialState.trial_id, wanted)}
    trial_of = {key(run): run.trial_id for run in rows_of(session, Run, Run.trial_id, wanted)}
    bakes = {key(bake): bake.run_id for bake in rows_of(session, Bake, Bake.run_id, list(trial_of))}
    outcomes = standing(rows_of(session, Outcome, Outcome.bake_id, list(bakes)))
    runs = Counter(trial_of.values())
    baked = Counter(trial_of[bakes[row.bake_id] or 0] for row in outcomes if row.state == "done")
    return tuple(
        TrialLine(
            name=trial.name,
            title=trial.title,
            state=states.get(key(trial), "planned"),
            runs=runs[key(trial)],
            baked=baked[key(trial)],
            made_at=trial.made_at,
        )
        for trial in trials
    )


def _readings(run: Run, current: CurrentTrial) -> list[dict[str, Any]]:
    """What stands for the run, by response as the plan lists them, then by piece and repeat."""
    rows = [(current.pieces.get(row.piece_id or 0), row) for row in current.readings.get(key(run), [])]
    rows.sort(key=lambda pair: (pair[1].response_id, pair[0] or 0, pair[1].repeat))
    return [{"response": row.response, "piece": piece, "repeat": row.repeat, "value": row.value} for piece, row in rows]


def _run(run: Run, current: CurrentTrial, units: Mapping[str, str]) -> dict[str, Any]:
    outcome = current.outcomes.get(key(run))
    return {
        "place_in_design": run.place_in_design,
        "bake_order": run.bake_order,
        "block": run.block,
        "groups": json.loads(run.groups),
        "code": run.code,
        "settings": {
            name: {"value": value, "unit": units.get(name) or None} for name, value in json.loads(run.settings).items()
        },
        "state": outcome.state if outcome else "",
        "reason": outcome.reason if outcome else "",
        "readings": _readings(run, current),
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
    accept = [response.accept_low, response.accept_high]
    return {
        "name": response.name,
        "unit": response.unit or None,
        "scale": response.scale,
        "goal": response.goal,
        "target": response.target,
        "matters": response.matters,
        "accept": None if accept == [None, None] else accept,
        "importance": response.importance,
        "pieces": response.pieces,
        "readings": response.readings,
        "anchors": json.loads(response.anchors),
        "said": f"{response.scale}{unit}{goal}{matters}",
    }
