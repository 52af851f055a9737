"""Mean run lengths of charts with a memory, and of rules taken together, against published tables.

The tables of Lucas and Crosier, Vance, Crowder, Lucas and Saccucci, and Steiner are read as the
documentation of the R package spc (S. Knoth) quotes them beside its own results.
"""

from __future__ import annotations

import pytest

from analysis.control.rule_costs import cost_of
from analysis.control.run_lengths import sums_limit, sums_run_length, weighted_run_length, weighted_width


def three_digits(value: float) -> float:
    return float(f"{value:.3g}")


# Lucas and Crosier 1982, Technometrics 24:199, Table 1: two sides, k = 0.5, h = 4, no head start.
SUMS = [(0, 168), (0.25, 74.2), (0.5, 26.6), (0.75, 13.3), (1, 8.38), (1.5, 4.75), (2, 3.34), (3, 2.19), (5, 1.31)]


@pytest.mark.parametrize(("shift", "printed"), SUMS)
def test_two_sided_sums(shift, printed):
    assert three_digits(sums_run_length(0.5, 4, shift=shift)) == printed


def test_one_sided_sums():
    # Vance 1986, J. Quality Technology 18:189, k = 0, h = 10; two decimals, some from few nodes.
    for shift, printed in ((-0.25, 2071.51), (0, 124.66), (0.25, 36.71), (1, 10.75)):
        assert sums_run_length(0, 10, shift=shift, sides=1) == pytest.approx(printed, rel=4e-4)
    # k = 0.25, h = 8, shift 2.5, by 24 nodes: a statistics manual of 1999, as quoted with spc.
    assert sums_run_length(0.25, 8, shift=2.5, sides=1) == pytest.approx(4.1500836225, abs=2e-7)


# Crowder 1987, Technometrics 29:401, Table 1: limits fixed at 2, weights 0.5 and 0.05.
CROWDER = [(0, 26.45, 127.53), (0.25, 20.12, 43.94), (0.5, 11.89, 18.97), (1, 4.91, 8.38), (2, 1.94, 4.04)]


@pytest.mark.parametrize(("shift", "half", "twentieth"), CROWDER)
def test_weighted_mean_with_settled_limits(shift, half, twentieth):
    assert weighted_run_length(0.5, 2, shift=shift, exact=False) == pytest.approx(half, abs=0.0055)
    assert weighted_run_length(0.05, 2, shift=shift, exact=False) == pytest.approx(twentieth, abs=0.0055)


# Lucas and Saccucci 1990, Technometrics 32:1, Table 3: weight 0.5, width 3.071; their chain is good to about 1 %.
@pytest.mark.parametrize(("shift", "printed"), [(0, 500), (0.25, 255), (0.5, 88.8), (1, 17.5), (2, 3.63), (4, 1.34)])
def test_weighted_mean_of_half_weight(shift, printed):
    assert weighted_run_length(0.5, 3.071, shift=shift, exact=False) == pytest.approx(printed, rel=0.01)


# Steiner 1999, J. Quality Technology 31:75, Table 2: weight 0.05, width 3, limits that open up.
# His figures come from a chain of coarser steps.
@pytest.mark.parametrize(("shift", "printed"), [(0, 1353.0), (0.25, 127.0), (0.5, 32.5), (1, 9.0)])
def test_weighted_mean_with_exact_limits(shift, printed):
    assert weighted_run_length(0.05, 3, shift=shift) == pytest.approx(printed, rel=0.03)


def test_widths_for_a_wanted_run_length():
    # Crowder 1989, J. Quality Technology 21:155: once in 250 batches.
    found = [weighted_width(weight, 250, exact=False) for weight in (0.05, 0.1, 0.15, 0.2, 0.25)]
    assert found == pytest.approx([2.32, 2.55, 2.65, 2.72, 2.76], abs=0.0055)


def test_a_weighted_mean_without_memory_is_the_plain_chart():
    assert weighted_width(1, 370.3983, exact=True) == pytest.approx(3, abs=1e-5)


def test_the_limit_of_sums_leads_back_to_its_run_length():
    for k, wanted in ((0.25, 370), (0.5, 168), (1, 1000)):
        assert sums_run_length(k, sums_limit(k, wanted)) == pytest.approx(wanted, rel=1e-6)


OUTSIDE, EIGHT = "outside the limits", "eight on one side"
TWO, FOUR = "two of three far out", "four of five well out"


# Champ and Woodall 1987, Technometrics 29:393, Table 1, no shift (figures from memory).
@pytest.mark.parametrize(
    ("rules", "printed"),
    [
        ((OUTSIDE,), 370.40),
        ((OUTSIDE, TWO), 225.44),
        ((OUTSIDE, FOUR), 166.05),
        ((OUTSIDE, EIGHT), 152.73),
        ((OUTSIDE, TWO, FOUR), 132.89),
        ((OUTSIDE, TWO, EIGHT), 122.05),
        ((OUTSIDE, FOUR, EIGHT), 105.78),
        ((OUTSIDE, TWO, FOUR, EIGHT), 91.75),
    ],
)
def test_rules_taken_together(rules, printed):
    assert cost_of(rules).run_length == pytest.approx(printed, abs=0.0051)
