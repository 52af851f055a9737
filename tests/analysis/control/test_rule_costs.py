"""Is the cost beside the switch of a rule what simulated charts show?"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.control import rule_costs
from analysis.control.rule_costs import cost_of, costs_beside
from analysis.control.rules import DEFAULT, RULES, completed, require_rules
from analysis.errors import TrialDataError


def test_one_point_outside_in_ten_thousand_charts_within_a_tenth_of_a_point():
    random = np.random.Generator(np.random.PCG64(11))
    z = random.standard_normal((10_000, 25))
    (rule,) = require_rules(["outside the limits"])
    rate = completed(rule, z).mean()
    assert abs(100 * rate - cost_of(["outside the limits"]).per_100) < 0.1


def test_the_share_of_charts_flagged_within_25_batches():
    random = np.random.Generator(np.random.PCG64(12))
    z = random.standard_normal((10_000, 25))
    flagged = np.zeros(len(z), dtype=bool)
    for rule in require_rules(DEFAULT):
        flagged |= completed(rule, z).any(axis=1)
    assert flagged.mean() == pytest.approx(cost_of(DEFAULT).within_25, abs=0.01)
    assert cost_of(["outside the limits"]).within_25 == pytest.approx(1 - 0.9973002**25, abs=1e-6)


@pytest.mark.parametrize("shift", [0.0, 1.0])
@pytest.mark.parametrize("keys", [["eight on one side"], [*DEFAULT, "four of five well out", "fifteen close in"]])
def test_the_chain_of_states_and_the_simulation_agree(keys, shift):
    exact = cost_of(keys, shift=shift)
    assert exact.exact
    lengths = rule_costs._simulated(require_rules(keys), shift)
    assert exact.run_length == pytest.approx(lengths.mean(), rel=0.03)


def test_six_rising_or_falling_alone_is_as_long_as_theory():
    # Six values are in one of the two orders with chance 2 / 720; a longer run shares its windows, so the mean
    # wait is the inverse of the rate at which such runs begin, to within what the simulation can tell.
    cost = cost_of(["six rising or falling"])
    begins = 2 * (1 / 720 - 1 / 5040)  # six in order, and not the seventh before them
    assert not cost.exact
    assert cost.run_length == pytest.approx(1 / begins, rel=0.03)


def test_each_further_rule_costs():
    alone = cost_of(DEFAULT)
    beside = costs_beside(DEFAULT, among=[key for key in RULES if key not in DEFAULT])
    assert all(cost.per_100 >= alone.per_100 - 0.01 for cost in beside.values())
    assert beside["four of five well out"].per_100 == pytest.approx(100 / 105.78, abs=0.001)


def test_the_answer_is_the_same_every_time(monkeypatch):
    monkeypatch.setattr(rule_costs, "CHARTS", 5000)
    rule_costs._cost.cache_clear()
    first = cost_of(["fourteen up and down"])
    rule_costs._cost.cache_clear()
    assert cost_of(["fourteen up and down"]) == first
    assert 0 < first.half_width < 0.04 * first.run_length
    rule_costs._cost.cache_clear()


@pytest.mark.parametrize(("rules", "shift"), [([], 0), (["nine lives"], 0), (DEFAULT, 30), (DEFAULT, float("nan"))])
def test_what_cannot_be_asked_is_refused(rules, shift):
    with pytest.raises(TrialDataError) as refused:
        cost_of(rules, shift=shift)
    assert refused.value.try_this
