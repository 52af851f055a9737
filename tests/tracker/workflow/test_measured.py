"""Can what was measured at the bench be taken out as a covariate?"""

import pytest

from tracker.errors import InputError
from tracker.store import Store
from tracker.workflow.analysing import analyse_trial
from tracker.workflow.options import Options
from tracker.workflow.recording import record_run


def bake_all(store: Store, *, oven: bool) -> None:
    """Every run baked; rise follows the oven by half a mm per degree and nothing else but a little scatter."""
    for at in range(8):
        degrees = 175.0 + (7 * at) % 11
        rise = 40 + 0.5 * (degrees - 180) + 0.1 * ((3 * at) % 5)
        record_run(store, "soda", str(101 + at), [f"rise height={rise}"], oven_temperature_c=degrees if oven else None)


def test_the_measured_oven_is_a_covariate(soda: Store) -> None:
    bake_all(soda, oven=True)
    options = Options(kind="factors", covariates=("oven temperature",), order=1)
    found = analyse_trial(soda, "soda", responses=["rise height"], options=options)
    family = found.analysis.responses[0].family
    part = next(part for part in family.parts if part.key == "covariates")
    assert part.covariates[0].slope == pytest.approx(0.5, abs=0.05)
    assert "oven temperature" in family.model.terms


def test_an_oven_that_was_not_measured_is_no_covariate(soda: Store) -> None:
    bake_all(soda, oven=False)
    with pytest.raises(InputError, match='no "oven temperature"'):
        analyse_trial(soda, "soda", options=Options(covariates=("oven temperature",)))
