"""Is the shape chosen as well as the module says, and refused when it cannot be had?"""

import numpy as np
import pandas as pd
import pytest

from analysis.dose_response.compare import aicc, compare_shapes
from analysis.dose_response.layout import read_layout
from analysis.errors import NotPossible, TrialDataError
from analysis.questions import Question, Response

RISE = Response(name="rise")
DOSES = np.array([0.25, 0.75, 1.25, 1.75, 2.25, 3.0])
DRAWS = 30


def layout(x, y):
    frame = pd.DataFrame({"dose": x, "rise": y})
    return read_layout(frame, RISE, Question(factors=(), responses=(RISE,)), dose="dose", by=None)


def test_aicc_by_hand():
    # n ln(RSS/n) + 2K + 2K(K+1)/(n-K-1) with n = 10, RSS = 20, three curve parameters and the variance.
    assert aicc(20.0, 10, 3, 0.0) == pytest.approx(10 * np.log(2) + 8 + 40 / 5)


@pytest.mark.parametrize(
    ("truth", "name"),
    [
        (lambda x: 40 + 0 * x, "flat"),
        (lambda x: 30 + 6 * x, "line"),
        (lambda x: 30 + 16 * np.minimum(x, 1.6), "linear-plateau"),
    ],
)
def test_the_margin_finds_the_simple_truth_more_often_than_aicc_alone(truth, name):
    x = np.repeat(DOSES, 4)
    chosen = lowest = 0
    for seed in range(DRAWS):
        noise = np.random.Generator(np.random.PCG64([3, seed])).standard_normal(x.size)
        choice = compare_shapes(layout(x, truth(x) + 1.8 * noise), None)
        chosen += choice.chosen.fit.shape.name == name
        lowest += choice.ranked[0].fit.shape.name == name
    assert chosen >= lowest
    assert chosen >= 0.6 * DRAWS


def test_weights_add_up_and_follow_aicc():
    x = np.repeat(DOSES, 3)
    choice = compare_shapes(layout(x, 60 - 8 * (x - 1.7) ** 2 + np.tile([0.4, -0.1, -0.3], 6)), None)
    assert sum(one.weight for one in choice.ranked) == pytest.approx(1.0)
    scores = [one.aicc for one in choice.ranked]
    assert scores == sorted(scores)
    assert choice.ranked[0].weight == max(one.weight for one in choice.ranked)


def test_a_larger_curve_never_fits_worse_than_the_one_inside_it():
    for seed in range(12):
        x = np.repeat(DOSES, 3)
        y = 20 * np.random.Generator(np.random.PCG64(seed)).standard_normal(x.size)
        rss = {one.fit.shape.name: one.fit.rss for one in compare_shapes(layout(x, y), None).ranked}
        for small, large in [("flat", "line"), ("line", "quadratic"), ("flat", "linear-plateau"), ("flat", "hump"),
                             ("logistic-3", "logistic-4"), ("log-logistic-3", "log-logistic-4")]:  # fmt: skip
            if small in rss and large in rss:
                assert rss[large] <= rss[small] * (1 + 1e-9)


def test_too_few_doses_rule_shapes_out_and_say_so():
    x = np.repeat([1.0, 2.0, 3.0], 4)
    choice = compare_shapes(layout(x, x + np.tile([0.1, -0.2, 0.3, -0.1], 3)), None)
    assert {one.fit.shape.name for one in choice.ranked} <= {"flat", "line", "quadratic"}
    assert "5 different doses" in choice.refused["hump"]


def test_too_few_bakes_rule_shapes_out():
    # n <= k + 2 with 5 bakes: nothing with three parameters.
    choice = compare_shapes(layout([1.0, 2, 3, 4, 5], [1.0, 2.2, 2.9, 4.3, 4.9]), None)
    assert {one.fit.shape.name for one in choice.ranked} == {"flat", "line"}


def test_negative_doses_rule_logarithms_out():
    x = np.repeat([-2.0, -1, 0, 1, 2], 3)
    choice = compare_shapes(layout(x, 3 * x + np.tile([0.1, -0.2, 0.1], 5)), None)
    assert "negative" in choice.refused["log-logistic-4"]


def test_a_breakpoint_beyond_the_doses_is_not_offered():
    x = np.repeat(DOSES, 3)
    choice = compare_shapes(layout(x, 5 * x**1.2 + np.tile([0.1, -0.2, 0.1], 6)), None)
    assert "bound" in choice.refused["linear-plateau"]


def test_a_shape_asked_for_is_used_or_refused_in_words():
    x = np.repeat(DOSES, 3)
    y = 5 * x + np.tile([0.1, -0.2, 0.1], 6)
    assert compare_shapes(layout(x, y), "quadratic").forced
    with pytest.raises(NotPossible, match="cannot be fitted"):
        compare_shapes(layout(x, y), "linear-plateau")
    with pytest.raises(TrialDataError, match="no shape"):
        compare_shapes(layout(x, y), "cubic")
