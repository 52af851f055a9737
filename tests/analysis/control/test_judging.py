"""Does one batch, judged from its limits and the last few points, get the verdict of the whole chart?"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.control.charts import chart_batches
from analysis.control.judging import LOOKS_BACK, judge
from analysis.control.results import BatchSeries, Phase
from analysis.control.rules import RULES
from analysis.control.variables import limits_of
from analysis.errors import TrialDataError

LEVEL = {"individuals": "individuals", "range": "batch mean", "sd": "batch mean", "between": "batch mean"}


@pytest.fixture(scope="module")
def log():
    """80 batches of 2 to 5 readings, a drift from batch 50 on."""
    random = np.random.Generator(np.random.PCG64(17))
    values = tuple(
        tuple(43 + 0.08 * max(0, at - 50) + random.standard_normal(random.integers(2, 6)) + random.standard_normal())
        for at in range(80)
    )
    return BatchSeries(response="rise", batches=tuple(f"B-{n}" for n in range(1, 81)), values=values)


@pytest.mark.parametrize("kind", LEVEL)
def test_batch_by_batch_the_verdict_is_that_of_the_chart(log, kind):
    phase = Phase(number=3, from_batch="B-21", limits=limits_of(log, kind=kind, last="B-40"))
    charts = {chart.kind: chart for chart in chart_batches(log, kind=kind, phases=(phase,), rules=RULES)}
    level = charts[LEVEL[kind]]
    seen = 0
    for at in range(20, 80):
        verdict = judge(phase, level.points[:at], log.values[at], batch=log.batches[at], rules=RULES)
        for name, chart in charts.items():
            point = next((one for one in chart.points if one.batch == log.batches[at]), None)
            assert verdict.points.get(name) == point
            assert tuple(alarm for of, alarm in verdict.alarms if of == name) == tuple(
                alarm for alarm in chart.alarms if alarm.batch == log.batches[at]
            )
        seen += len(verdict.alarms)
        assert verdict.as_expected == (not verdict.alarms)
    assert seen > 10


def test_only_the_last_few_points_are_looked_at(log):
    phase = Phase(number=1, from_batch="B-1", limits=limits_of(log, kind="between"))
    points = chart_batches(log, phases=(phase,))[0].points
    whole = judge(phase, points[:70], log.values[70], batch="B-71", rules=RULES)
    assert judge(phase, points[70 - LOOKS_BACK : 70], log.values[70], batch="B-71", rules=RULES) == whole


def test_a_batch_without_history_is_judged_by_its_limits(log):
    limits = limits_of(log, kind="between", last="B-10")
    verdict = judge(limits, (), (99.0, 99.5), batch="new")
    assert [(kind, alarm.rule, alarm.side) for kind, alarm in verdict.alarms] == [
        ("batch mean", "outside the limits", "above")
    ]
    assert verdict.provisional
    assert verdict.level.alarms == ("outside the limits",)
    assert "moving range" not in verdict.points


@pytest.mark.parametrize("values", [(), (43.0, float("nan"))])
def test_a_batch_without_a_reading_is_refused(log, values):
    with pytest.raises(TrialDataError, match="Batch new") as wrong:
        judge(limits_of(log, kind="between"), (), values, batch="new")
    assert "not measured" in wrong.value.try_this
