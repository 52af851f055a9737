"""Sizes answer back: what is solved gives the power that was asked, and chance agrees with the formulas."""

import numpy as np
import pytest
from scipy.stats import fisher_exact

from analysis.errors import NotPossible, PlanError
from analysis.sizes import powers, simulating
from analysis.sizes.answers import answer
from analysis.sizes.asking import SizeQuestion
from analysis.sizes.solving import whole_bakes_for


def two_cubed(replicates=3):
    signs = np.array([[1 if run >> at & 1 else -1 for at in range(3)] for run in range(8)] * replicates, dtype=float)
    pairs = np.column_stack([signs[:, 0] * signs[:, 1], signs[:, 0] * signs[:, 2], signs[:, 1] * signs[:, 2]])
    return np.column_stack([np.ones(len(signs)), signs, pairs])


@pytest.mark.parametrize("draw", [simulating.by_estimates, simulating.by_noise])
def test_simulated_power_is_the_exact_one(draw):
    x = two_cubed()
    found = draw(x, [50, 0.5, 0.25, 0, 0, 0, 0], 1.0, trials=40_000, seed=7)
    for place, difference in ((1, 1.0), (2, 0.5), (3, 0.0)):
        exact = powers.effect(24, difference, 1.0, 24 - 7) if difference else 0.05
        assert found.power[place] == pytest.approx(exact, abs=4 * (exact * (1 - exact) / 40_000) ** 0.5)


def test_blocks_and_whole_plots_are_simulated_as_they_are_judged():
    whole = simulating.two_kinds_in_groups(8, 6, 3, 1, 2, within=False, trials=40_000, seed=2)
    assert whole.power[0] == pytest.approx(powers.whole_plot_effect(4, 6, 3, 1, 2), abs=0.01)
    # Within blocks the days cancel: 24 bakes of each on 8 * 6 - 8 - 1 error df.
    within = simulating.two_kinds_in_groups(8, 6, 1.5, 5, 2, within=True, trials=40_000, seed=2)
    assert within.power[0] == pytest.approx(powers._t_power(1.5 / 2 * (24 / 2) ** 0.5, 39, 0.95), abs=0.01)


def test_shares_are_counted_outcome_by_outcome():
    n, one, other = 8, 0.3, 0.9
    power = 0.0
    for a in range(n + 1):
        for b in range(n + 1):
            chance = np.prod([1]) * _binomial(a, n, one) * _binomial(b, n, other)
            power += chance * (fisher_exact([[a, n - a], [b, n - b]])[1] <= 0.05)
    assert powers.shares_exact(n, one, other) == pytest.approx(power, abs=1e-9)


def test_shares_are_counted_fast_enough_for_the_most_that_is_allowed():
    # At 500 of each the exact test is a little below the normal approximation, which knows no whole counts.
    exact, normal = powers.shares_exact(500, 0.5, 0.6), powers.shares_normal(500, 0.5, 0.6)
    assert normal - 0.03 < exact < normal


def test_a_dip_of_an_exact_test_is_stepped_over():
    chances = {2: 0.1, 3: 0.5, 4: 0.81, 5: 0.79, 6: 0.85, 7: 0.9, 8: 0.92}
    assert whole_bakes_for(lambda n: chances.get(n, 1.0), 0.8) == 6


def _binomial(k, n, p):
    from math import comb

    return comb(n, k) * p**k * (1 - p) ** (n - k)


def test_scores_by_formula_agree_with_drawn_scores():
    # Proportional odds for two kinds is the rank-sum test in all but name: simulate it with ties.
    from scipy.stats import mannwhitneyu

    shares, ratio, each = (0.2, 0.3, 0.3, 0.2), 4.0, 40
    rng = np.random.Generator(np.random.PCG64(5))
    up = powers.moved(shares, ratio)
    one = rng.choice(4, (1500, each), p=shares)
    other = rng.choice(4, (1500, each), p=up)
    p = mannwhitneyu(one, other, axis=1, method="asymptotic", use_continuity=False).pvalue
    assert np.mean(p < 0.05) == pytest.approx(powers.scores(each, shares, ratio), abs=0.05)


