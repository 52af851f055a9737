"""Shares, counts and rates against worked examples, with all their digits."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from analysis.control.charts import chart_batches
from analysis.control.results import CountSeries

HERE = Path(__file__).parent / "control_charts"


def case(name):
    with (HERE / f"{name}.csv").open() as file:
        return list(csv.DictReader(file)), json.loads((HERE / f"{name}.json").read_text())["expected"]


def counted(rows, label, column, size=None, of="pieces"):
    return CountSeries(
        response=column,
        of=of,
        batches=tuple(row[label] for row in rows),
        counts=tuple(float(row[column]) for row in rows),
        sizes=tuple(float(row[size]) if size else 1.0 for row in rows),
    )


def lower(chart):
    # Where three standard deviations reach below nothing there is no lower limit; the cases write 0.
    return [point.lower or 0 for point in chart.points]


def test_faults_on_wafers():
    # NIST/SEMATECH e-Handbook 6.3.3.1: mean 16, limits 4 and 28; wafer 3 lies on the limit, wafer 24 beyond.
    rows, expected = case("nist_c_chart_wafers")
    (chart,) = chart_batches(counted(rows, "wafer", "defects", of="places"))
    assert chart.kind == "count"
    assert chart.limits.centre == expected["published"]["cbar"]
    assert (chart.limits.lower, chart.limits.upper) == (expected["published"]["lcl"], expected["published"]["ucl"])
    out = [int(alarm.batch) for alarm in chart.alarms if alarm.rule == "outside the limits"]
    assert out == expected["out"]
    # They scatter 1.3 times as much as chance (z = 1.8): named, but no ground yet for wider limits.
    assert chart.cautions == ("more scatter than chance, not widened",)


def test_split_crusts_with_unequal_sizes():
    # Computed with R 4.2.2 by its own formulae; Laney 2002 for the scatter beyond chance.
    rows, every = case("split_crust_p_variable")
    expected = every["p"]
    (chart,) = chart_batches(counted(rows, "day", "split", "inspected"))
    assert chart.kind == "share"
    assert chart.limits.centre == pytest.approx(expected["pbar"], rel=1e-12)
    assert [point.upper for point in chart.points] == pytest.approx(expected["ucl"], rel=1e-10)
    assert lower(chart) == pytest.approx(expected["lcl"], rel=1e-9)
    assert [int(alarm.batch) for alarm in chart.alarms] == expected["out"]
    assert chart.more["scatter"] == pytest.approx(expected["laney_sigma_z"], rel=1e-10)


def test_spots_and_blisters():
    rows, every = case("split_crust_p_variable")
    (spots,) = chart_batches(counted(rows, "day", "spots", of="places"))
    assert spots.limits.centre == pytest.approx(every["c"]["cbar"], rel=1e-12)
    assert spots.limits.upper == pytest.approx(every["c"]["ucl"], rel=1e-10)
    assert lower(spots) == [every["c"]["lcl"]] * len(rows)
    (blisters,) = chart_batches(counted(rows, "day", "blisters", "area_m2", of="places"))
    assert blisters.kind == "rate"
    assert blisters.limits.centre == pytest.approx(every["u"]["ubar"], rel=1e-12)
    assert [point.upper for point in blisters.points] == pytest.approx(every["u"]["ucl"], rel=1e-10)
    assert lower(blisters) == every["u"]["lcl"]
