"""A small planned trial, made without a plan file, for the tests of recording and exchange."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tracker.models import Factor, Response, Run, Trial, TrialState
from tracker.store import Store, open_kitchen

ANCHORS = ["gummy", "coarse", "fair", "fine", "fine and even"]
ACIDS = ["yogurt", "lemon juice"]


def plan_soda(store: Store) -> None:
    """Trial "soda": 8 runs, 101 to 108, baked in the order 108 … 101, two blocks, three responses."""
    with store.write(person=1, action="plan") as deed:
        trial = deed.add(
            Trial(name="soda", title="Soda and acid", seed=7, design=json.dumps({"block": "bake day"}), made_at=deed.at)
        )
        number = trial.id or 0
        deed.add(TrialState(trial_id=number, state="planned", at=deed.at, person_id=1))
        deed.add_many(
            [
                Factor(trial_id=number, position=1, name="soda", kind="amount", unit="% flour"),
                Factor(trial_id=number, position=2, name="acid source", kind="category", levels=json.dumps(ACIDS)),
            ]
        )
        deed.add_many(
            [
                Response(
                    trial_id=number,
                    position=1,
                    name="rise height",
                    unit="mm",
                    goal="maximise",
                    matters=3.0,
                    plausible_low=10.0,
                    plausible_high=120.0,
                    possible_low=0.0,
                    possible_high=400.0,
                ),
                Response(
                    trial_id=number,
                    position=2,
                    name="crumb score",
                    scale="score",
                    anchors=json.dumps(ANCHORS),
                    pieces=2,
                ),
                Response(trial_id=number, position=3, name="split crust", scale="yes-no"),
            ]
        )
        deed.add_many(
            Run(
                trial_id=number,
                place_in_design=place,
                bake_order=9 - place,
                block="monday" if place > 4 else "tuesday",
                code=str(100 + place),
                settings=json.dumps({"soda": 0.5 * (1 + (place - 1) % 4), "acid source": ACIDS[place // 5]}),
            )
            for place in range(1, 9)
        )


@pytest.fixture
def soda_path(sqlite_kitchen: Path) -> Path:
    """A kitchen file that holds the trial "soda"; nothing has it open."""
    with open_kitchen(str(sqlite_kitchen)) as store:
        plan_soda(store)
    return sqlite_kitchen


@pytest.fixture
def soda(soda_path: Path) -> Iterator[Store]:
    with open_kitchen(str(soda_path)) as store:
        yield store


@pytest.fixture
def unchanged(soda_path: Path) -> Callable[[], bool]:
    """Says whether the kitchen's file is byte for byte as it was when the test began."""

    def fingerprint() -> str:
        return hashlib.sha256(soda_path.read_bytes()).hexdigest()

    before = fingerprint()
    return lambda: fingerprint() == before


@pytest.fixture
def soda_anywhere(store: Store) -> Store:
    """The same trial on SQLite and on PostgreSQL."""
    plan_soda(store)
    return store
