"""Do adjusted comparisons, their letters and the studentized range agree with others?

Sources stand in the JSON beside each data set: datasets::PlantGrowth and warpbreaks (Tippett
1950); figures from R 4.2.2 (TukeyHSD, emmeans 1.8.4-1, multcompView 0.1-8, qtukey).
"""

import json
from pathlib import Path

import pytest

from analysis.linear.distributions import range_quantile
from analysis.linear.letters import letters

HERE = Path(__file__).parent / "multiple_comparisons"


def test_plant_growth_tukey(analyse):
    answer = analyse("multiple_comparisons/plantgrowth_tukey_dunnett", "weight", categories=["group"])
    pairs = answer.comparisons("group")
    for name, given in answer.expected["tukey"].items():
        b, a = name.split("-")
        found = pairs[a, b]
        assert -found.difference == pytest.approx(given["diff"], rel=1e-9)
        assert (-found.high, -found.low) == pytest.approx((given["lwr"], given["upr"]), rel=1e-6)
        assert found.p_adjusted == pytest.approx(given["p adj"], rel=1e-6)
        assert found.method == "Tukey-Kramer"
    hsd = (pairs["ctrl", "trt1"].high - pairs["ctrl", "trt1"].low) / 2
    assert hsd == pytest.approx(answer.expected["hsd"], rel=1e-6)
    # The published display counts letters from the lowest mean; the groups are the same.
    assert {level: mean.letters for level, mean in answer.means("group").items()} == {
        "trt2": "a",
        "ctrl": "ab",
        "trt1": "b",
    }


def test_bread_rise_tukey(analyse):
    answer = analyse("anova/bread_rise_oneway", "height", categories=["time"])
    for name, given in answer.expected["tukey"].items():
        b, a = name.split("-")
        found = answer.comparisons("time")[a, b]
        assert -found.difference == pytest.approx(given["diff"], rel=1e-9)
        assert (-found.high, -found.low) == pytest.approx((given["lwr"], given["upr"]), rel=1e-6)
        assert found.p_adjusted == pytest.approx(given["p adj"], rel=1e-6)


def test_warpbreaks_cells_and_tension_within_wool(analyse):
    answer = analyse("multiple_comparisons/warpbreaks_emm_interaction", "breaks", categories=["wool", "tension"])
    for cell, given in answer.expected["emm"].items():
        wool, tension = cell.split(":")
        mean = answer.means("tension", {"wool": wool})[tension]
        assert (mean.mean, mean.se, mean.df, mean.low, mean.high) == pytest.approx(
            (given["emmean"], given["SE"], given["df"], given["lower.CL"], given["upper.CL"]), rel=1e-9
        )
    for name, given in answer.expected["tension_in_wool"].items():
        wool, pair = name.split(" | ")
        found = answer.comparisons("tension", {"wool": wool})[tuple(pair.split(" - "))]
        assert (found.difference, found.se) == pytest.approx((given["estimate"], given["SE"]), rel=1e-8, abs=1e-9)
        assert (found.low, found.high) == pytest.approx((given["lower.CL"], given["upper.CL"]), rel=1e-6)
        assert found.p_adjusted == pytest.approx(given["p.value"], rel=1e-6)


def test_letters_of_overlapping_groups():
    case = json.loads((HERE / "letters_overlap_case.json").read_text())["expected"]
    names = list(case["means"])
    apart = [(i, j) for i, a in enumerate(names) for j, b in enumerate(names) if i < j and case["p"][a][b] < 0.05]
    found = letters([case["means"][name] for name in names], apart)
    assert dict(zip(names, found, strict=True)) == case["letters"]


def test_quantiles_of_the_studentized_range():
    table = json.loads((HERE / "studentized_range_dunnett_tables.json").read_text())["expected"]["q"]
    for name, given in table.items():
        parts = name.split("_")
        confidence = 0.99 if parts[-1] == "p99" else 0.95
        q = range_quantile(confidence, int(parts[0][1:]), float(parts[1][2:]))
        assert q == pytest.approx(given, rel=1e-7)  # qtukey itself stops there
