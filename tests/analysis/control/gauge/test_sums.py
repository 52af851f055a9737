"""Do the limits of variance components, sums and shares cover the truth as often as they say?

``CRUMBWISE_LARGE=1 pytest -s tests/analysis/control/gauge/test_sums.py`` draws 2,000 studies of each layout.
"""

from __future__ import annotations

import os

import numpy as np
import pandas as pd
import pytest
from scipy.special import chdtri, fdtri

from analysis.control.gauge.fits import even_fit, fits_of, uneven_fit
from analysis.control.gauge.results import GaugeQuestion
from analysis.control.gauge.study import read_study
from analysis.control.gauge.sums import share_limits, sum_limits
from analysis.control.gauge.uneven import interaction_test

LARGE = os.environ.get("CRUMBWISE_LARGE") == "1"
DRAWS = 2000 if LARGE else 120
# What the formulas lose or give away (uneven data stand on harmonic means); three standard errors are added.
EVEN, UNEVEN = (0.935, 0.975), (0.925, 0.99)
# (people, pieces, repeats, nested, readings gone, variances of person, person by piece, piece, repeatability)
LAYOUTS = {
    "crossed": (3, 10, 3, False, 0, (0.5, 0.2, 4.0, 0.5)),
    "two people": (2, 8, 2, False, 0, (0.1, 0.0, 2.0, 0.5)),
    "five people": (5, 10, 2, False, 0, (0.5, 0.3, 1.0, 0.5)),
    "nested": (3, 6, 2, True, 0, (1.0, 0.0, 4.0, 1.0)),
    "one person": (1, 12, 2, False, 0, (0.0, 0.0, 2.0, 0.5)),
    "gaps": (3, 10, 3, False, 12, (0.5, 0.2, 4.0, 0.5)),
    "nested gaps": (3, 6, 2, True, 5, (1.0, 0.0, 4.0, 1.0)),
}


def room_of(draws):
    return 3 * (0.95 * 0.05 / draws) ** 0.5


def drawn(layout, rng):
    people, pieces, repeats, nested, gone, (of_person, both, of_piece, own) = layout
    person = np.repeat(np.arange(people), pieces * repeats)
    piece = np.tile(np.repeat(np.arange(pieces), repeats), people)
    cell = person * pieces + piece
    sizes = rng.normal(0, np.sqrt(of_piece), people * pieces)[cell if nested else piece]
    y = rng.normal(0, np.sqrt(of_person), people)[person] + sizes
    y = y + rng.normal(0, np.sqrt(both), people * pieces)[cell] + rng.normal(0, np.sqrt(own), len(cell))
    keep = np.sort(rng.permutation(len(y))[gone:])
    return pd.DataFrame({"person": person, "piece": piece, "y": y}).iloc[keep]


def covered(layout, draws, seed=5):
    """Share of draws whose limits hold the truth, by component, and for the gauge's share of the variance."""
    of_person, both, of_piece, own = layout[5]
    truth = {"repeatability": own, "person": of_person, "person by piece": both, "piece": of_piece,
             "reproducibility": of_person + both, "gauge": own + of_person + both,
             "total": own + of_person + both + of_piece}  # fmt: skip
    question = GaugeQuestion(response="y", person="person", piece="piece", nested=layout[3] or None)
    rng = np.random.Generator(np.random.PCG64(seed))
    hits, share = dict.fromkeys(truth, 0), 0
    for _ in range(draws):
        study = read_study(drawn(layout, rng), question)
        fit = (even_fit if study.even else uneven_fit)(study, question, interaction=both > 0)
        for key, one in fit.components.items():
            hits[key] += one.low <= truth[key] <= one.high
        told = fit.shares["gauge"].of_variance
        share += told.low <= truth["gauge"] / truth["total"] <= told.high
    seen = {key: hits[key] / draws for key in fit.components}
    return seen | {"share": share / draws}


