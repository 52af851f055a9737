"""T2 of single loaves against figures computed with R, and its limits against the published formulae."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from analysis.control.charts import chart_batches
from analysis.control.results import BatchSeries, Phase
from analysis.control.t_squared import base_limit, further_limit

HERE = Path(__file__).parent / "control_charts"


def loaves():
    with (HERE / "hotelling_loaves.csv").open() as file:
        rows = list(csv.DictReader(file))
    return tuple(
        BatchSeries(
            response=name,
            batches=tuple(row["loaf"] for row in rows),
            values=tuple((float(row[name]),) for row in rows),
        )
        for name in ("weight_g", "height_mm", "moisture_pct")
    )


# Computed with R 4.2.2; limits after Tracy, Young and Mason 1992; NIST/SEMATECH e-Handbook 6.3.4.1.
EXPECTED = json.loads((HERE / "hotelling_loaves.json").read_text())["expected"]


def test_t2_of_thirty_loaves():
    (chart,) = chart_batches(loaves())
    assert chart.kind == "several responses"
    assert [point.value for point in chart.points] == pytest.approx(EXPECTED["T2"], rel=1e-10)
    assert chart.limits.upper == pytest.approx(EXPECTED["ucl_phase1_beta"], rel=1e-10)
    assert [int(alarm.batch) for alarm in chart.alarms] == EXPECTED["out_phase1"]
    numbers = chart.limits.numbers
    for name, mean in EXPECTED["mean"].items():
        assert numbers[f"mean {name}"] == pytest.approx(mean, rel=1e-12)
    assert numbers["covariance height_mm with weight_g"] == pytest.approx(EXPECTED["cov"][0]["height_mm"], rel=1e-10)


def test_what_drove_loaf_21():
    (chart,) = chart_batches(loaves())
    terms, away = chart.more["contributions"]["21"], chart.more["away"]["21"]
    assert terms == pytest.approx(EXPECTED["terms_loaf21"], rel=1e-9)
    assert next(iter(terms)) == "weight_g"
    assert max(abs(z) for z in away.values()) == pytest.approx(EXPECTED["max_univariate_z_loaf21"], rel=1e-10)
    assert chart.more["alone"]["21"] is False  # none of its readings is out by itself: it breaks the pattern


def test_limits():
    assert base_limit(30, 3, EXPECTED["alpha"]) == pytest.approx(EXPECTED["ucl_phase1_beta"], rel=1e-10)
    assert further_limit(30, 3, EXPECTED["alpha"]) == pytest.approx(EXPECTED["ucl_phase2_F"], rel=1e-10)
    assert further_limit(10**7, 3, EXPECTED["alpha"]) == pytest.approx(EXPECTED["ucl_chisq"], rel=1e-5)


def test_frozen_limits_take_the_second_formula():
    held = chart_batches(loaves())[0].limits
    (chart,) = chart_batches(loaves(), phases=(Phase(number=2, from_batch="21", limits=held),))
    assert chart.points[25].upper == pytest.approx(EXPECTED["ucl_phase2_F"], rel=1e-10)
    assert chart.points[25].value == pytest.approx(EXPECTED["T2"][25], rel=1e-10)
