"""Do responses charted together keep their promise, and is what cannot be charted said in words?"""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.control.charts import chart_batches
from analysis.control.results import BatchSeries, Phase
from analysis.control.several import judge_several
from analysis.control.t_squared import base_limit, further_limit, main_drivers, make_base, t_squared
from analysis.errors import NotPossible, TrialDataError

MEAN = np.array([44.0, 120.0, 7.1])
SPREAD = np.array([[1.0, 1.2, 0.05], [1.2, 4.0, 0.1], [0.05, 0.1, 0.01]])
NAMES = ("rise height", "volume", "pH")


def bakes(n, seed=1):
    return np.random.Generator(np.random.PCG64(seed)).multivariate_normal(MEAN, SPREAD, n, method="cholesky")


def series(table, names=NAMES, batches=None):
    batches = batches or tuple(f"B{i + 1}" for i in range(len(table)))
    return tuple(
        BatchSeries(response=name, batches=batches, values=tuple((float(x),) for x in table[:, at]))
        for at, name in enumerate(names)
    )


def chart_of(table, **asked):
    return chart_batches(series(table), kind="several", **asked)[0]


def test_false_alarms_of_10_000_charts_within_a_tenth_of_a_point():
    random = np.random.Generator(np.random.PCG64(2))
    z = random.standard_normal((10_000, 20, 3))
    away = z - z.mean(axis=1, keepdims=True)
    covariance = np.einsum("cij,cik->cjk", away, away) / 19
    t2 = np.einsum("cij,cij->ci", away, np.linalg.solve(covariance, away.transpose(0, 2, 1)).transpose(0, 2, 1))
    assert np.mean(t2 > base_limit(20, 3, 0.0027)) == pytest.approx(0.0027, abs=0.001)
    # One further batch for each of those bases, judged by the other limit.
    further = random.standard_normal((10_000, 20, 3)) - z.mean(axis=1, keepdims=True)
    t2 = np.einsum("cij,cij->ci", further, np.linalg.solve(covariance, further.transpose(0, 2, 1)).transpose(0, 2, 1))
    assert np.mean(t2 > further_limit(20, 3, 0.0027)) == pytest.approx(0.0027, abs=0.001)


def test_a_broken_pattern_is_seen_where_no_response_is_out():
    table = np.vstack([bakes(40, seed=5), np.add(MEAN, [2.3, -4.6, 0.0])])  # high but small: 2.3 SDs each
    chart = chart_of(table)
    assert [alarm.batch for alarm in chart.alarms] == ["B41"]
    assert chart.more["alone"]["B41"] is False
    assert set(main_drivers(chart.more["contributions"]["B41"])) == {"rise height", "volume"}
    assert chart.more["away"]["B41"]["volume"] < 0 < chart.more["away"]["B41"]["rise height"]


def test_units_and_the_order_of_responses_change_nothing():
    table = np.vstack([bakes(30), np.add(MEAN, [3, -5, 0])])
    plain = chart_of(table)
    other = chart_batches(series(table[:, ::-1] * [1, 0.001, 1 / 25.4] + [0, 0, 3], NAMES[::-1]), kind="several")[0]
    assert [p.value for p in plain.points] == pytest.approx([p.value for p in other.points], rel=1e-7)
    assert plain.more["contributions"]["B31"] == pytest.approx(dict(other.more["contributions"]["B31"]), rel=1e-6)


def test_the_order_of_batches_only_moves_the_points():
    table = bakes(30)
    there, back = chart_of(table), chart_of(table[::-1])
    assert [p.value for p in there.points] == pytest.approx([p.value for p in back.points][::-1], rel=1e-9)


def test_a_new_batch_is_judged_from_frozen_limits_alone():
    table = np.vstack([bakes(40), np.add(MEAN, [2.0, -4.0, 0.0])])
    held = chart_of(table[:30]).limits
    chart = chart_of(table, phases=(Phase(number=2, from_batch="B31", limits=held),))
    for at in range(30, 41):
        point, drove = judge_several(held, dict(zip(NAMES, table[at], strict=True)), batch=f"B{at + 1}")
        assert (point.value, point.upper) == pytest.approx((chart.points[at].value, chart.points[at].upper))
        assert bool(point.alarms) == bool(chart.points[at].alarms)
    assert drove[0].term == pytest.approx(max(chart.more["contributions"]["B41"].values()))
    with pytest.raises(TrialDataError, match="not a number"):
        judge_several(held, {**dict(zip(NAMES, MEAN, strict=True)), "pH": math.nan}, batch="B42")
    with pytest.raises(TrialDataError, match="other responses"):
        judge_several(held, {"rise height": 44.0, "salt": 1.8}, batch="B42")
    with pytest.raises(TrialDataError, match="3 responses"):
        judge_several(held, {"rise height": 44.0, "pH": 7.1}, batch="B42")


def test_batches_without_every_response_are_left_out_and_named():
    one, two, three = series(bakes(25))
    two = BatchSeries(response="volume", batches=two.batches[3:], values=two.values[3:])
    chart = chart_batches((one, two, three))[0]
    assert len(chart.points) == 22
    assert chart.more["left_out"] == ("B1", "B2", "B3")
    assert "batches left out" in chart.cautions


def test_fewer_batches_than_responses_need_is_refused_in_words():
    with pytest.raises(NotPossible, match="4 batches have all 3 responses; together they need at least 5"):
        chart_of(bakes(4))
    chart = chart_of(bakes(5))
    assert "few batches" in chart.cautions


def test_responses_that_follow_from_one_another_are_refused_by_name():
    table = bakes(30)
    table[:, 2] = 2 * table[:, 0] - table[:, 1]
    with pytest.raises(NotPossible, match="rise height, volume, pH follow from one another"):
        chart_of(table)
    table[:, 2] = 7.1
    with pytest.raises(NotPossible, match="same pH"):
        chart_of(table)


@pytest.mark.parametrize("alpha", [0, -1, 0.5, "often", math.nan])
def test_alpha_that_cannot_be(alpha):
    with pytest.raises(TrialDataError) as refused:
        chart_of(bakes(30), alpha=alpha)
    assert refused.value.where == "alpha"


def test_one_response_or_one_twice_is_refused():
    one, two, _ = series(bakes(30))
    for asked in ((one,), (one, one)):
        with pytest.raises(TrialDataError):
            chart_batches(asked, kind="several")
    assert len(chart_batches((one, two))[0].points) == 30


def test_t2_sums_to_its_degrees_of_freedom():
    # The trace identity: the T2 of the base sum to p (n - 1).
    table = bakes(17)
    assert t_squared(table, make_base(table, NAMES, 0.0027)).sum() == pytest.approx(3 * 16)
