"""Operating curves of rules of acceptance against published tables (figures from memory) and exact chances."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from analysis.control.acceptance import attributes_rule, operating_curve, variables_rule
from analysis.control.acceptance_rules import smallest_variables_rule

# Montgomery, Introduction to Statistical Quality Control, chapter on acceptance sampling: 89 pieces, at most 2 outside.
EIGHTY_NINE = {
    0.005: 0.9897, 0.01: 0.9397, 0.02: 0.7366, 0.03: 0.4985, 0.04: 0.3042,
    0.05: 0.1721, 0.06: 0.0919, 0.07: 0.0468, 0.08: 0.0230, 0.09: 0.0109,
}  # fmt: skip
# NIST/SEMATECH e-Handbook 6.2.3.2: 52 pieces, at most 3 outside; three digits.
FIFTY_TWO = [0.998, 0.980, 0.930, 0.845, 0.739, 0.620, 0.502, 0.394, 0.300, 0.223, 0.162, 0.115]


@pytest.mark.parametrize(("share", "printed"), EIGHTY_NINE.items())
def test_89_pieces_at_most_2_outside(share, printed):
    (point,) = operating_curve(attributes_rule(89, 2), [share])
    assert point.accept == pytest.approx(printed, abs=5.1e-5)
    assert point.reject == pytest.approx(stats.binom.sf(2, 89, share), abs=1e-12)


def test_52_pieces_at_most_3_outside():
    shares = [percent / 100 for percent in range(1, 13)]
    accepted = [point.accept for point in operating_curve(attributes_rule(52, 3), shares)]
    assert accepted == pytest.approx(FIFTY_TWO, abs=0.0011)


def test_a_small_batch_counts_without_putting_back():
    # By hand: 20 of 60 taken, 3 of the 60 outside: none found with C(57, 20) / C(60, 20).
    (point,) = operating_curve(attributes_rule(20, 0, batch_size=60), [3 / 60])
    assert point.accept == pytest.approx(math.comb(57, 20) / math.comb(60, 20), rel=1e-12)


def test_mean_and_own_spread():
    # Montgomery, by nomograph: a good share of 1 % (95 %) and a bad one of 6 % (10 %) take 40 pieces and k = 1.9.
    good, bad = operating_curve(variables_rule(40, 1.9), [0.01, 0.06])
    assert (good.accept, bad.accept) == pytest.approx((0.95, 0.10), abs=0.006)
    found = smallest_variables_rule(0.01, 0.06)
    assert found.pieces == pytest.approx(40, abs=2)
    assert found.accept == pytest.approx(1.9, abs=0.01)


def test_mean_and_known_spread():
    # n = ((z_0.05 + z_0.10) / (z_0.01 - z_0.06))^2 = (2.9264 / 0.7716)^2 = 14.4, from tables of the normal.
    found = smallest_variables_rule(0.01, 0.06, sigma=1.5)
    assert found.pieces == 15
    (bad,) = operating_curve(found, [0.06])
    assert bad.accept == pytest.approx(0.10, abs=1e-9)
