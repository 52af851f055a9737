"""Are assessors compared as published, and is what is put into a panel found again?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.questions import Factor, Question, Response
from analysis.scores.assessors import agreement, panel_of

# Shrout and Fleiss (1979), table 2: six targets (rows) by four judges.
SHROUT = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
SCORE = Response(name="crumb score", scale="score")
ASKED = Question(factors=(Factor(name="soda", kind="amount"),), responses=(SCORE,))


def panel(seed: int = 1, *, high: float = 0.0, deaf: bool = False, bakes: int = 24, people: int = 5) -> pd.DataFrame:
    """Four treatments 0.8 apart; person 4 scores ``high`` above the rest, person 3 hears nothing if ``deaf``."""
    chance = np.random.Generator(np.random.PCG64(seed))
    rows = []
    for bake in range(bakes):
        soda = float(bake % 4)
        truth = 5 + 0.8 * soda + 0.3 * chance.standard_normal()
        for person in range(2, 2 + people):
            value = 5 if deaf and person == 3 else truth
            value += 0.5 * chance.standard_normal() + (high if person == 4 else 0.0)
            rows.append((f"{bake:03d}", person, soda, value))
    return pd.DataFrame(rows, columns=["bake", "person", "soda", "crumb score"])


def test_agreement_is_that_of_the_paper():
    # Shrout and Fleiss (1979), table 4: ICC(2,1) = 0.29 and ICC(3,1) = 0.71. The limits 0.019 to 0.761 and
    # 0.342 to 0.946 are those that the package psych of R prints for the same table (from memory).
    order, scores = agreement(np.array(SHROUT, dtype=float), 0.95)
    assert order.value == pytest.approx(0.71, abs=0.005)
    assert scores.value == pytest.approx(0.29, abs=0.005)
    assert (order.low, order.high) == (pytest.approx(0.342, abs=0.001), pytest.approx(0.946, abs=0.001))
    assert (scores.low, scores.high) == (pytest.approx(0.019, abs=0.001), pytest.approx(0.761, abs=0.001))


def test_who_scores_high_and_who_hears_nothing_is_found():
    found = {one.person: one for one in panel_of(panel(high=1.0, deaf=True), SCORE, ASKED).assessors}
    assert found[4].bias_low > 0.5
    assert found[4].bias_high < 1.7
    assert found[3].p > 0.05
    assert all(found[person].p < 0.001 for person in (2, 5, 6))
    assert found[3].spread < found[3].spread_of_rest


def test_intervals_of_the_bias_hold_no_bias_in_95_of_100_panels():
    # Only the bias is asked for: treatments of one level leave nothing else to compute.
    held = []
    for seed in range(60):
        frame = panel(seed).assign(soda=0.0)
        held += [one.bias_low <= 0 <= one.bias_high for one in panel_of(frame, SCORE, ASKED).assessors]
    assert 0.91 <= np.mean(held) <= 0.985  # 300 intervals, of which 5 of one panel hang together


def test_the_spread_between_assessors_is_that_of_the_engine_s_groups():
    frame = panel(bakes=40, people=12)
    shift = dict(zip(range(2, 14), np.linspace(-1.5, 1.5, 12), strict=True))
    frame["crumb score"] += frame["person"].map(shift)
    found = panel_of(frame, SCORE, ASKED)
    assert found.between == pytest.approx(np.std(list(shift.values()), ddof=1), rel=0.1)
    assert found.within == pytest.approx(0.5, rel=0.1)


def test_repeats_are_averaged_and_gaps_are_left_out():
    frame = panel()
    again = frame.assign(**{"crumb score": frame["crumb score"] + 1})
    lone = panel_of(pd.concat([frame, again]), SCORE, ASKED)
    assert lone.assessors[0].bakes == 24
    assert lone.assessors[0].mean == pytest.approx(panel_of(frame, SCORE, ASKED).assessors[0].mean + 0.5)
    gaps = panel_of(frame[~((frame["person"] == 2) & (frame["bake"] < "020"))], SCORE, ASKED)
    assert gaps.bakes_by_all == 4
    assert gaps.assessors[0].bakes == 4


def test_one_assessor_or_one_treatment_says_why():
    alone = panel_of(panel(people=1), SCORE, ASKED)
    assert alone.order is None
    assert alone.assessors[0].bias is None
    once = panel_of(panel(bakes=4), SCORE, ASKED)
    assert once.assessors[0].p is None
    assert once.assessors[0].why
    same = panel_of(panel().assign(soda=1.0), SCORE, ASKED)
    assert same.assessors[0].why == "one treatment only was scored"
