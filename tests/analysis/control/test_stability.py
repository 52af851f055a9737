"""Is a process that does not change called stable, and one that did not?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from analysis.control.charts import chart_batches
from analysis.control.constants import constants
from analysis.control.results import BatchSeries, Point
from analysis.control.stability import chance_of, stability_of

LOGS = 200


def series(values):
    batches = tuple(str(number) for number in range(1, len(values) + 1))
    return BatchSeries(response="rise", batches=batches, values=tuple(tuple(map(float, each)) for each in values))


def unstable(kind, readings, batches, change=lambda values: values, seed=41):
    """Share of logs that are called unstable, and that raise any alarm at all."""
    random = np.random.Generator(np.random.PCG64(seed))
    found = [
        stability_of(chart_batches(series(change(random.standard_normal((batches, readings)))), kind=kind))
        for _ in range(LOGS)
    ]
    return np.mean([one.stable is False for one in found]), np.mean([bool(one.alarmed) for one in found])


@pytest.mark.parametrize(("kind", "readings"), [("individuals", 1), ("between", 4), ("sums", 1)])
def test_logs_that_never_change_are_called_unstable_in_few_of_a_hundred(kind, readings):
    called, alarmed = unstable(kind, readings, 60)
    assert called <= 0.1
    assert called < alarmed / 2  # where every alarm counted as a change, up to two logs in three would be unstable


def moved(by):
    return lambda values: np.concatenate([values[: len(values) // 2], values[len(values) // 2 :] + by])


def one_out(by):
    return lambda values: values + by * (np.arange(len(values)) == 30)[:, None]


@pytest.mark.parametrize("change", [moved(3.0), one_out(6.0)])
def test_a_step_and_a_single_wild_batch_are_seen(change):
    called, _ = unstable("individuals", 1, 60, change)
    assert called >= 0.9


@pytest.mark.parametrize("n", [2, 5])
def test_the_chance_of_a_point_is_that_of_its_own_distribution(n):
    """At the limit each kind of chart has the tail that theory gives it, by other code."""
    random = np.random.Generator(np.random.PCG64(n))
    log = series(random.standard_normal((40, n)))
    mean, span = chart_batches(log, kind="range")
    _, deviation = chart_batches(log, kind="sd")
    _, step = chart_batches(series(random.standard_normal((40, 1))))
    of = constants(n)

    def at_limit(chart):
        point = chart.points[3]
        return chance_of(replace(point, value=point.upper), 3, chart)

    assert at_limit(mean) == pytest.approx(2 * stats.norm.sf(3), rel=1e-9)
    assert at_limit(span) == pytest.approx(stats.studentized_range.sf(of.D4 * of.d2, n, np.inf), rel=1e-4)
    assert at_limit(deviation) == pytest.approx(stats.chi2.sf((n - 1) * (of.B4 * of.c4) ** 2, n - 1), rel=1e-9)
    two = constants(2)
    assert at_limit(step) == pytest.approx(2 * stats.norm.sf(two.D4 * two.d2 / np.sqrt(2)), rel=1e-9)


def test_a_chart_that_cannot_tell_leaves_the_verdict_to_the_number_of_alarms():
    (sums,) = chart_batches(series(np.random.Generator(np.random.PCG64(1)).standard_normal((30, 1))), kind="sums")
    point = Point(batch="1", value=99.0, lower=-5.0, centre=0.0, upper=5.0, phase=1)
    assert chance_of(point, 0, sums) == 1


def test_without_limits_nothing_is_known():
    found = stability_of(chart_batches(series([[43.0]] * 30)))
    assert (found.verdict, found.stable, found.alarmed) == ("not known", None, ())
