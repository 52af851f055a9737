"""Who reads higher, who repeats worse, which readings are odd: found when there, and not otherwise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.special import stdtr, stdtrit

from analysis.control.gauge.analysing import gauge_study
from analysis.control.gauge.fits import even_fit
from analysis.control.gauge.results import GaugeQuestion
from analysis.control.gauge.study import read_study
from analysis.control.gauge.trust import checks_of, odd_readings

HEIGHTS = GaugeQuestion(response="height", unit="mm", person="baker", piece="loaf")


def check(answer, name):
    return next(one for one in answer.checks if one.check == name)


def test_even_limits_between_people_are_those_of_the_mean_squares(study):
    """Offset ± t sqrt(MS (1 - 1/o) / (p r)) with the mean square and df that people are judged by (textbook)."""
    answer = gauge_study(study(offsets=(0.8, 0.0, -0.5), seed=3), HEIGHTS)
    (line,) = [one for one in answer.used.table if one.term == "person"]
    (error,) = [one for one in answer.used.table if one.term == line.against]
    se = np.sqrt(error.mean_sq * (1 - 1 / 3) / 16)
    reach = stdtrit(error.df, 1 - 0.025 / 3) * se
    for one in answer.persons:
        assert one.offset == pytest.approx(one.mean - np.mean([each.mean for each in answer.persons]), abs=1e-9)
        assert (one.low, one.high) == pytest.approx((one.offset - reach, one.offset + reach), rel=1e-6)
    reach = stdtrit(error.df, 1 - 0.025 / 3) * np.sqrt(error.mean_sq * 2 / 16)
    pair = answer.pair
    assert (pair.higher, pair.lower) == ("Ada", "Cleo")
    assert (pair.low, pair.high) == pytest.approx((pair.difference - reach, pair.difference + reach), rel=1e-6)


def test_people_who_read_alike_are_seldom_told_apart(study):
    seen = [gauge_study(study(seed=seed), HEIGHTS).pair.low > 0 for seed in range(60)]
    assert sum(seen) <= 8  # at most 3 of 60 are meant; more than 8 has a chance below 1 %


def test_a_person_who_reads_high_is_named_in_spite_of_gaps(study):
    frame = study(offsets=(0.0, 2.0, 0.0)).drop(index=[2, 9, 30])
    pair = gauge_study(frame, HEIGHTS).pair
    assert pair.higher == "Ben"
    assert pair.low < 2.0 < pair.high
    assert pair.low > 0


def test_a_slip_of_the_pen_is_named_with_its_row(study):
    frame = study(repeats=3)
    frame.loc[25, "height"] += 6
    (odd,) = gauge_study(frame, HEIGHTS).odd
    assert (odd.row, odd.person, odd.piece) == (26, frame.baker[25], frame.loaf[25])
    assert odd.value - odd.expected > 4
    assert not odd.pair
    assert odd.p < 1e-6


def test_of_two_readings_both_are_odd_and_said_once(study):
    frame = study()
    frame.loc[25, "height"] += 6
    found = gauge_study(frame, HEIGHTS).odd
    assert len({(one.person, one.piece) for one in found}) == len(found)
    odd = found[0]
    assert (odd.person, odd.piece) == (frame.baker[25], frame.loaf[25])
    assert odd.pair
    both = frame[(frame.baker == odd.person) & (frame.loaf == odd.piece)].height
    assert sorted([odd.value, odd.expected]) == pytest.approx(sorted(both))


def test_several_slips_are_all_named_and_their_fellows_are_not(study):
    frame = study(repeats=3)
    slips = {3: 7.0, 25: 6.0, 50: -5.0}
    for row, slip in slips.items():
        frame.loc[row, "height"] += slip
    assert [odd.row for odd in gauge_study(frame, HEIGHTS).odd] == [4, 26, 51]


def test_the_t_of_a_reading_is_that_of_a_fit_with_a_column_for_it(study):
    """Deleting a reading and giving it a parameter of its own are the same (textbook of regression)."""
    frame = study(repeats=3)
    frame.loc[25, "height"] += 4
    (odd,) = gauge_study(frame, HEIGHTS).odd
    cells = pd.get_dummies(frame.baker + frame.loaf).to_numpy(dtype=float)
    own = np.zeros((len(frame), 1))
    own[25] = 1
    x = np.hstack([cells, own])
    b, left, _, _ = np.linalg.lstsq(x, frame.height.to_numpy(), rcond=None)
    df = len(frame) - x.shape[1]
    t = b[-1] / np.sqrt(left[0] / df * np.linalg.inv(x.T @ x)[-1, -1])
    assert odd.p == pytest.approx(2 * len(frame) * stdtr(df, -abs(t)), rel=1e-6)


@pytest.mark.parametrize("repeats", [2, 3])
def test_clean_studies_seldom_have_an_odd_reading(study, repeats):
    named = [bool(odd_readings(read_study(study(seed=seed, repeats=repeats), HEIGHTS))) for seed in range(100)]
    assert sum(named) <= 11


def test_a_person_who_repeats_worse_is_named(study):
    answer = gauge_study(study(own=(0.2, 0.9, 0.3), repeats=3), HEIGHTS)
    told = check(answer, "repeats alike")
    assert told.verdict == "look here"
    assert told.facts["worst"] == "Ben"
    lines = {one.person: one for one in answer.persons}
    assert lines["Ben"].sd == pytest.approx(told.facts["worst_sd"])
    assert lines["Ben"].sd_low < 0.9 < lines["Ben"].sd_high


def test_like_repeats_and_even_scatter_are_seldom_doubted(study):
    doubts = {"repeats alike": 0, "scatter by size": 0}
    for seed in range(100):
        read = read_study(study(seed=seed), HEIGHTS)
        for one in checks_of(read, even_fit(read, HEIGHTS, interaction=True)):
            if one.check in doubts:
                doubts[one.check] += one.verdict == "look here"
    assert max(doubts.values()) <= 11
    assert sum(doubts.values()) >= 1  # they can fail


def test_scatter_that_grows_with_size_is_seen(study):
    frame = study(pieces=20, repeats=3, own=(0.0001,) * 3, piece_sd=8, seed=9)
    rng = np.random.Generator(np.random.PCG64(2))
    size = frame.groupby("loaf").height.transform("mean")
    told = check(gauge_study(frame.assign(height=frame.height + rng.normal(0, np.exp((size - 45) / 8))), HEIGHTS),
                 "scatter by size")  # fmt: skip
    assert told.verdict == "look here"
    assert told.facts["direction"] == "up"


def test_a_person_who_never_scatters_is_told_without_a_p(study):
    frame = study(own=(0.0, 0.4, 0.4))
    told = check(gauge_study(frame, HEIGHTS), "repeats alike")
    assert told.facts["p"] is None
    assert told.facts["best"] == "Ada"
    assert told.verdict == "look here"


def test_a_scale_too_coarse_is_said(study):
    frame = study(own=(0.4, 0.4, 0.4))
    fine = check(gauge_study(frame.round({"height": 1}), HEIGHTS), "scale step")
    coarse = check(gauge_study(frame.assign(height=(frame.height / 2).round() * 2), HEIGHTS), "scale step")
    assert (fine.verdict, coarse.verdict) == ("fine", "look here")
    assert coarse.facts["step"] == 2


def test_few_people_pieces_and_repeats_are_said(study):
    frame = study(people=("Ada", "Ben"), pieces=4)
    said = {one.check: one for one in gauge_study(frame, HEIGHTS).checks}
    assert said["few people"].facts["people"] == 2
    assert said["few pieces"].facts["pieces"] == 4
    assert said["few repeats"].facts["df"] == 8
    enough = {one.check for one in gauge_study(study(), HEIGHTS).checks}
    assert not {"few people", "few pieces", "few repeats"} & enough


def test_confidence_widens(study):
    frame = study(offsets=(0.8, 0.0, -0.5))
    widths = [
        answer.pair.high - answer.pair.low
        for answer in (gauge_study(frame, replace(HEIGHTS, confidence=level)) for level in (0.8, 0.95, 0.99))
    ]
    assert widths == sorted(widths)
