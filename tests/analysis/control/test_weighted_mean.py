"""Does a weighted mean keep its promise of false alarms, and what does it refuse?"""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.control.results import BatchSeries, Limits, Phase
from analysis.control.rules import DEFAULT, require_rules
from analysis.control.weighted_mean import judge_weighted, weighted_means
from analysis.errors import NotPossible, TrialDataError

RULES = require_rules(DEFAULT)


def series(values, unit="mm"):
    return BatchSeries(
        response="rise height",
        unit=unit,
        batches=tuple(f"B{i + 1}" for i in range(len(values))),
        values=tuple((float(value),) for value in values),
    )


def chart_of(values, phases=(), **settings):
    (chart,) = weighted_means(series(values), rules=RULES, phases=phases, settings=settings)
    return chart


def bakes(n, seed=3, shift_at=None, shift=0.0):
    random = np.random.Generator(np.random.PCG64(seed))
    values = 44 + 0.8 * random.standard_normal(n)
    if shift_at is not None:
        values[shift_at:] += shift
    return values


def test_a_small_drift_is_seen_and_its_beginning_named():
    chart = chart_of(bakes(60, shift_at=40, shift=1.2), centre=44, sd=0.8)
    assert chart.alarms
    first = chart.alarms[0]
    assert first.side == "above"
    assert abs(int(first.since[1:]) - 41) <= 3
    assert chart.more["catches"][1.0] < 12 < 360 < chart.more["run_length"]


def test_other_units_give_the_same_alarms():
    values = bakes(60, shift_at=30, shift=-1.5)
    mm, inches = chart_of(values), chart_of(values / 25.4)
    assert [alarm.batch for alarm in mm.alarms] == [alarm.batch for alarm in inches.alarms]
    assert [p.value / 25.4 for p in mm.points] == pytest.approx([p.value for p in inches.points], rel=1e-12)


def test_the_order_of_baking_matters():
    values = bakes(60, shift_at=30, shift=1.5)
    there, back = chart_of(values), chart_of(values[::-1])
    assert [point.value for point in there.points] != pytest.approx([point.value for point in back.points][::-1])


def test_a_new_batch_is_judged_from_the_limits_alone():
    values = bakes(50, shift_at=25, shift=1.0)
    settings = {"centre": 44, "sd": 0.8}
    held = chart_of(values[:24], **settings).limits
    whole = chart_of(values, **settings)
    for place in range(24, 50):
        point, held = judge_weighted(held, values[place], batch=f"B{place + 1}")
        assert point.value == pytest.approx(whole.points[place].value, rel=1e-12)
        assert (point.lower, point.upper) == pytest.approx((whole.points[place].lower, whole.points[place].upper))
        assert point.alarms == whole.points[place].alarms
    with pytest.raises(TrialDataError):
        judge_weighted(held, math.nan, batch="B51")


def test_a_phase_starts_anew_at_its_own_centre():
    limits = Limits(
        lower=40, centre=42, upper=44, sd=0.7, method="moving ranges", batches=30, first_batch="A", last_batch="B",
        provisional=False, frozen=True, numbers={"mean": 42.0, "spread": 0.7},
    )  # fmt: skip
    phase = Phase(number=2, from_batch="B31", limits=limits)
    chart = chart_of(bakes(60, shift_at=30, shift=-2), phases=(phase,))
    assert [point.phase for point in chart.points] == [0] * 30 + [2] * 30
    assert chart.points[30].value == pytest.approx(0.2 * bakes(60, shift_at=30, shift=-2)[30] + 0.8 * 42)
    assert chart.limits.centre == 42
    assert not chart.points[35].alarms


def test_the_false_alarm_rate_is_the_promised_one():
    # The share of 10,000 charts that have alarmed within 60 batches, against the run length's own chart.
    random = np.random.Generator(np.random.PCG64(8))
    chart = chart_of(bakes(30), run_length=200, centre=0, sd=1)
    weight, width = chart.more["weight"], chart.more["width"]
    z, alarmed = np.zeros(10_000), np.zeros(10_000, dtype=bool)
    reach = [width * math.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * t))) for t in range(1, 61)]
    for t in range(60):
        z = weight * random.standard_normal(10_000) + (1 - weight) * z
        alarmed |= np.abs(z) > reach[t]
    # Run lengths are close to geometric, so 1 - (1 - 1 / 200) ** 60 = 0.26 have alarmed.
    assert alarmed.mean() == pytest.approx(1 - (1 - 1 / 200) ** 60, abs=0.02)


@pytest.mark.parametrize(
    "settings",
    [
        {"weight": 0},
        {"weight": 2},
        {"weight": "heavy"},
        {"width": 3, "run_length": 370},
        {"width": -1},
        {"width": 60},
        {"run_length": 1},
        {"sd": 0},
        {"centre": math.inf},
    ],
)
def test_settings_that_cannot_be_are_refused(settings):
    with pytest.raises(TrialDataError) as refused:
        chart_of(bakes(30), **settings)
    assert refused.value.where
    assert refused.value.try_this


def test_batches_all_the_same_are_refused_unless_the_spread_is_known():
    with pytest.raises(NotPossible, match="same rise height"):
        chart_of([44.0] * 12)
    assert chart_of([44.0] * 12, sd=0.8).alarms == ()


def test_one_batch_is_refused_and_few_are_provisional():
    with pytest.raises(NotPossible):
        chart_of([44.0])
    assert "few batches" in chart_of(bakes(12)).cautions
    assert "few batches" not in chart_of(bakes(20)).cautions


def test_counts_are_sent_to_their_own_chart():
    with pytest.raises(TrialDataError, match="measured"):
        weighted_means(object(), rules=RULES, phases=(), settings={})