CASES = [
    SizeQuestion(what="means", spread=2, difference=4, kinds=3),
    SizeQuestion(what="pairs", spread=2, difference=3),
    SizeQuestion(what="effects", spread=2, difference=2, factors=3),
    SizeQuestion(what="doses", spread=2, difference=4, kinds=5),
    SizeQuestion(what="plots", spread=2, difference=5, pieces=4, plot_spread=1.5),
    SizeQuestion(what="pieces", spread=1, difference=4, piece_spread=4, pieces=2),
    SizeQuestion(what="equivalence", spread=2, margin=3),
    SizeQuestion(what="shares", shares=(0.4, 0.9)),
    SizeQuestion(what="scores", shares=(0.2, 0.5, 0.3), odds_ratio=4),
]


@pytest.mark.parametrize("question", CASES, ids=lambda question: question.what)
def test_what_is_solved_reaches_the_power_and_one_bake_less_does_not(question):
    from dataclasses import replace

    found = answer(question)
    assert found.solved == "bakes"
    assert found.power >= 0.8 - 1e-9
    if found.each > 2:
        assert answer(replace(question, bakes=found.each - 1)).power < 0.8
    assert found.curve


@pytest.mark.parametrize("question", CASES[:6], ids=lambda question: question.what)
def test_the_smallest_difference_seen_has_the_asked_power(question):
    from dataclasses import replace

    found = answer(replace(question, difference=None, bakes=6))
    assert found.solved == "difference"
    again = answer(replace(question, difference=found.difference, bakes=6))
    assert again.power == pytest.approx(0.8, abs=1e-6)


def test_pieces_help_until_the_bakes_own_error_rules():
    found = answer(SizeQuestion(what="pieces", spread=1, piece_spread=4, difference=4, bake_cost=10, piece_cost=1))
    bakes = [point.bakes for point in found.pieces]
    assert bakes == sorted(bakes, reverse=True)
    assert bakes[0] > bakes[3]
    assert all(point.cost == 2 * point.bakes * (10 + point.pieces) for point in found.pieces)


@pytest.mark.parametrize(
    ("question", "match"),
    [
        (SizeQuestion(what="means", difference=3), "spread"),
        (SizeQuestion(what="means", spread=-1, difference=3), "not above 0"),
        (SizeQuestion(what="means", spread=2), "difference is missing"),
        (SizeQuestion(what="means", spread=2, difference=3, power=1.2), "between 0 and 1"),
        (SizeQuestion(what="means", spread=2, difference=3, kinds=1), "too few"),
        (SizeQuestion(what="pieces", spread=2, difference=3), "pieces of one bake"),
        (SizeQuestion(what="shares", shares=(0.5, 1.4)), "between 0 and 1"),
        (SizeQuestion(what="shares", shares=(0.5, 0.5)), "the same"),
        (SizeQuestion(what="scores", shares=(0.5, 0.4), odds_ratio=2), "add up to 1"),
        (SizeQuestion(what="equivalence", spread=2, margin=1, difference=1), "inside the margin"),
        (SizeQuestion(what="taste"), "no question"),
        (SizeQuestion(what="means", spread=2, difference=3, power=0.01), "asks for nothing"),
        (SizeQuestion(what="means", spread=2, difference=3, confidence=0.2), "less than even"),
        (SizeQuestion(what="means", spread=float("nan"), difference=3), "not above 0"),
        (SizeQuestion(what="means", spread=1e300, difference=3), "same unit"),
        (SizeQuestion(what="means", spread=2, difference=3, kinds=10**8), "too many"),
        (SizeQuestion(what="means", spread=2, difference=3, bakes=10**9), "too many"),
        (SizeQuestion(what="effects", spread=2, difference=3, factors=4000), "too many"),
        (SizeQuestion(what="plots", spread=2, difference=3, plot_spread=-1), "not above 0"),
        (SizeQuestion(what="pieces", spread=2, difference=3, piece_spread=1, bake_cost=-5), "no cost"),
        (SizeQuestion(what="shares", shares=(0.5, 0.9), bakes=3000), "too many"),
        (SizeQuestion(what="scores", shares=(0.5, float("nan")), odds_ratio=2), "add up to 1"),
    ],
)
def test_what_cannot_be_sized_says_why(question, match):
    with pytest.raises(PlanError, match=match) as caught:
        answer(question)
    assert caught.value.try_this


def test_more_bakes_than_any_kitchen_has_are_refused():
    with pytest.raises(NotPossible, match="More than"):
        answer(SizeQuestion(what="means", spread=100, difference=0.01))
