"""The power a plan promises is that of the textbooks, and of simulated bakes."""

import math

import numpy as np
import pytest
from scipy.stats import t as student_t

from analysis.designs.plan import lay_out
from analysis.designs.requests import DesignFactor, DesignRequest, DesignResponse


def two_level(count, replicates, matters, spread=1.0):
    factors = tuple(DesignFactor(name=name, kind="amount", low=-1, high=1) for name in "abcd"[:count])
    rise = DesignResponse(name="rise", spread=spread, matters=matters)
    return lay_out(
        DesignRequest(kind="full factorial", factors=factors, seed=1, replicates=replicates, responses=(rise,))
    )


@pytest.mark.parametrize(("count", "replicates", "matters"), [(3, 4, 1.0), (2, 4, 1.5)])
def test_power_of_an_effect_is_the_share_of_simulated_trials_that_see_it(count, replicates, matters):
    plan = two_level(count, replicates, matters)
    n, df = plan.design.n_runs, plan.design.judgement.df_error
    rng = np.random.Generator(np.random.PCG64(8))
    effects = matters + rng.normal(0, 2 / math.sqrt(n), 200_000)
    spreads = np.sqrt(rng.chisquare(df, 200_000) / df)
    seen = np.mean(np.abs(effects) > student_t.ppf(0.975, df) * spreads * 2 / math.sqrt(n))
    assert plan.design.judgement.power["rise"]["a"] == pytest.approx(seen, abs=0.004)


def test_a_difference_far_above_the_spread_is_certain_and_never_no_number():
    for matters in (5.0, 11.0, 30.0, 1e3, 1e9):
        plan = two_level(2, 4, matters)
        assert plan.design.judgement.power["rise"]["a"] == pytest.approx(1.0, abs=1e-6)


def test_without_a_difference_that_matters_there_is_no_power_but_a_reason():
    plan = two_level(2, 4, None)
    assert plan.design.judgement.power == {"rise": None}
    assert "difference that matters" in plan.design.judgement.reasons["power.rise"]
