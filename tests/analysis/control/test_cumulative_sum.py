"""Do sums say since when, and by how much; do they keep their promise, and what do they refuse?"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.control.cumulative_sum import cumulative_sums, judge_sums
from analysis.control.results import BatchSeries
from analysis.control.rules import DEFAULT, require_rules
from analysis.errors import NotPossible, TrialDataError

RULES = require_rules(DEFAULT)


def chart_of(values, phases=(), **settings):
    series = BatchSeries(
        response="piece weight",
        unit="g",
        batches=tuple(f"B{i + 1}" for i in range(len(values))),
        values=tuple((float(value),) for value in values),
    )
    (chart,) = cumulative_sums(series, rules=RULES, phases=phases, settings=settings)
    return chart


def bakes(n, seed=3, shift_at=None, shift=0.0):
    random = np.random.Generator(np.random.PCG64(seed))
    values = 250 + random.standard_normal(n)
    if shift_at is not None:
        values[shift_at:] += shift
    return values


def test_a_step_down_is_dated_and_sized_on_average():
    dates, levels = [], []
    for seed in range(60):
        chart = chart_of(bakes(60, seed=seed, shift_at=40, shift=-1.5), target=250, sd=1)
        late = [alarm for alarm in chart.alarms if int(alarm.batch[1:]) > 50]
        assert late, seed
        assert {alarm.side for alarm in late} == {"below"}
        dates.append(int(late[-1].since[1:]))
        levels.append(chart.more["level_since"][late[-1].batch])
    assert np.median(dates) == pytest.approx(41, abs=1.5)
    assert np.mean(levels) == pytest.approx(248.5, abs=0.1)


def test_order_reversed_dates_the_change_elsewhere_and_units_change_nothing():
    values = bakes(60, shift_at=40, shift=-1.5)
    grams, ounces = chart_of(values, target=250), chart_of(values / 28.35, target=250 / 28.35)
    assert [(a.batch, a.since, a.side) for a in grams.alarms] == [(a.batch, a.since, a.side) for a in ounces.alarms]
    assert [p.value / 28.35 for p in grams.points] == pytest.approx([p.value for p in ounces.points], abs=1e-9)
    back = chart_of(values[::-1], target=250)
    assert [a.batch for a in back.alarms] != [a.batch for a in grams.alarms]


def test_mirrored_readings_give_mirrored_sums():
    values = bakes(40, shift_at=20, shift=1)
    up, down = chart_of(values, target=250, sd=1), chart_of(500 - values, target=250, sd=1)
    assert up.more["above"] == pytest.approx(down.more["below"], abs=1e-9)


def test_a_new_batch_is_judged_from_the_limits_alone():
    values, settings = bakes(50, shift_at=25, shift=1.0), {"target": 250, "sd": 1}
    held, whole = chart_of(values[:20], **settings).limits, chart_of(values, **settings)
    for place in range(20, 50):
        point, held = judge_sums(held, values[place], batch=f"B{place + 1}")
        assert point.value == pytest.approx(whole.points[place].value, abs=1e-9)
        assert point.alarms == whole.points[place].alarms
    with pytest.raises(TrialDataError):
        judge_sums(held, float("inf"), batch="B51")


def test_k_and_h_follow_from_the_shift_and_the_run_length():
    chart = chart_of(bakes(30), shift=1.0, run_length=168)
    # Lucas and Crosier 1982, Table 1: k = 0.5, h = 4 gives 168.
    assert chart.more["k"] == 0.5
    assert chart.more["h"] == pytest.approx(4, abs=0.005)
    assert chart.limits.upper == pytest.approx(chart.more["h"] * chart.limits.sd)


@pytest.mark.parametrize(
    "settings",
    [
        {"shift": 1, "k": 0.5},
        {"h": 4, "run_length": 370},
        {"shift": -1},
        {"shift": 0.01},
        {"k": -1},
        {"k": 9},
        {"k": 1, "h": 400},
        {"run_length": 1e12},
        {"target": "high"},
        {"sd": -2},
    ],
)
def test_settings_that_cannot_be_are_refused(settings):
    with pytest.raises(TrialDataError) as refused:
        chart_of(bakes(30), **settings)
    assert refused.value.where
    assert refused.value.try_this


def test_batches_all_the_same_are_refused():
    with pytest.raises(NotPossible):
        chart_of([250.0] * 10)
