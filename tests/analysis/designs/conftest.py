"""A plan as a trial that stands, for tests that go on from it; and what a stored seed must give for ever."""

import json
from collections.abc import Callable
from hashlib import sha256

import pytest

from analysis.designs.extending import ExistingRun, Standing


@pytest.fixture
def standing() -> Callable[..., Standing]:
    """``standing(plan, lost={codes}, baked={codes})``: the plan's runs as they stand in a trial."""
    return _standing


def _standing(plan, lost=(), baked=()):
    return Standing(
        runs=tuple(
            ExistingRun(
                place_in_design=run.place_in_design,
                bake_order=run.bake_order,
                code=run.code,
                settings=run.settings,
                block=run.block,
                groups=run.groups,
                lost=run.code in lost,
                baked=run.code in baked,
            )
            for run in plan.runs
        ),
        block=plan.design.block,
        fixed=plan.design.fixed_groups,
        errors=plan.design.error_groups,
        crossed=plan.design.crossed_groups,
        model=plan.design.model,
    )


@pytest.fixture
def digest() -> Callable[..., str]:
    """``digest(plan)``: of every run in bake order, with its code, groups and settings."""
    return _digest


def _digest(plan):
    runs = [[run.code, run.place_in_design, dict(run.groups), dict(run.settings)] for run in plan.runs]
    return sha256(json.dumps(runs, sort_keys=True).encode()).hexdigest()[:16]
