"""Two one-sided tests, chosen contrasts and comparisons with a control against published figures."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.linear.many_at_once import _by_points, correlation_of, largest_quantile, largest_tail
from analysis.questions import Factor, Margin, Question, Response

HERE = Path(__file__).parent


def figures(case):
    return json.loads((HERE / f"{case}.json").read_text())["expected"]


def column(case, name):
    with (HERE / f"{case}.csv").open() as file:
        return [float(row[name]) for row in csv.DictReader(file)]


def mixers(margin):
    new, old = (column(f"equivalence/loaf_volume_tost__{which}", "y") for which in ("new", "old"))
    table = pd.DataFrame({"mixer": ["new"] * len(new) + ["old"] * len(old), "volume": new + old})
    factor = Factor(name="mixer", kind="category", levels=("new", "old"), reference="old")
    question = Question(factors=(factor,), responses=(Response(name="volume", unit="ml", margin=margin),))
    return analyse(table, question).responses[0].family.equivalence[0]


def test_loaf_volume_within_8_ml():
    # R 4.2.2 t.test, pooled; Schuirmann 1987.
    given = figures("equivalence/loaf_volume_tost")["difference"]["pooled"]
    found = mixers(Margin(low=-8, high=8))
    assert (found.estimate, found.df, found.p_low, found.p_high, found.p) == pytest.approx(
        (given["diff"], given["df"], given["p_lower"], given["p_upper"], given["p_tost"]), rel=1e-8
    )
    assert [found.low, found.high] == pytest.approx(given["ci90"], rel=1e-8)
    assert found.equivalent == "unsure"


def test_loaf_volume_ratio_within_5_percent():
    given = figures("equivalence/loaf_volume_tost")["log_ratio"]["pooled"]
    found = mixers(Margin(low=0.95, high=1.05, ratio=True))
    assert np.log(found.estimate) == pytest.approx(given["diff"], rel=1e-8)
    assert found.p_low == pytest.approx(given["p_lower"], rel=1e-8)
    assert found.equivalent == "yes"


def test_paired_heights():
    # Each cake measured by two methods: the cake is a block.
    given = figures("equivalence/paired_height_tost")
    case = "equivalence/paired_height_tost"
    pairs = column(case, "pair")
    table = pd.DataFrame(
        {
            "cake": [f"{pair:g}" for pair in pairs] * 2,
            "method": ["a"] * len(pairs) + ["b"] * len(pairs),
            "height": column(case, "method_a") + column(case, "method_b"),
        }
    )
    factor = Factor(name="method", kind="category", levels=("a", "b"))
    response = Response(name="height", unit="mm", margin=Margin(low=-1.5, high=1.5))
    question = Question(factors=(factor,), responses=(response,), blocks=("cake",))
    found = analyse(table, question).responses[0].family.equivalence[0]
    sign = 1 if found.a == "a" else -1
    assert sign * found.estimate == pytest.approx(given["mean"], rel=1e-9)
    assert found.p == pytest.approx(given["p_tost"], rel=1e-8)
    assert sorted(sign * np.array([found.low, found.high])) == pytest.approx(given["ci90"], rel=1e-6)
    assert found.equivalent == "yes"


def test_each_treatment_against_the_control():
    # R 4.2.2 multcomp, single-step; its integration is randomised, so p to 1e-4 and limits to 1e-3.
    case = "multiple_comparisons/plantgrowth_tukey_dunnett"
    given = figures(case)["dunnett"]
    table = pd.read_csv(HERE / f"{case}.csv")
    factor = Factor(name="group", kind="category", levels=("ctrl", "trt1", "trt2"), reference="ctrl")
    question = Question(factors=(factor,), responses=(Response(name="weight"),))
    found = {c.a: c for c in analyse(table, question).responses[0].family.comparisons}
    assert {c.method for c in found.values()} == {"Dunnett"}
    for name, estimate in given["estimate"].items():
        one = found[name.split(" - ")[0]]
        assert one.difference == pytest.approx(estimate, rel=1e-9)
        assert one.p_adjusted == pytest.approx(given["p_single_step"][name], abs=1e-4)
        assert (one.low, one.high) == pytest.approx((given["ci"][name]["lwr"], given["ci"][name]["upr"]), abs=1e-3)


@pytest.mark.parametrize("adjust", ["none", "holm", "scheffe"])
def test_other_allowances(adjust):
    # R 4.2.2 emmeans.
    case = "multiple_comparisons/plantgrowth_tukey_dunnett"
    given = figures(case)["pairwise_p"][adjust]
    table = pd.read_csv(HERE / f"{case}.csv")
    factor = Factor(name="group", kind="category", levels=("ctrl", "trt1", "trt2"))
    question = Question(factors=(factor,), responses=(Response(name="weight"),), adjust=adjust)
    found = {f"{c.a} - {c.b}": c for c in analyse(table, question).responses[0].family.comparisons}
    assert set(found) == set(given)
    for name, row in given.items():
        assert found[name].p_adjusted == pytest.approx(row["p.value"], rel=1e-8)


@pytest.mark.parametrize(("others", "df", "table"), [(2, 10, 2.57), (3, 20, 2.54), (4, 30, 2.58)])
def test_quantiles_for_equal_groups_are_the_tabled_ones(others, df, table):
    # Dunnett 1964, Biometrics 20:482 (two-sided, 5 %), to the digits printed.
    correlation = np.full((others, others), 0.5) + 0.5 * np.eye(others)
    assert largest_quantile(0.95, correlation, df) == pytest.approx(table, abs=0.005)


def test_both_ways_of_integrating_agree():
    correlation = np.full((4, 4), 0.4) + 0.6 * np.eye(4)
    for t in (1.5, 2.5, 3.5):
        assert 1 - _by_points(correlation, 12)(t) == pytest.approx(largest_tail(t, correlation, 12), abs=2e-4)


def test_a_correlation_of_no_pattern_agrees_with_the_library():
    from scipy.stats import multivariate_t

    chance = np.random.Generator(np.random.PCG64(3)).normal(size=(4, 6))
    correlation = correlation_of(chance @ chance.T)
    theirs = multivariate_t(shape=correlation, df=9, seed=1).cdf(np.full(4, 2.4), lower_limit=np.full(4, -2.4))
    assert largest_tail(2.4, correlation, 9) == pytest.approx(1 - theirs, abs=1e-3)


def test_trends_over_levels_that_are_numbers():
    # R 4.2.2 contr.poly on the bread rise trial of Lawson 2014, ch. 2.
    given = figures("anova/bread_rise_oneway")["polynomial_contrasts"]
    table = pd.read_csv(HERE / "anova/bread_rise_oneway.csv").astype({"time": str})
    question = Question(
        factors=(Factor(name="time", kind="category", levels=("35", "40", "45")),),
        responses=(Response(name="height"),),
        contrasts=("time: linear", "time: quadratic"),
    )
    found = analyse(table, question).responses[0].family.contrasts
    for one, name in zip(found, ("linear", "quadratic"), strict=True):
        row = given[name]
        assert (one.estimate, one.se, one.t, one.p) == pytest.approx(
            (row["Estimate"], row["Std. Error"], row["t value"], row["Pr(>|t|)"]), rel=1e-8
        )
