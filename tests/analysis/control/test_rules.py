"""Is a pattern found where it is complete, and nowhere else, as often as theory says?"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.stats import norm

from analysis.control.rules import DEFAULT, RULES, Rule, completed, completed_on, find_alarms, require_rules, way_out
from analysis.errors import TrialDataError

CHARTS, POINTS = 10_000, 60


def by_hand(rule: Rule, z: list[float], at: int) -> int:
    """The rule read word for word at one point: 0, or its side as ``completed_on`` gives it."""
    window = z[max(at - rule.n + 1, 0) : at + 1]
    if rule.pattern == "beyond":
        for side in (1, -1):
            hits = [side * value > rule.distance for value in window]
            if hits[-1] and sum(hits) >= rule.k:
                return side
        return 0
    if len(window) < rule.n:
        return 0
    steps = [after - before for before, after in pairwise(window)]
    if rule.pattern == "trend":
        return 1 if min(steps) > 0 else -1 if max(steps) < 0 else 0
    if rule.pattern == "alternating":
        return 2 if all(one * other < 0 for one, other in pairwise(steps)) else 0
    near = [abs(value) <= rule.distance for value in window]
    return 2 if (all(near) and rule.pattern == "close") or (not any(near) and rule.pattern == "away") else 0


@pytest.mark.parametrize("key", RULES)
def test_arrays_say_what_the_rule_says_word_for_word(key):
    random = np.random.Generator(np.random.PCG64(3))
    # Drifts, calm and jumpy stretches, so that every pattern comes about.
    parts = [random.standard_normal(300), np.arange(20) / 9 - 1, random.uniform(-0.9, 0.9, 40)]
    parts += [np.tile([1.4, -1.6], 15), random.choice([-1.5, 1.7, 2.4], 60), random.standard_normal(200) + 1]
    z = np.concatenate(parts)
    rule = RULES[key]
    expected = [by_hand(rule, z.tolist(), at) for at in range(len(z))]
    assert completed_on(rule, z).tolist() == expected
    assert any(expected)


def newest_and_more(p: float, before: int, least: int) -> float:
    """Chance that the newest point is a hit on one given side, and at least so many of those before it."""
    return p * sum(math.comb(before, k) * p**k * (1 - p) ** (before - k) for k in range(least, before + 1))


ZIGZAG_14 = 199_360_981  # ways to order 14 points up and down in turn, beginning upwards (Euler's zigzag number)
PER_POINT = {
    "outside the limits": 2 * norm.sf(3),
    "eight on one side": 2 * 0.5**8,
    "six rising or falling": 2 / math.factorial(6),
    "two of three far out": 2 * newest_and_more(norm.sf(2), 2, 1),
    "four of five well out": 2 * newest_and_more(norm.sf(1), 4, 3),
    "fourteen up and down": 2 * ZIGZAG_14 / math.factorial(14),
    "fifteen close in": (1 - 2 * norm.sf(1)) ** 15,
    "eight away from the centre": (2 * norm.sf(1)) ** 8,
}


def test_false_alarms_for_each_point_and_chart_are_those_of_theory():
    z = np.random.Generator(np.random.PCG64(1984)).standard_normal((CHARTS, POINTS))
    for key, theory in PER_POINT.items():
        settled = completed(RULES[key], z)[:, 14:]  # where every rule has all the points it looks back on
        assert settled.mean() == pytest.approx(theory, abs=0.001), key  # within 0.1 point
    out = completed(RULES["outside the limits"], z[:, :25]).any(axis=1).mean()
    assert out == pytest.approx(1 - (1 - 2 * norm.sf(3)) ** 25, abs=0.01)  # within a point


def test_a_point_on_a_line_is_not_beyond_it():
    lower, centre, upper = 4.0 - 0.1, 4.0, 4.0 + 0.1
    z = way_out(np.array([4.1, 3.9, 4.0]), lower=lower, centre=centre, upper=upper)
    assert not completed(RULES["outside the limits"], z).any()
    level = Rule(key="two on one side", pattern="beyond", n=2, k=2)
    assert completed(level, np.array([0.3, 0.0, 0.3, 0.3])).tolist() == [False, False, False, True]


def test_a_missing_point_breaks_a_run():
    z = np.array([1.0] * 7 + [np.nan] + [1.0] * 8)
    assert np.flatnonzero(completed(RULES["eight on one side"], z)).tolist() == [15]


def test_limits_of_two_widths_stand_at_three_on_their_side():
    values = np.array([5.0, 1.0, 7.0, 0.0])
    z = way_out(values, lower=np.array(1.0), centre=np.array(2.0), upper=np.array(5.0))
    assert z.tolist() == [3.0, -3.0, 5.0, -6.0]


def test_without_a_limit_on_one_side_nothing_is_outside_there():
    z = way_out(np.array([9.0, -90.0]), lower=np.array(np.nan), centre=np.array(2.0), upper=np.array(5.0))
    assert z.tolist() == [7.0, -3.0]


def test_an_alarm_names_its_batch_its_side_and_where_the_pattern_began():
    z = np.array([-0.1, 2.5, 0.4, 2.2, *[-0.5] * 9])
    batches = [f"B-{number}" for number in range(1, 14)]
    rules = require_rules(["two of three far out", "eight on one side"])
    found = find_alarms(rules, z, batches=batches, values=10 + z)
    assert [(alarm.batch, alarm.rule, alarm.since, alarm.side) for alarm in found] == [
        ("B-4", "two of three far out", "B-2", "above"),
        ("B-12", "eight on one side", "B-5", "below"),
        ("B-13", "eight on one side", "B-6", "below"),
    ]
    assert found[0].value == pytest.approx(12.2)


def test_rules_come_once_in_the_order_of_the_table_and_few_by_default():
    assert [rule.key for rule in require_rules(["eight on one side", "outside the limits", "eight on one side"])] == [
        "outside the limits",
        "eight on one side",
    ]
    assert DEFAULT == ("outside the limits", "eight on one side")
    with pytest.raises(TrialDataError, match='no rule "nine"') as wrong:
        require_rules(["nine"])
    assert "fifteen close in" in wrong.value.try_this
