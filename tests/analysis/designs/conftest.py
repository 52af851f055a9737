"""A plan as a trial that stands, for tests that go on from it."""

from collections.abc import Callable

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
