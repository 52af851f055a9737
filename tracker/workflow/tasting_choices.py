"""What of a trial can be tasted, by whom, and what is in it?"""

from __future__ import annotations

import json
from dataclasses import dataclass

from sqlmodel import Session, col, select

from analysis.designs.serving import A_SITTING
from analysis.words.numbers import say_setting
from tracker.current import CurrentTrial, current_trial
from tracker.models import Factor, Ingredient, Run, TastingSample, Trial
from tracker.store import Store
from tracker.workflow.allergens import allergens_in
from tracker.workflow.lookup import key, state_of
from tracker.workflow.people import list_people

TASTED = ("score", "yes-no", "count")  # what is measured is not tasted


@dataclass(frozen=True, kw_only=True)
class Ready:
    """A bake that can be served: ``settings`` in words; ``proposed``: the first of its settings, up to a sitting's."""

    code: str
    bake_order: int
    settings: str
    proposed: bool = False


@dataclass(frozen=True, kw_only=True)
class Choices:
    """What a tasting of one trial can be made of; ``responses`` are pairs of place in the plan and name."""

    trial: str
    title: str
    bakes: tuple[Ready, ...]
    responses: tuple[tuple[int, str], ...]
    allergens: str
    people: tuple[tuple[int, str], ...]


def trials_to_taste(store: Store) -> tuple[tuple[str, str, int], ...]:
    """(name, title, bakes) of every trial that takes entries, asks for something to be scored, and has a bake done."""
    with store.read() as session:
        trials = [row for row in session.exec(select(Trial).order_by(col(Trial.id).desc()))]
        found = [current_trial(session, row.name) for row in trials if state_of(session, row) != "closed"]
    listed = [
        (each.trial.name, each.trial.title, len(bakes_done(each)))
        for each in found
        if any(response.scale in TASTED for response in each.responses)
    ]
    return tuple(each for each in listed if each[2])


def choices(store: Store, trial: str) -> Choices:
    """Bakes that are done, what is scored, who could taste, and what is in it. Raises NotFound."""
    people = list_people(store)
    with store.read() as session:
        current = current_trial(session, trial)
        runs = bakes_done(current)
        firsts = {run.settings: run.code for run in reversed(runs)}.values()
        proposed = [run.code for run in runs if run.code in firsts][:A_SITTING]
        bakes = tuple(
            Ready(
                code=run.code,
                bake_order=run.bake_order,
                settings=said_settings(session, run),
                proposed=run.code in proposed,
            )
            for run in runs
        )
        allergens = ", ".join(_allergens(session, current))
        tasted = set(session.exec(select(TastingSample.person_id).distinct()))
    return Choices(
        trial=current.trial.name,
        title=current.trial.title,
        bakes=bakes,
        responses=tuple((each.position, each.name) for each in current.responses if each.scale in TASTED),
        allergens=allergens,
        people=tuple(
            (line.number, line.name or f"assessor {line.number}")
            for line in people
            if line.name or line.number in tasted
        ),
    )


def said_settings(session: Session, run: Run) -> str:
    """The settings of a run in one line."""
    rows = session.exec(select(Factor).where(Factor.trial_id == run.trial_id).order_by(col(Factor.position)))
    settings = json.loads(run.settings)
    said = []
    for factor in rows:
        value = settings.get(factor.name)
        if value is not None:
            shown = value if isinstance(value, str) else say_setting(value, factor.unit)
            said.append(f"{factor.name} {shown}")
    return ", ".join(said)


def bakes_done(current: CurrentTrial) -> list[Run]:
    """Runs in order of baking that came out of the oven: recorded as done, or with a reading."""
    states = {number: outcome.state for number, outcome in current.outcomes.items()}
    return [
        run
        for run in sorted(current.runs, key=lambda run: run.bake_order)
        if key(run) in current.bakes
        and states.get(key(run), "done") == "done"
        and (key(run) in states or current.readings.get(key(run)))
    ]


def _allergens(session: Session, current: CurrentTrial) -> tuple[str, ...]:
    """From the formula, what the plan adds to it, and what the kitchen noted of its ingredients."""
    names = [line.ingredient for line in current.formula_lines]
    for factor in current.factors:
        names += [factor.ingredient or "", *(str(level) for level in json.loads(factor.levels))]
        told = json.loads(factor.settings).get("lines") or {}
        names += [str(each) for each in (told.values() if isinstance(told, dict) else told)]
    noted = session.exec(select(Ingredient).where(Ingredient.allergens != ""))
    folded = {name.casefold() for name in names}
    return allergens_in([*names, *(row.allergens for row in noted if row.name.casefold() in folded)])
