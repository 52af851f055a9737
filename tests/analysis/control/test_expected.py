"""How many alarms does chance give, by the formula and by drawing?"""

from itertools import pairwise

import numpy as np
import pytest
from scipy.stats import norm

from analysis.control.charts import chart_batches
from analysis.control.constants import constants
from analysis.control.expected import OF_SPREAD, expected_alarms, more_than_chance, runs_of_alarms
from analysis.control.results import BatchSeries
from analysis.control.rules import DEFAULT


def series(values):
    return BatchSeries(
        response="rise", batches=tuple(map(str, range(len(values)))), values=tuple((float(v),) for v in values)
    )


def test_a_moving_range_is_beyond_its_limit_as_often_as_normal_theory_says():
    two = constants(2)
    assert pytest.approx(2 * norm.sf(two.D4 * two.d2 / np.sqrt(2)), rel=0.01) == OF_SPREAD


def test_runs_of_alarms_come_no_more_often_than_expected_and_not_much_less():
    """Limits from 2,000 batches each, so that they are as good as known; 20 logs."""
    chance = np.random.Generator(np.random.PCG64(4))
    seen, wanted = 0, 0.0
    for _ in range(20):
        charts = chart_batches(series(chance.normal(40, 1, 2000)))
        seen += runs_of_alarms(charts, [point.batch for point in charts[0].points])
        wanted += expected_alarms(charts, 2000, DEFAULT)
    # A batch far out raises one on both charts, and neighbours share a run: 0.84 when this was written.
    assert 0.75 * wanted < seen < wanted


def test_one_alarm_in_a_long_log_is_chance_and_five_in_a_short_one_are_not():
    charts = chart_batches(series(np.random.Generator(np.random.PCG64(1)).normal(40, 1, 120)))
    assert not more_than_chance(0, 0, charts, 120, DEFAULT)
    assert not more_than_chance(1, 1, charts, 120, DEFAULT)
    assert more_than_chance(5, 5, charts, 14, DEFAULT)
    assert more_than_chance(1, 20, charts, 120, DEFAULT)  # a run that goes on


@pytest.mark.parametrize("batches", [14, 60, 120])
def test_logs_that_never_change_are_called_changed_in_few_of_a_hundred(batches):
    """Limits made from the same batches, as on a page; 400 logs of each length."""
    chance = np.random.Generator(np.random.PCG64(batches))
    called = 0
    for _ in range(400):
        charts = chart_batches(series(chance.normal(40, 1, batches)))
        names = [point.batch for point in charts[0].points]
        loud = {alarm.batch for chart in charts for alarm in chart.alarms}
        called += more_than_chance(runs_of_alarms(charts, names), len(loud), charts, batches, DEFAULT)
    assert called / 400 < 0.06


def test_batches_in_a_row_are_one_run():
    values = [40.0, 41, 39, 40, 41, 39, 40, 41, 39, 40, 60, 61, 40, 41, 39, 40, 20]
    charts = chart_batches(series(values), kind="individuals")
    batches = [str(at) for at in range(len(values))]
    loud = sorted({int(alarm.batch) for chart in charts for alarm in chart.alarms})
    assert runs_of_alarms(charts, batches) == 1 + sum(b - a > 1 for a, b in pairwise(loud))
    assert runs_of_alarms(charts, batches[:5]) == 0
