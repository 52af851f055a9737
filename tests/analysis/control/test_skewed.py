"""Do uneven limits keep the promise of false alarms for readings that reach further to one side?"""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.control.charts import chart_batches
from analysis.control.results import BatchSeries, Phase
from analysis.control.transforming import (
    Power,
    ShiftedLog,
    fit_power,
    fit_scale,
    fit_shifted_log,
    is_skewed,
    skewness_z,
)
from analysis.errors import NotPossible, TrialDataError

RANDOM = 20


def random(seed=RANDOM):
    return np.random.Generator(np.random.PCG64(seed))


def series(values):
    return BatchSeries(
        response="spread of crumb pores",
        unit="mm",
        batches=tuple(f"B{i + 1}" for i in range(len(values))),
        values=tuple((float(value),) for value in values),
    )


def chart_of(values, **asked):
    return chart_batches(series(values), kind="skewed", **asked)[0]


def lognormal(n, seed=RANDOM):
    return 3 * np.exp(0.5 * random(seed).standard_normal(n))


@pytest.mark.parametrize("n", [8, 20, 57, 400])
def test_the_skewness_is_judged_as_by_scipy(n):
    from scipy.stats import skewtest

    for values in (random(n).standard_normal(n), lognormal(n), -lognormal(n, 3)):
        test = skewtest(values)
        assert skewness_z(values) == pytest.approx(test.statistic, rel=1e-10)
        assert math.erfc(abs(skewness_z(values)) / math.sqrt(2)) == pytest.approx(test.pvalue, rel=1e-9)


def test_the_power_is_found():
    wide = random(1).standard_normal(800)
    assert fit_power(np.exp(0.5 * wide)).name == "logarithm"
    assert fit_power((10 + wide) ** 2).name == "square root"
    assert fit_power(10 + wide).name == "as read"
    found = fit_power((10 + wide) ** 3)
    assert found.low <= 1 / 3 <= found.high


def test_there_and_back():
    x = np.array([0.5, 2.0, 7.5])
    for scale in (
        Power(power=0.0, middle=2.0, low=0, high=0),
        Power(power=-0.7, middle=2.0, low=0, high=0),
        ShiftedLog(edge=0.1, size=2.0, side=1),
        ShiftedLog(edge=9.0, size=2.0, side=-1),
    ):
        y = scale.forth(x)
        assert (np.diff(y) > 0).all()
        assert scale.back(y) == pytest.approx(x)


@pytest.mark.parametrize("mirror", [1, -1])
def test_a_floor_or_ceiling_is_found_with_the_readings_own_skewness(mirror):
    # Lognormal 100 + exp(0.5 z): floor 100, far from nothing, where a power would not bend.
    x = mirror * (100 + np.exp(0.5 * random(2).standard_normal(20_000)))
    scale = fit_shifted_log(x)
    assert scale.edge == pytest.approx(mirror * 100, abs=0.3)
    y = scale.forth(x)
    assert abs(float(np.mean((y - y.mean()) ** 3)) / y.std() ** 3) < 0.1


def test_false_alarms_of_known_scales_are_those_of_three_standard_deviations():
    fresh = lognormal(400_000, seed=5)
    limits = [chart_of(lognormal(200, seed)).limits for seed in range(30)]
    above = 100 * np.mean([np.mean(fresh > held.upper) for held in limits])
    below = 100 * np.mean([np.mean(fresh < held.lower) for held in limits])
    plain = [chart_batches(series(lognormal(200, seed)), kind="individuals")[0].limits for seed in range(30)]
    assert above + below == pytest.approx(0.27, abs=0.15)
    assert 100 * np.mean([np.mean(fresh > held.upper) for held in plain]) > 1


def test_limits_stand_unevenly_about_the_median_in_the_unit():
    chart = chart_of(lognormal(300))
    lower, centre, upper = chart.limits.lower, chart.limits.centre, chart.limits.upper
    assert upper - centre > 2 * (centre - lower) > 0
    assert centre == pytest.approx(3, rel=0.1)
    assert chart.limits.method == "logarithm"
    assert chart.cautions == ("uneven limits",)
    assert [p.value for p in chart.points] == pytest.approx(lognormal(300).tolist())


def test_units_change_nothing():
    values = np.append(lognormal(60), 40.0)
    mm, inches = chart_of(values), chart_of(values / 25.4)
    assert [a.batch for a in mm.alarms] == [a.batch for a in inches.alarms]
    assert mm.alarms[-1].value == 40
    assert mm.limits.upper / 25.4 == pytest.approx(inches.limits.upper, rel=1e-6)


def test_frozen_limits_carry_their_scale():
    values = np.append(lognormal(60), [40.0, 0.0])
    held = chart_of(values[:40]).limits
    chart = chart_of(values, phases=(Phase(number=2, from_batch="B41", limits=held),))
    assert (chart.limits.lower, chart.limits.upper) == (held.lower, held.upper)
    marked = {point.batch: point.alarms for point in chart.points if point.alarms}
    assert "outside the limits" in marked["B61"]
    assert "outside the limits" in marked["B62"]  # nothing at all lies below what a logarithm can hold
    plain = chart_batches(series(values[:40]), kind="individuals")[0].limits
    with pytest.raises(TrialDataError, match="without a scale"):
        chart_of(values, phases=(Phase(number=2, from_batch="B41", limits=plain),))


def test_quantiles_from_a_thousand_batches():
    values = lognormal(4000)
    chart = chart_of(values, scale="quantiles")
    outside = np.mean([bool("outside the limits" in point.alarms) for point in chart.points])
    assert outside == pytest.approx(0.0027, abs=0.001)
    assert chart.limits.centre == pytest.approx(float(np.median(values)))
    with pytest.raises(NotPossible, match="too few"):
        chart_of(values[:500], scale="quantiles")


def test_lopsided_is_called_so_and_even_is_not():
    called = [is_skewed(random(seed).standard_normal(60)) for seed in range(300)]
    assert np.mean(called) <= 0.02
    assert np.mean([is_skewed(lognormal(100, seed)) for seed in range(100)]) > 0.9
    one_wild = np.append(random(3).standard_normal(60), 12)
    assert not is_skewed(one_wild)  # a wild batch is an alarm, not a shape
    assert "uneven limits, not needed" in chart_of(44 + random(3).standard_normal(60)).cautions


def test_what_cannot_be_is_refused_in_words():
    with pytest.raises(NotPossible, match="needs readings above 0"):
        chart_of([*lognormal(30), -1.0], scale="logarithm")
    with pytest.raises(TrialDataError):
        chart_of(lognormal(30), scale="cube")
    with pytest.raises(NotPossible, match="same"):
        chart_of([4.0] * 30)
    assert isinstance(fit_scale(-lognormal(100)), ShiftedLog)
    assert math.isfinite(chart_of(-lognormal(100)).limits.lower)


def test_even_readings_around_nothing_are_charted_as_read():
    values = random(4).standard_normal(60)
    chart = chart_of(values)
    assert chart.limits.method == "as read"
    assert chart.limits.lower < -2 < chart.limits.centre < 2 < chart.limits.upper
    assert [p.value for p in chart.points] == pytest.approx(values.tolist())


def test_one_step_in_readings_else_alike_is_no_shape():
    assert not is_skewed(np.append(np.full(30, 44.0), 45.0))
    assert not is_skewed(np.full(30, 44.0))
