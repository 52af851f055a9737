"""Does a rule of acceptance do what its operating curve promises, and is what makes no sense refused?"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy import stats

from analysis.control.acceptance import (
    attributes_rule,
    dispose,
    dispose_count,
    operating_curve,
    share_accepted,
    variables_rule,
)
from analysis.control.acceptance_rules import smallest_attributes_rule, smallest_variables_rule
from analysis.control.results import Specification
from analysis.errors import NotPossible, TrialDataError
from analysis.words.acceptance import say_curve, say_curve_point, say_disposition, say_rule

SPEC = Specification(response="rise height", unit="mm", lower=40, upper=48)


def test_pieces_outside_decide():
    rule = attributes_rule(5, 0, reject=2)
    readings = [44, 43, 45, 44, 42.5]
    assert dispose(rule, readings, SPEC).verdict == "accept"
    assert dispose(rule, [*readings[:4], 39.9], SPEC).verdict == "hold"
    assert dispose(rule, [*readings[:3], 48.1, 39.9], SPEC).verdict == "reject"
    assert dispose(rule, [40, 48, 44, 44, 44], SPEC).verdict == "accept"  # on the limit is inside
    assert [dispose_count(rule, outside).verdict for outside in range(4)] == ["accept", "hold", "reject", "reject"]


def test_the_distance_of_the_mean_decides():
    rule = variables_rule(5, 2.0, reject=1.0, sigma=1.0)
    assert dispose(rule, [44] * 5, SPEC).verdict == "accept"
    assert dispose(rule, [46.5] * 5, SPEC).verdict == "hold"
    held = dispose(rule, [41.5] * 5, SPEC)
    assert (held.verdict, held.limit, held.figure) == ("hold", 40, pytest.approx(1.5))
    assert dispose(rule, [40.5] * 5, SPEC).verdict == "reject"
    assert dispose(rule, [38] * 5, SPEC).figure == pytest.approx(-2)


def test_pieces_all_alike_are_held_when_their_spread_is_asked_for():
    rule = variables_rule(4, 1.8)
    inside, outside = dispose(rule, [44.0] * 4, SPEC), dispose(rule, [50.0] * 4, SPEC)
    assert (inside.verdict, outside.verdict, inside.figure) == ("hold", "reject", None)
    assert "read all alike" in say_disposition(inside, SPEC, batch="B-1")


@pytest.mark.parametrize("share", [0.01, 0.05, 0.15])
@pytest.mark.parametrize("sigma", [1.0, None])
def test_rules_by_variables_do_as_their_curve_says(share, sigma):
    # 10,000 simulated batches, all that is outside beyond the upper limit; within a point of the curve.
    rule = variables_rule(8, 1.7, reject=1.2, sigma=sigma)
    x = np.random.Generator(np.random.PCG64(1)).standard_normal((10_000, 8))
    upper = stats.norm.isf(share)
    spread = 1.0 if sigma else x.std(axis=1, ddof=1)
    distance = (upper - x.mean(axis=1)) / spread
    (point,) = operating_curve(rule, [share])
    assert np.mean(distance >= 1.7) == pytest.approx(point.accept, abs=0.012)
    assert np.mean(distance < 1.2) == pytest.approx(point.reject, abs=0.012)
    some = [dispose(rule, row, Specification(response="x", upper=float(upper))).verdict for row in x[:500]]
    assert some.count("accept") == int(np.sum(distance[:500] >= 1.7))
    assert some.count("reject") == int(np.sum(distance[:500] < 1.2))


def test_the_curve_falls_from_one_to_nothing_and_its_chances_sum_to_one():
    for rule in (attributes_rule(20, 1, reject=4), variables_rule(6, 1.8, reject=1.0), variables_rule(6, 1.8, sigma=2)):
        points = operating_curve(rule, np.linspace(0, 1, 41))
        accepted = [point.accept for point in points]
        assert (accepted[0], accepted[-1]) == pytest.approx((1, 0), abs=1e-9)
        assert all(b <= a + 1e-12 for a, b in pairwise(accepted))
        assert all(p.accept + p.hold + p.reject == pytest.approx(1) and p.hold >= 0 for p in points)


def test_points_of_producer_and_consumer_lie_on_the_curve():
    for rule in (attributes_rule(50, 2), variables_rule(20, 1.9), variables_rule(20, 1.9, sigma=1)):
        for chance in (0.95, 0.10):
            (point,) = operating_curve(rule, [share_accepted(rule, chance)])
            assert point.accept == pytest.approx(chance, abs=1e-6)
    small = attributes_rule(20, 1, batch_size=60)
    assert operating_curve(small, [share_accepted(small, 0.95)])[0].accept >= 0.95


@pytest.mark.parametrize(("good", "bad"), [(0.01, 0.06), (0.02, 0.2), (0.001, 0.05)])
def test_the_smallest_rule_keeps_both_points_and_one_piece_fewer_does_not(good, bad):
    rule = smallest_attributes_rule(good, bad)
    one, other = operating_curve(rule, [good, bad])
    assert one.accept >= 0.95
    assert other.accept <= 0.10
    fewer = rule.pieces - 1
    kept = [
        c for c in range(fewer) if stats.binom.cdf(c, fewer, good) >= 0.95 and stats.binom.cdf(c, fewer, bad) <= 0.1
    ]
    assert kept == []
    by_mean = smallest_variables_rule(good, bad)
    one, other = operating_curve(by_mean, [good, bad])
    assert one.accept >= 0.95
    assert other.accept <= 0.10 + 1e-9
    assert smallest_variables_rule(good, bad, sigma=1).pieces <= by_mean.pieces < rule.pieces


def test_units_change_no_verdict():
    rule = variables_rule(5, 1.9, reject=1.2)
    inch = Specification(response="x", lower=40 / 25.4, upper=48 / 25.4)
    for seed in range(30):
        x = 43 + 1.5 * np.random.Generator(np.random.PCG64(seed)).standard_normal(5)
        assert dispose(rule, x, SPEC).verdict == dispose(rule, x[::-1] / 25.4, inch).verdict


@pytest.mark.parametrize(
    "ask",
    [
        lambda: attributes_rule(0, 0),
        lambda: attributes_rule(20, -1),
        lambda: attributes_rule(20, 20),
        lambda: attributes_rule(20, 2, reject=2),
        lambda: attributes_rule(20, 1.5),
        lambda: attributes_rule(20, 1, batch_size=10),
        lambda: variables_rule(1, 1.9),
        lambda: variables_rule(5, 1.0, reject=2.0),
        lambda: variables_rule(5, math.nan),
        lambda: variables_rule(5, 1.9, sigma=0),
        lambda: operating_curve(attributes_rule(20, 1), [1.5]),
        lambda: operating_curve(attributes_rule(20, 1), [math.nan]),
        lambda: share_accepted(attributes_rule(20, 1), 1),
        lambda: dispose(attributes_rule(5, 1), [44] * 4, SPEC),
        lambda: dispose(attributes_rule(2, 1), [44, math.nan], SPEC),
        lambda: dispose(attributes_rule(2, 1), [44, 44], Specification(response="x")),
        lambda: dispose_count(attributes_rule(5, 1), 6),
        lambda: smallest_attributes_rule(0.06, 0.01),
        lambda: smallest_variables_rule(0.01, 0.06, producer=0.7),
    ],
)
def test_what_makes_no_sense_is_refused_with_a_way_out(ask):
    with pytest.raises(TrialDataError) as refused:
        ask()
    assert refused.value.where
    assert refused.value.try_this


def test_a_rule_that_takes_too_many_pieces_is_refused():
    for smallest in (smallest_attributes_rule, smallest_variables_rule):
        with pytest.raises(NotPossible, match="2000 pieces"):
            smallest(0.0100, 0.0101)
    with pytest.raises(NotPossible):
        smallest_variables_rule(0.0100, 0.0101, sigma=1)


def test_verdicts_and_rules_in_words():
    rule = attributes_rule(20, 1, reject=3)
    assert say_disposition(dispose_count(rule, 2), SPEC, batch="B-7") == (
        "Batch B-7 is held: 2 of 20 pieces lie outside 40 to 48 mm; "
        "with up to 1 it is accepted, with 3 or more rejected."
    )
    assert "with none outside" in say_rule(attributes_rule(20, 0))
    assert "else held" in say_rule(rule)
    assert "of the batches between are held" in say_curve(rule)
    (point,) = operating_curve(rule, [0.1])
    assert say_curve_point(point) == "10 % outside: accepted 39 %, held 29 %, rejected 32 %"
    by_mean = variables_rule(5, 1.9, reject=1.2)
    said = say_disposition(dispose(by_mean, [44, 43, 45, 41, 42], SPEC), SPEC, batch="B-8")
    assert said.startswith("Batch B-8 is held: its mean lies 1.897 standard deviations inside 40 mm; from 1.9 on")
    assert "(of their own)" in say_rule(by_mean)
    assert "(known)" in say_rule(variables_rule(5, 1.9, sigma=1))
    assert "(all beyond one limit)" in say_curve(by_mean)
    said = say_disposition(dispose(by_mean, [49, 50, 48, 49, 49.5], SPEC), SPEC, batch="B-9")
    assert "rejected: its mean lies" in said
    assert "beyond 48 mm" in said
