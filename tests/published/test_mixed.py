"""Models with groups, through the command: variances, tests, means and coefficients of published data.

Sources stand in the JSON beside each data set: chocolate cake (Cochran & Cox 1957, lme4::cake), stools
(nlme::ergoStool), dyestuff and penicillin (Davies & Goldsmith 1972), sleep study (lme4::sleepstudy), carrots
(lmerTest::carrots), catalyst in incomplete blocks (Montgomery ch. 4), an oven split-plot with gaps (synthetic). All
digits: R 4.2.2 with lme4 1.1-31, lmerTest 3.1-3, pbkrtest 0.5.2, emmeans 1.8.4-1. Tolerance 1e-4 throughout.
"""

from __future__ import annotations

import io
import json
from contextlib import redirect_stdout
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from tracker.commands import main

HERE = Path(__file__).parent
CLOSE = 1e-4


@cache
def asked(case: str, *words: str) -> SimpleNamespace:
    """The one response of ``crumbwise analyse CASE.csv … --json`` with its rows by name, and the expected figures."""
    out = io.StringIO()
    with redirect_stdout(out):
        code = main(["analyse", str(HERE / f"{case}.csv"), *words, "--json"])
    assert code == 0
    (response,) = json.loads(out.getvalue())["responses"]
    return SimpleNamespace(
        whole=response,
        tests={line["term"]: line for line in response["tests"]},
        variances={line["group"]: line for line in response["variances"]},
        coefficients={line["term"]: line for line in response["coefficients"]},
        means={(line["factor"], line["level"]): line for line in response["means"] if not line["at"]},
        comparisons={
            (line["factor"], line["a"], line["b"]): line for line in response["comparisons"] if not line["at"]
        },
        expected=json.loads((HERE / f"{case}.json").read_text())["expected"],
    )


def same_test(line: dict[str, Any], given: dict[str, Any]) -> None:
    assert line["df"] == given["NumDF"]
    assert line["df_error"] == pytest.approx(given["DenDF"], rel=CLOSE)
    assert line["value"] == pytest.approx(given["F.value"], rel=CLOSE)
    assert line["p"] == pytest.approx(given["Pr..F."], rel=1e-3, abs=1e-12)


def same_coefficient(line: dict[str, Any], given: dict[str, Any]) -> None:
    assert line["estimate"] == pytest.approx(given["Estimate"], rel=CLOSE)
    assert line["se"] == pytest.approx(given["Std. Error"], rel=CLOSE)
    assert line["df"] == pytest.approx(given["df"], rel=CLOSE)
    if "t value" in given:
        assert line["t"] == pytest.approx(given["t value"], rel=CLOSE)


def test_cake():
    cake = asked(
        "mixed_split_plot/cake_split_plot", "--response", "angle", "--factor", "recipe:category",
        "--factor", "temperature:category", "--group", "replicate+recipe",
    )  # fmt: skip
    given = cake.expected["reml_two_terms"]
    names = {"replicate": "replicate", "replicate+recipe": "recipe:replicate", "residual": "Residual"}
    assert list(cake.variances) == list(names)
    for group, name in names.items():
        assert cake.variances[group]["variance"] == pytest.approx(given["variances"][name], rel=CLOSE)
        assert cake.variances[group]["sd"] == pytest.approx(given["sds"][name], rel=CLOSE)
        assert cake.variances[group]["low"] < given["variances"][name] < cake.variances[group]["high"]
    for term, name in (("recipe", "recipe"), ("temperature", "tempf"), ("recipe:temperature", "recipe:tempf")):
        same_test(cake.tests[term], given["anova_kr"][name])
    for level, mean in given["emm_recipe_kr"].items():
        found = cake.means["recipe", level]
        assert (found["mean"], found["se"], found["df"], found["low"], found["high"]) == pytest.approx(
            (mean["emmean"], mean["SE"], mean["df"], mean["lower.CL"], mean["upper.CL"]), rel=CLOSE
        )
    for pair, line in given["pairs_recipe_kr_tukey"].items():
        found = cake.comparisons["recipe", *pair.split(" - ")]
        assert (found["difference"], found["se"]) == pytest.approx((line["estimate"], line["SE"]), rel=CLOSE)
        assert (found["low"], found["high"]) == pytest.approx((line["lower.CL"], line["upper.CL"]), rel=CLOSE)
        assert found["p_adjusted"] == pytest.approx(line["p.value"], rel=CLOSE)


@pytest.mark.parametrize(("method", "key"), [("kenward-roger", "fixed_kr"), ("satterthwaite", "fixed_satt")])
def test_an_oven_split_plot_with_gaps(method, key):
    oven = asked(
        "mixed_split_plot/oven_split_plot_missing", "--response", "volume", "--factor", "oven_temp:amount",
        "--factor", "hydration:amount", "--factor", "yeast:amount", "--group", "oven_run",
        "--interaction", "oven_temp:hydration", "--small-sample", method,
    )  # fmt: skip
    for name, given in oven.expected[key].items():
        same_coefficient(oven.coefficients[{"(Intercept)": "intercept"}.get(name, name)], given)
    assert oven.variances["oven_run"]["variance"] == pytest.approx(oven.expected["variances"]["oven_run"], rel=CLOSE)
    assert oven.whole["residual"]["mean_sq"] == pytest.approx(oven.expected["variances"]["Residual"], rel=CLOSE)
    assert oven.tests["oven_temp"]["stratum"] == "oven_run"