@pytest.mark.parametrize("name", LAYOUTS)
def test_limits_cover(name):
    uneven = LAYOUTS[name][4] > 0
    draws = DRAWS // 2 if uneven and not LARGE else DRAWS
    seen = covered(LAYOUTS[name], draws)
    print(name, seen)
    least, most = UNEVEN if uneven else EVEN
    room = room_of(draws)
    assert {key: value for key, value in seen.items() if not least - room <= value <= most + room} == {}


def test_limits_cover_after_the_choice_of_the_model():
    """Pooling person by piece when it is not seen does not spoil what is said of the gauge."""
    layout = LAYOUTS["two people"]
    question = GaugeQuestion(response="y", person="person", piece="piece")
    rng = np.random.Generator(np.random.PCG64(8))
    hits = 0
    for _ in range(DRAWS):
        study = read_study(drawn(layout, rng), question)
        used, _ = fits_of(study, question, interaction_test(study))
        hits += used.components["gauge"].low <= 0.6 <= used.components["gauge"].high
    assert 0.92 - room_of(DRAWS) <= hits / DRAWS <= 0.98 + room_of(DRAWS)


def test_one_mean_square_has_exact_limits():
    low, high = sum_limits(np.array([2.0]), np.array([3.0]), (7,), 0.9)
    assert low == pytest.approx(2 * 3 * 7 / chdtri(7, 0.05))
    assert high == pytest.approx(2 * 3 * 7 / chdtri(7, 0.95))


def test_limits_grow_with_confidence_and_shrink_with_df():
    c, m = np.array([0.5, -0.5]), np.array([9.0, 1.0])
    widths = [np.ptp(sum_limits(c, m, df, level)) for df, level in [((40, 80), 0.9), ((40, 80), 0.99), ((4, 8), 0.99)]]
    assert widths == sorted(widths)


def test_limits_follow_the_unit():
    c, m = np.array([0.5, 0.1, -0.5]), np.array([9.0, 2.0, 1.0])
    once, scaled = sum_limits(c, m, (3, 5, 9), 0.95), sum_limits(c, 100 * m, (3, 5, 9), 0.95)
    assert scaled == pytest.approx(tuple(100 * end for end in once))


def test_a_share_of_everything_ends_at_1_and_of_nothing_at_0():
    whole = np.array([0.5, 0.5])
    m = np.array([4.0, 1.0])
    low, high = share_limits(np.array([0.0, 1.0]), np.array([0.5, 0.5]), np.array([1e-9, 1.0]), (5, 50), 0.95)
    assert high == 1.0
    assert low > 0.9
    assert share_limits(0 * whole, whole, m, (5, 5), 0.95) == (0.0, 0.0)


def test_a_share_from_two_mean_squares_is_the_exact_one_of_f():
    """piece / (piece + own) from F = MS_piece / MS_own (exact for one way of random groups; Searle 1971, ch. 9)."""
    df, r, m = (9, 20), 3, np.array([8.0, 1.7])
    piece, own = np.array([1 / r, -1 / r]), np.array([0.0, 1.0])
    low, high = share_limits(piece, piece + own, m, df, 0.95)
    f = m[0] / m[1]
    exact = []
    for tail in (0.975, 0.025):
        ratio = (f / fdtri(*df, tail) - 1) / r
        exact.append(ratio / (1 + ratio))
    assert (low, high) == pytest.approx(exact, rel=1e-7)


@pytest.mark.parametrize("df", [(2, 18), (9, 18), (15, 4)])
def test_a_difference_is_told_from_0_exactly_when_f_is(df):
    """The lower limit of a difference is 0 where its F test has p of half of 1 - confidence."""
    f = fdtri(*df, 0.975)
    low, _ = sum_limits(np.array([1.0, -1.0]), np.array([f, 1.0]), df, 0.95)
    assert low == pytest.approx(0, abs=1e-9)
    assert sum_limits(np.array([1.0, -1.0]), np.array([1.02 * f, 1.0]), df, 0.95)[0] > 0
    assert sum_limits(np.array([1.0, -1.0]), np.array([0.98 * f, 1.0]), df, 0.95)[0] < 0
