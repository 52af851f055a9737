"""Do constants, limits and rules of control charts meet figures that others published or computed?"""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from analysis.control.charts import chart_batches
from analysis.control.constants import constants
from analysis.control.results import BatchSeries
from analysis.control.rules import RULES, Rule, completed

HERE = Path(__file__).parent / "control_charts"


def rows(case):
    with (HERE / f"{case}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def expected(case):
    return json.loads((HERE / f"{case}.json").read_text(encoding="utf-8"))["expected"]


# ASTM E2587 prints these to four digits; the digits of the file are numerical integrals of R 4.2.2, whose
# d3 is good to 1e-8 (at n = 2, where a closed form stands, ours is right to 1e-12 and the file's to 3e-12).
@pytest.mark.parametrize("row", rows("constants_n2_10"), ids=lambda row: f"n={row['n']}")
@pytest.mark.parametrize("name", ["d2", "d3", "c4", "A2", "A3", "B3", "B4", "D3", "D4"])
def test_constants(row, name):
    within = 1e-8 if name in ("d3", "D3", "D4") else 1e-12
    assert getattr(constants(int(row["n"])), name) == pytest.approx(float(row[name]), rel=within, abs=within)


@pytest.mark.parametrize(("key", "figure"), expected("constants_n2_10")["spot"].items())
def test_constants_as_printed(key, figure):
    name, n = key.split("_n")
    assert round(getattr(constants(int(n)), name), 3) == figure


def test_constants_with_a_closed_form():
    # Mean ranges of two and three normal readings, and the spread of the range of two: 2/sqrt(pi), 3/sqrt(pi).
    assert constants(2).d2 == pytest.approx(2 / math.sqrt(math.pi), rel=1e-12)
    assert constants(2).d3 == pytest.approx(math.sqrt(2 - 4 / math.pi), rel=1e-12)
    assert constants(3).d2 == pytest.approx(3 / math.sqrt(math.pi), rel=1e-12)


@pytest.mark.parametrize(("n", "d2", "d3"), [(15, 3.472, 0.7562), (20, 3.735, 0.7287), (25, 3.931, 0.7084)])
def test_constants_of_large_batches(n, d2, d3):
    # The usual printed table of the range (to four digits; from memory, it goes back to Tippett 1925).
    assert constants(n).d2 == pytest.approx(d2, abs=5.1e-4)
    assert constants(n).d3 == pytest.approx(d3, abs=5.1e-4)


def test_single_readings_with_moving_ranges():
    # NIST/SEMATECH e-Handbook 6.3.2.2, flow rate. The handbook takes 1.128 for d2, so it prints 55.8041.
    case, published = expected("nist_imr_flow"), expected("nist_imr_flow")["published"]
    series = BatchSeries(
        response="flow",
        batches=tuple(row["batch"] for row in rows("nist_imr_flow")),
        values=tuple((float(row["flow"]),) for row in rows("nist_imr_flow")),
    )
    level, moving = chart_batches(series)
    assert level.kind == "individuals"
    assert level.limits.centre == pytest.approx(published["mean"], abs=1e-12)
    assert level.limits.lower == pytest.approx(case["lcl_exact"], rel=1e-12)
    assert level.limits.upper == pytest.approx(case["ucl_exact"], rel=1e-12)
    assert moving.limits.centre == pytest.approx(case["mrbar"], rel=1e-12)
    assert moving.limits.upper == pytest.approx(case["mr_ucl"], rel=1e-10)
    rounded = 3 * moving.limits.centre / 1.128
    assert round(level.limits.centre + rounded, 4) == published["ucl"]
    assert round(level.limits.centre - rounded, 4) == published["lcl"]
    assert level.alarms == moving.alarms == ()
    assert level.limits.provisional


@pytest.fixture
def dough_pieces():
    return BatchSeries(
        response="piece weight",
        unit="g",
        batches=tuple(row["subgroup"] for row in rows("dough_piece_xbar_rs")),
        values=tuple(tuple(float(row[f"x{i}"]) for i in range(1, 6)) for row in rows("dough_piece_xbar_rs")),
    )


# Computed with formulae of its own in R 4.2.2 (see the case).
@pytest.mark.parametrize(
    ("kind", "spread", "key", "mean_spread", "sigma"),
    [("range", "R", "xbar_R", "Rbar", "sigma_R"), ("sd", "S", "xbar_S", "sbar", "sigma_S")],
)
def test_batch_means_with_their_spread(dough_pieces, kind, spread, key, mean_spread, sigma):
    case = expected("dough_piece_xbar_rs")
    mean, within = chart_batches(dough_pieces, kind=kind)
    assert mean.limits.centre == pytest.approx(case["xbarbar"], rel=1e-12)
    assert mean.limits.lower == pytest.approx(case[key]["lcl"], rel=1e-12)
    assert mean.limits.upper == pytest.approx(case[key]["ucl"], rel=1e-12)
    assert mean.limits.numbers["within"] == pytest.approx(case[sigma], rel=1e-12)
    assert within.limits.centre == pytest.approx(case[mean_spread], rel=1e-12)
    assert within.limits.lower == case[spread]["lcl"] == 0
    assert within.limits.upper == pytest.approx(case[spread]["ucl"], rel=1e-9)
    assert [int(alarm.batch) for alarm in mean.alarms] == case["out_xbar_R"]
    assert [int(alarm.batch) for alarm in within.alarms] == case["out_R"]


AS_NELSON_HAS_IT = {
    "r1_beyond_3s": RULES["outside the limits"],
    "r2_nine_same_side": Rule(key="nine on one side", pattern="beyond", n=9, k=9),
    "r3_six_trend": RULES["six rising or falling"],
    "r4_fourteen_alternating": RULES["fourteen up and down"],
    "r5_two_of_three_2s": RULES["two of three far out"],
    "r6_four_of_five_1s": RULES["four of five well out"],
    "r7_fifteen_within_1s": RULES["fifteen close in"],
    "r8_eight_outside_1s": RULES["eight away from the centre"],
    "we_eight_same_side": RULES["eight on one side"],
}


@pytest.mark.parametrize("key", AS_NELSON_HAS_IT)
def test_rules_complete_where_nelson_has_them(key):
    # Nelson 1984, J. Quality Technology 16:237, completed by R code of its own (see the case).
    z = np.array([float(row["z"]) for row in rows("run_rules_share")])
    assert (np.flatnonzero(completed(AS_NELSON_HAS_IT[key], z)) + 1).tolist() == expected("run_rules_share")[key]


# Simulated in R with other code (estimated_limits.R, 200,000 charts): met within 0.1 point a batch, a point a chart.
ESTIMATED = json.loads((HERE / "estimated_limits.json").read_text(encoding="utf-8"))
CHARTS = 10_000


@pytest.mark.parametrize("batches", ["10", "20", "50"])
def test_false_alarms_of_single_readings_under_estimated_limits(batches):
    x = np.random.Generator(np.random.PCG64(2)).standard_normal((CHARTS, int(batches)))
    sd = np.abs(np.diff(x, axis=1)).mean(axis=1) / constants(2).d2
    assert limits_of_rows(x[0, :, None], "individuals") == pytest.approx((x[0].mean(), sd[0]), rel=1e-12)
    assert missed(x.mean(axis=1), sd, 1.0) == pytest.approx(ESTIMATED["individuals"][batches], abs=0.001)


@pytest.mark.parametrize("batches", ["10", "25"])
def test_false_alarms_of_batch_means_under_estimated_limits(batches):
    x = np.random.Generator(np.random.PCG64(3)).standard_normal((CHARTS, int(batches), 5))
    sd = np.ptp(x, axis=2).mean(axis=1) / constants(5).d2 / math.sqrt(5)
    assert limits_of_rows(x[0], "range") == pytest.approx((x[0].mean(), sd[0]), rel=1e-12)
    assert missed(x.mean(axis=(1, 2)), sd, 1 / math.sqrt(5)) == pytest.approx(
        ESTIMATED["range_of_5"][batches], abs=0.001
    )


def test_charts_that_are_judged_by_their_own_limits():
    x = np.random.Generator(np.random.PCG64(4)).standard_normal((CHARTS, 25))
    sd = np.abs(np.diff(x, axis=1)).mean(axis=1, keepdims=True) / constants(2).d2
    z = (x - x.mean(axis=1, keepdims=True)) / sd
    out = completed(RULES["outside the limits"], z).any(axis=1)
    run = completed(RULES["eight on one side"], z).any(axis=1)
    assert out.mean() == pytest.approx(ESTIMATED["any_of_25"]["outside"], abs=0.01)
    assert (out | run).mean() == pytest.approx(ESTIMATED["any_of_25"]["both"], abs=0.01)


def limits_of_rows(values, kind):
    """Centre and standard deviation of the level that the chart itself makes of (batches, readings)."""
    batches = tuple(str(number) for number in range(len(values)))
    chart = chart_batches(BatchSeries(response="x", batches=batches, values=tuple(map(tuple, values))), kind=kind)[0]
    return chart.limits.centre, chart.limits.sd


def missed(centre, sd, true):
    """Mean chance over all charts that one further point of a process that did not change lies outside."""
    return float(np.mean(norm.cdf((centre - 3 * sd) / true) + norm.sf((centre + 3 * sd) / true)))