def test_stools_of_nine_people():
    stools = asked("mixed_split_plot/ergostool_rcbd", "--response", "effort", "--factor", "Type", "--group", "Subject")
    for group, name in (("Subject", "Subject"), ("residual", "Residual")):
        assert stools.variances[group]["variance"] == pytest.approx(stools.expected["variances"][name], rel=CLOSE)
    given = stools.expected["rcbd"]["Type"]
    assert stools.tests["Type"]["value"] == pytest.approx(given["F.value"], rel=CLOSE)
    for pair, line in stools.expected["pairs_tukey"].items():
        found = stools.comparisons["Type", *pair.split(" - ")]
        assert (found["difference"], found["p_adjusted"]) == pytest.approx(
            (line["estimate"], line["p.value"]), rel=CLOSE
        )


def test_batches_of_dyestuff_without_a_factor():
    dye = asked("mixed_split_plot/dyestuff_one_random", "--response", "Yield", "--group", "Batch")
    given = dye.expected["reml"]
    assert dye.variances["Batch"]["variance"] == pytest.approx(given["variances"]["Batch"], rel=CLOSE)
    assert dye.variances["residual"]["variance"] == pytest.approx(given["variances"]["Residual"], rel=CLOSE)
    same_coefficient(dye.coefficients["intercept"], given["intercept"])
    assert "Batches differ by about 42" in dye.whole["headline"]


def test_crossed_plates_and_samples():
    moulds = asked(
        "mixed_split_plot/penicillin_crossed", "--response", "diameter", "--group", "plate", "--group", "sample"
    )
    for group, name in (("plate", "plate"), ("sample", "sample"), ("residual", "Residual")):
        assert moulds.variances[group]["variance"] == pytest.approx(moulds.expected["variances"][name], rel=CLOSE)
        assert moulds.variances[group]["sd"] == pytest.approx(moulds.expected["sds"][name], rel=CLOSE)
    found, given = moulds.coefficients["intercept"], moulds.expected["intercept"]
    assert (found["estimate"], found["se"]) == pytest.approx((given["Estimate"], given["Std. Error"]), rel=CLOSE)
    assert found["df"] == pytest.approx(given["df"], rel=1e-3)


@pytest.mark.parametrize(("method", "key"), [("kenward-roger", "fixed_kr"), ("satterthwaite", "fixed_satt")])
def test_a_slope_that_varies_between_people(method, key):
    sleep = asked(
        "mixed_split_plot/sleepstudy_random_slope", "--response", "Reaction", "--factor", "Days:amount",
        "--slope", "Days:Subject", "--small-sample", method,
    )  # fmt: skip
    given = sleep.expected["variances"]
    assert sleep.variances["Subject"]["variance"] == pytest.approx(given["Subject"], rel=CLOSE)
    assert sleep.variances["Subject:Days"]["variance"] == pytest.approx(given["Subject:Days"], rel=CLOSE)
    assert sleep.variances["Subject:Days"]["covariance"] == pytest.approx(given["Subject:cov"], rel=CLOSE)
    same_coefficient(sleep.coefficients["intercept at zero"], sleep.expected[key]["(Intercept)"])
    same_coefficient(sleep.coefficients["Days"], sleep.expected[key]["Days"])


def test_uneven_consumers_of_carrots():
    carrots = asked(
        "hedonic/carrots_preference_share", "--response", "Preference", "--factor", "Product:category",
        "--group", "Consumer",
    )  # fmt: skip
    assert carrots.variances["Consumer"]["variance"] == pytest.approx(
        carrots.expected["variances"]["Consumer"], rel=CLOSE
    )
    same_test(carrots.tests["Product"], carrots.expected["anova_kr"]["Product"])
    assert carrots.tests["Product"]["sum_sq"] == pytest.approx(
        carrots.expected["anova_kr"]["Product"]["Sum.Sq"], rel=CLOSE
    )
    for level, given in carrots.expected["emm"].items():
        found = carrots.means["Product", level]
        assert (found["mean"], found["se"], found["df"]) == pytest.approx(
            (given["emmean"], given["SE"], given["df"]), rel=CLOSE
        )


def test_incomplete_blocks_with_what_lies_between_them():
    catalyst = asked("blocks_latin_bib/bib_catalyst", "--response", "y", "--factor", "trt:category", "--group", "block")
    given = catalyst.expected["interblock"]
    assert catalyst.variances["block"]["variance"] == pytest.approx(given["variances"]["block"], rel=CLOSE)
    same_test(catalyst.tests["trt"], given["anova_kr"]["trt"])
    for level, line in given["emm_kr"].items():
        found = catalyst.means["trt", level]
        assert (found["mean"], found["se"], found["df"]) == pytest.approx(
            (line["emmean"], line["SE"], line["df"]), rel=CLOSE
        )


def test_incomplete_blocks_within_blocks_stay_as_they_were():
    catalyst = asked("blocks_latin_bib/bib_catalyst", "--response", "y", "--factor", "trt:category", "--block", "block")
    assert not catalyst.variances
    assert catalyst.tests["trt"]["value"] == pytest.approx(catalyst.expected["type2"]["trt"]["F.value"], rel=1e-9)
