"""Weighted means and cumulative sums against worked examples, with all their digits."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from analysis.control.cumulative_sum import cumulative_sums
from analysis.control.results import BatchSeries
from analysis.control.rules import DEFAULT, require_rules
from analysis.control.weighted_mean import weighted_means

HERE = Path(__file__).parent / "control_charts"
RULES = require_rules(DEFAULT)


def case(name):
    expected = json.loads((HERE / f"{name}.json").read_text())["expected"]
    with (HERE / f"{name}.csv").open() as file:
        rows = list(csv.DictReader(file))
    return rows, expected


def series(rows, label, column):
    return BatchSeries(
        response=column,
        batches=tuple(row[label] for row in rows),
        values=tuple((float(row[column]),) for row in rows),
    )


@pytest.mark.parametrize("asymptotic", [True, False])
def test_weighted_mean_of_the_handbook(asymptotic):
    # NIST/SEMATECH e-Handbook 6.3.2.4: weight 0.3, target 50, sd 2.0539, limits 52.5884 and 47.4115.
    rows, expected = case("nist_ewma")
    settings = {"weight": 0.3, "width": 3, "centre": 50, "sd": 2.0539, "asymptotic": asymptotic}
    (chart,) = weighted_means(series(rows, "t", "y"), rules=RULES, phases=(), settings=settings)
    assert [point.value for point in chart.points] == pytest.approx(expected["z"][1:], rel=1e-9)
    assert (chart.limits.lower, chart.limits.upper) == pytest.approx(
        (expected["lcl_asymptotic"], expected["ucl_asymptotic"]), rel=1e-9
    )
    named = ([expected["lcl_asymptotic"]] * 20, [expected["ucl_asymptotic"]] * 20)
    lower, upper = named if asymptotic else (expected["lcl_exact"], expected["ucl_exact"])
    assert [point.lower for point in chart.points] == pytest.approx(lower, rel=1e-7)
    assert [point.upper for point in chart.points] == pytest.approx(upper, rel=1e-7)
    published = expected["published"]
    assert [point.value for point in chart.points] == pytest.approx(published["z"][1:], abs=0.0051)
    assert chart.limits.upper == pytest.approx(published["ucl"], abs=5e-5)
    assert chart.alarms == ()


def test_cumulative_sums_of_piece_weights():
    # Computed with R 4.2.2; target 250, sd 1, k 0.5, h 4.
    rows, expected = case("cusum_piece_weight")
    settings = {"target": 250, "sd": 1, "k": 0.5, "h": 4}
    (chart,) = cumulative_sums(series(rows, "i", "x"), rules=RULES, phases=(), settings=settings)
    assert chart.more["above"] == pytest.approx(expected["Cplus"], abs=1e-10)
    assert chart.more["below"] == pytest.approx(expected["Cminus"], abs=1e-10)
    first = chart.alarms[0]
    assert (int(first.batch), first.side) == (expected["first_signal"], "below")
    assert int(first.since) == expected["shift_began_after"] + 1
    assert chart.more["level_since"][first.batch] == pytest.approx(expected["estimated_new_mean"], rel=1e-9)
    counted = [int(alarm.batch) - int(alarm.since) + 1 for alarm in chart.alarms]
    assert counted == expected["Nminus"][int(first.batch) - 1 :]
    # Lucas and Crosier 1982, Table 1, k = 0.5, h = 4: one false alarm in 168 batches, a shift of 1 sd after 8.38.
    assert chart.more["run_length"] == pytest.approx(168, abs=0.5)
    assert chart.more["catches"][1.0] == pytest.approx(8.38, abs=0.005)


def test_points_between_the_alarms_stay_without():
    rows, _ = case("cusum_piece_weight")
    (chart,) = cumulative_sums(
        series(rows, "i", "x"), rules=RULES, phases=(), settings={"target": 250, "sd": 1, "k": 0.5, "h": 4}
    )
    marked = np.array([bool(point.alarms) for point in chart.points])
    assert not marked[:18].any()
    assert marked[18:].all()
