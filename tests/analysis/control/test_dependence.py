"""Is it seen when batches take after one another, and do the charts for that keep their promise?"""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.control.charts import chart_batches
from analysis.control.dependence import dependence_of, false_alarms, freed, theory_of_plain
from analysis.control.results import BatchSeries, Phase
from analysis.errors import NotPossible, TrialDataError


def series(values):
    return BatchSeries(
        response="rise height",
        unit="mm",
        batches=tuple(f"B{i + 1}" for i in range(len(values))),
        values=tuple((float(value),) for value in values),
    )


def remembering(phi, n, seed, charts=1):
    """Levels with a correlation of phi from batch to batch, (charts, n), mean 0 and variance 1."""
    noise = np.random.Generator(np.random.PCG64(seed)).standard_normal((charts, n))
    x = noise.copy()
    for t in range(1, n):
        x[:, t] = phi * x[:, t - 1] + math.sqrt(1 - phi**2) * noise[:, t]
    return x


def chart_of(values, kind="dependent", **asked):
    return chart_batches(series(values), kind=kind, **asked)[0]


@pytest.mark.parametrize("phi", [0, 0.4, 0.8])
@pytest.mark.parametrize("n", [25, 60])
def test_the_interval_holds_the_truth(phi, n):
    found = [dependence_of(row) for row in remembering(phi, n, 1, charts=1000)]
    inside = np.mean([each.low <= phi <= each.high for each in found])
    assert 0.93 <= inside <= 0.98
    if n == 60:
        assert np.mean([each.lag1 for each in found]) == pytest.approx(phi, abs=0.02)


def test_independent_batches_are_rarely_called_dependent():
    called = [dependence_of(row).seen for row in remembering(0, 60, 2, charts=1000)]
    assert np.mean(called) <= 0.065
    called = [dependence_of(row).verdict == "alike" for row in remembering(0.6, 60, 3, charts=200)]
    assert np.mean(called) > 0.9


@pytest.mark.parametrize("phi", [0.0, 0.3, 0.6])
def test_false_alarms_within_a_tenth_of_a_point_of_theory(phi):
    # With moving ranges known, a point is out with 2 Phi(-3 sqrt(1 - phi)).
    x = remembering(phi, 200, 4, charts=10_000)
    out = 100 * np.mean(np.abs(x) > 3 * math.sqrt(1 - phi))
    assert out == pytest.approx(theory_of_plain(phi), abs=0.1)
    assert theory_of_plain(0) == pytest.approx(0.27, abs=0.0001)
    assert false_alarms(phi, 200).plain == pytest.approx(theory_of_plain(phi), rel=0.06)


def test_both_ways_keep_the_promise_that_plain_limits_break():
    rates = false_alarms(0.6, 60)
    assert rates.plain > 15 * rates.independent
    assert 0.05 < rates.widened <= rates.independent
    assert rates.residuals == pytest.approx(rates.independent, abs=0.1)
    assert rates.best() == "residuals"
    assert false_alarms(0.604, 60) == rates  # the same seed, and two decimals


def test_the_chart_of_residuals_drops_the_false_alarms():
    x = 44 + 0.8 * remembering(0.7, 80, 11)[0]
    plain, own = chart_of(x, kind="individuals"), chart_of(x)
    assert own.more["by"] == "residuals"
    assert own.cautions == ("dependent",)
    assert sum("outside the limits" in point.alarms for point in plain.points) >= 5
    assert sum("outside the limits" in point.alarms for point in own.points) <= 1
    assert len(own.points) == 79
    lag1 = own.more["lag1"]
    assert own.points[0].value == pytest.approx(x[1] - x.mean() - lag1 * (x[0] - x.mean()))
    assert own.more["lag1_low"] < lag1 < own.more["lag1_high"]


def test_widened_limits_are_as_wide_as_the_whole_spread():
    x = 44 + 0.8 * remembering(0.6, 2000, 6)[0]
    chart = chart_of(x, by="widened")
    assert chart.limits.sd == pytest.approx(0.8, rel=0.05)
    assert chart.more["rules"] == ("outside the limits",)


def test_a_step_is_still_seen_in_the_residuals():
    x = 44 + 0.8 * remembering(0.5, 60, 7)[0]
    held = chart_of(x[:40]).limits
    x[45:] += 4
    chart = chart_of(x, phases=(Phase(number=2, from_batch="B41", limits=held),))
    assert "B46" in [alarm.batch for alarm in chart.alarms if alarm.side == "above"]
    assert chart.more["by"] == "residuals"
    assert chart.points[44].upper == held.upper


def test_units_change_nothing_and_order_everything():
    x = 44 + 0.8 * remembering(0.7, 60, 8)[0]
    mm, inches = chart_of(x), chart_of(x / 25.4)
    assert mm.more["lag1"] == pytest.approx(inches.more["lag1"], rel=1e-9)
    assert [p.value / 25.4 for p in mm.points] == pytest.approx([p.value for p in inches.points], rel=1e-6)
    mixed = dependence_of(np.random.Generator(np.random.PCG64(9)).permutation(x))
    assert mixed.verdict == "none seen"


def test_what_is_not_seen_is_said():
    chart = chart_of(remembering(0, 40, 10)[0] + 44)
    assert "dependence not seen" in chart.cautions


def test_the_bias_is_taken_out():
    assert freed(0.5, 10**9) == pytest.approx(0.5, abs=1e-6)
    assert freed(0.5, 20) > 0.5


@pytest.mark.parametrize("settings", [{"by": "magic"}, {"lag1": 1.5}, {"lag1": "some"}])
def test_settings_that_cannot_be_are_refused(settings):
    with pytest.raises(TrialDataError) as refused:
        chart_of(remembering(0.5, 40, 1)[0], **settings)
    assert refused.value.try_this


def test_too_few_batches_and_batches_all_alike_are_refused():
    with pytest.raises(NotPossible, match="8 batches do not tell"):
        chart_of(remembering(0.5, 8, 1)[0])
    assert chart_of(remembering(0.5, 8, 1)[0], lag1=0.5).more["lag1"] == 0.5
    with pytest.raises(NotPossible):
        chart_of([44.0] * 30)
    assert dependence_of(np.full(30, 44.0)).verdict == "too few"
