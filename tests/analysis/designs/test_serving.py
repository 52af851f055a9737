"""Are orders of tasting even, and do codes tell nothing?"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise, permutations

import pytest

from analysis.designs.codes import EMERGENCY, USABLE
from analysis.designs.serving import evenness, serving_codes, serving_orders
from analysis.errors import PlanError

AVOIDED = {f"{code:03d}" for code in (*range(100), *range(0, 1000, 100), *range(111, 1000, 111), *EMERGENCY)}
AVOIDED |= {"123", "234", "345", "456", "567", "678", "789", "987", "876", "765", "654", "543", "432", "321", "210"}


@pytest.mark.parametrize("samples", range(2, 13))
def test_a_full_set_is_balanced_for_place_and_for_what_was_tasted_before(samples):
    """The property that Williams 1949 names: every ordered pair of neighbours equally often."""
    full = samples if samples % 2 == 0 else 2 * samples
    orders = serving_orders(samples, full, seed=11)
    assert all(sorted(order) == list(range(samples)) for order in orders)
    assert len(set(orders)) == full
    pairs = Counter(pair for order in orders for pair in pairwise(order))
    times = full // samples
    assert pairs == Counter(dict.fromkeys(permutations(range(samples), 2), times))
    found = evenness(orders)
    assert found.places == found.after == (times, times)


@pytest.mark.parametrize("samples", [3, 4, 5, 8])
def test_any_number_of_assessors_is_even_to_one_in_the_places(samples):
    for seed in range(20):
        for assessors in range(1, 3 * samples):
            least, most = evenness(serving_orders(samples, assessors, seed=seed)).places
            assert most - least <= 1


def test_an_order_drawn_without_a_square_is_seen_to_be_uneven():
    assert evenness([(0, 1, 2), (0, 1, 2), (0, 2, 1)]).places == (0, 3)


def test_who_comes_later_goes_on_where_the_others_stopped():
    all_at_once = serving_orders(5, 13, seed=4)
    assert serving_orders(5, 6, seed=4) + serving_orders(5, 7, seed=4, first=6) == all_at_once


def test_the_same_seed_gives_the_same_tasting_in_ten_years():
    assert serving_orders(4, 3, seed=20261126) == ((3, 0, 2, 1), (0, 1, 3, 2), (1, 2, 0, 3))
    assert serving_codes(4, seed=20261126, assessor=0) == ("428", "558", "779", "588")


@pytest.mark.parametrize("samples", [0, 1, 21])
def test_what_is_no_tasting_is_refused(samples):
    with pytest.raises(PlanError, match="at one tasting"):
        serving_orders(samples, 4, seed=1)


def test_in_10000_sessions_no_code_repeats_or_is_noticed_or_tells_the_order_of_baking():
    """ISO 4120:2021 5.5 asks for random three-digit numbers, each once for an assessor; what to avoid is ours.

    Correlation of codes with place and with the order of baking over all: 40,000 pairs, so that a true zero lies
    within 4 / sqrt(40,000) = 0.02 in all but 6 of 100,000 draws.
    """
    run_codes = ("417", "286", "593", "731")
    seen, places, baked = [], [], []
    for session in range(10_000):
        seed, assessor = divmod(session, 10)
        (order,) = serving_orders(4, 1, seed=seed, first=assessor)
        codes = serving_codes(4, seed=seed, assessor=assessor, taken=run_codes)
        assert len(set(codes)) == 4
        assert not AVOIDED.intersection(codes)
        assert not set(run_codes).intersection(codes)
        seen += map(int, codes)
        places += range(4)
        baked += order
    assert abs(correlation(seen, baked)) < 0.02
    # Codes in rising or falling order are drawn again, evenly, so that places tell nothing either.
    assert abs(correlation(seen, places)) < 0.02
    assert len(set(seen)) == len(USABLE) - len(run_codes)  # each that may be used comes up


def test_the_bound_on_the_correlation_can_fail():
    assert correlation([101, 240, 380, 700], [0, 1, 2, 3]) > 0.9


def correlation(one, other):
    n, mean, middle = len(one), sum(one) / len(one), sum(other) / len(other)
    both = sum((a - mean) * (b - middle) for a, b in zip(one, other, strict=True)) / n
    spread = sum((a - mean) ** 2 for a in one) * sum((b - middle) ** 2 for b in other)
    return both * n / spread**0.5


def test_two_assessors_never_share_a_code_while_there_are_enough():
    taken: list[str] = []
    for assessor in range(107):  # 107 of 8 are 856 of 865
        codes = serving_codes(8, seed=3, assessor=assessor, taken=taken)
        assert not set(codes) & set(taken)
        taken += codes
    again = [serving_codes(8, seed=3, assessor=assessor, taken=taken) for assessor in (200, 201, 202)]
    assert all(len(set(codes)) == 8 for codes in again)


def test_codes_come_again_from_the_same_seed_and_differ_between_assessors():
    assert serving_codes(6, seed=9, assessor=2) == serving_codes(6, seed=9, assessor=2)
    assert serving_codes(6, seed=9, assessor=2) != serving_codes(6, seed=9, assessor=3)
