"""What is to be done at the bench today?

The runs of every open trial in the order of baking, what waits for readings, and the alarms
of the daily batches that nobody has explained.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session, col, select

from tracker.current import rows_of, standing
from tracker.models import Bake, BakeMoment, Kitchen, Outcome, Product, Reading, Response, Run, Trial, TrialState
from tracker.store import Store
from tracker.workflow.alarms import AlarmLine, alarms_text, list_alarms

LATEST = 3  # alarms, and trials that are done, that are shown
AHEAD = 6  # runs of a trial that are shown before they are baked


@dataclass(frozen=True, kw_only=True)
class RunToday:
    """``missing``: responses without a reading; ``in_oven_since`` is a moment in UTC, "" when it is not in the oven."""

    trial: str
    code: str
    bake_order: int
    place: str  # "bake day monday", "" without blocks
    begun: bool
    in_oven_since: str
    missing: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class TrialToday:
    """``next_runs`` are still to be baked, ``waiting`` were begun and lack readings; both in the order of baking."""

    name: str
    title: str
    runs: int
    settled: int
    in_oven: tuple[RunToday, ...]
    next_runs: tuple[RunToday, ...]
    waiting: tuple[RunToday, ...]
    further: int  # runs to be baked beyond ``next_runs``

    @property
    def done(self) -> bool:
        return not (self.in_oven or self.next_runs or self.waiting)


@dataclass(frozen=True, kw_only=True)
class ProductToday:
    """A product with alarms that have no cause yet: how many, and the latest in words (runs of one rule as one)."""

    name: str
    alarms: int
    latest: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Today:
    """What the first page shows. ``finished`` are trials with nothing left to bake or to read, the latest first."""

    trials: tuple[TrialToday, ...]
    products: tuple[ProductToday, ...]
    finished: tuple[TrialToday, ...] = ()

    @property
    def empty(self) -> bool:
        return not self.trials and not self.products


def kitchen_line(store: Store) -> tuple[str, str]:
    """The kitchen's name and its time zone."""
    with store.read() as session:
        kitchen = session.exec(select(Kitchen)).first()
    return (kitchen.name, kitchen.zone) if kitchen else ("kitchen", "UTC")


def today(store: Store) -> Today:
    """Everything at once, in a few queries for each open trial."""
    with store.read() as session:
        trials = [_trial(session, each) for each in _open_trials(session)]
        names = list(session.exec(select(Product.name).order_by(col(Product.name))))
    products = [_product(name, list_alarms(store, name, open_only=True)) for name in names]
    return Today(
        trials=tuple(trial for trial in trials if not trial.done),
        finished=tuple(trial for trial in trials if trial.done and trial.runs)[:LATEST],
        products=tuple(product for product in products if product.alarms),
    )


def _product(name: str, alarms: Sequence[AlarmLine]) -> ProductToday:
    words = alarms_text(alarms).splitlines() if alarms else []
    return ProductToday(name=name, alarms=len(alarms), latest=tuple(reversed(words[-LATEST:])))


def _open_trials(session: Session) -> list[Trial]:
    """Trials that take entries, the one planned last first."""
    latest: dict[int, str] = {}
    for row in session.exec(select(TrialState).order_by(col(TrialState.id))):
        latest[row.trial_id] = row.state
    trials = session.exec(select(Trial).order_by(col(Trial.id).desc()))
    return [trial for trial in trials if latest.get(trial.id or 0) != "closed"]


def _trial(session: Session, trial: Trial) -> TrialToday:
    runs = list(session.exec(select(Run).where(Run.trial_id == trial.id).order_by(col(Run.bake_order))))
    responses = list(
        session.exec(select(Response).where(Response.trial_id == trial.id).order_by(col(Response.position)))
    )
    bakes = {bake.run_id: bake for bake in rows_of(session, Bake, Bake.run_id, [run.id for run in runs])}
    numbers = [bake.id for bake in bakes.values()]
    have: dict[int, dict[int | None, int]] = {}
    for reading in standing(rows_of(session, Reading, Reading.bake_id, numbers)):
        have.setdefault(reading.bake_id, {}).setdefault(reading.response_id, 0)
        have[reading.bake_id][reading.response_id] += 1
    states = {row.bake_id: row.state for row in standing(rows_of(session, Outcome, Outcome.bake_id, numbers))}
    moments = standing(rows_of(session, BakeMoment, BakeMoment.bake_id, numbers))
    block = json.loads(trial.design).get("block") or "block"
    oven: list[RunToday] = []
    ahead: list[RunToday] = []
    waiting: list[RunToday] = []
    for run in runs:
        bake = bakes.get(run.id)
        number = (bake.id or 0) if bake else 0
        if states.get(number) in ("failed", "skipped"):
            continue
        its = {moment.what: moment.moment for moment in moments if moment.bake_id == number}
        counted = have.get(number, {})
        missing = tuple(
            response.name for response in responses if counted.get(response.id, 0) < response.pieces * response.readings
        )
        line = RunToday(
            trial=trial.name,
            code=run.code,
            bake_order=run.bake_order,
            place="" if run.block is None else f"{block} {run.block}",
            begun=bake is not None,
            in_oven_since=its.get("in the oven", "") if "out of the oven" not in its else "",
            missing=missing,
        )
        if line.in_oven_since and not counted:
            oven.append(line)
        elif bake is None or not (counted or "out of the oven" in its or states.get(number)):
            ahead.append(line)
        elif missing:
            waiting.append(line)
    return TrialToday(
        name=trial.name,
        title=trial.title,
        runs=len(runs),
        settled=len(runs) - len(oven) - len(ahead) - len(waiting),
        in_oven=tuple(oven),
        next_runs=tuple(ahead[:AHEAD]),
        waiting=tuple(waiting),
        further=max(0, len(ahead) - AHEAD),
    )
