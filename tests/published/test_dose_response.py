"""Do the dose curves agree with figures we did not compute?

Sources stand in the JSON beside each data file. Ryegrass: Inderjit, Streibig & Olofsdotter
2002, fit by R 4.2.2 minpack.lm (published: Ritz & Streibig 2005, whose standard errors use
the full Hessian; ours use J'J). Water and yeast: synthetic, R 4.2.2. Biscuits: Lawson 2014,
R 4.2.2. Rat42: NIST StRD.
"""

import json
from pathlib import Path

import pandas as pd
import pytest

from analysis.dose_response import dose_model
from analysis.questions import Question, Response

HERE = Path(__file__).parent


def answer(folder, name, *, dose, response, shape=None, **wanted):
    data = pd.read_csv(HERE / folder / f"{name}.csv")
    expected = json.loads((HERE / folder / f"{name}.json").read_text())["expected"]
    asked = Response(name=response, **wanted)
    question = Question(factors=(), responses=(asked,), shape=shape)
    return dose_model(data, asked, question, dose=dose, by=None), expected


@pytest.mark.parametrize("shape", [None, "log-logistic-4"])
def test_ryegrass_is_a_four_parameter_log_logistic(shape):
    found, expected = answer("dose_response", "ryegrass_4pl", dose="conc", response="rootl", shape=shape)
    assert found.dose.shape == "log-logistic-4"
    curve = found.dose.curves[0]
    for name, want in expected["coef"].items():
        assert curve.parameters[name].estimate == pytest.approx(want["Estimate"], rel=1e-7)
        assert curve.parameters[name].se == pytest.approx(want["Std. Error"], rel=1e-5)
    for effective, key in zip(curve.effective, ("ED10", "ED50", "ED90"), strict=True):
        assert effective.dose == pytest.approx(expected[key]["estimate"], rel=1e-6)
        assert [effective.low, effective.high] == pytest.approx(
            [expected[key]["lower"], expected[key]["upper"]], rel=1e-5
        )
    want = expected["lack_of_fit"]
    misses = found.dose.lack_of_fit
    assert (misses.df, misses.df_error) == (want["df1"], want["df2"])
    assert [misses.value, misses.p] == pytest.approx([want["F"], want["p"]], rel=1e-6)
    best = next(c for c in found.dose.candidates if c.shape == "log-logistic-4")
    assert best.rss == pytest.approx(expected["rss"], rel=1e-10)
    assert best.df == expected["df"]
    assert (found.residual.df, found.residual.sum_sq) == pytest.approx((expected["df"], expected["rss"]), rel=1e-10)
    assert found.residual.sd == pytest.approx(expected["sigma"], rel=1e-10)


def test_water_hump_turning_point():
    found, expected = answer(
        "dose_response", "water_hump_quadratic", dose="water_pct", response="volume_ml", goal="maximise", matters=5.0
    )
    assert found.dose.shape == "quadratic"
    curve, best = found.dose.curves[0], found.dose.curves[0].optimum
    for name, term in (("intercept", "(Intercept)"), ("slope", "x"), ("curvature", "I(x^2)")):
        assert curve.parameters[name].estimate == pytest.approx(expected["coef"][term]["Estimate"], rel=1e-9)
        assert curve.parameters[name].se == pytest.approx(expected["coef"][term]["Std. Error"], rel=1e-8)
    assert best.dose == pytest.approx(expected["optimum"], rel=1e-10)
    assert best.se == pytest.approx(expected["se_delta"], rel=1e-7)
    assert (found.residual.sd, found.residual.r_squared) == pytest.approx((expected["sigma"], expected["r2"]), rel=1e-9)
    assert [best.low, best.high] == pytest.approx(expected["ci_fieller"], rel=1e-9)
    assert [best.delta_low, best.delta_high] == pytest.approx(expected["ci_delta"], rel=1e-9)
    assert best.response == pytest.approx(expected["max_response"], rel=1e-9)
    assert found.dose.lack_of_fit.value == pytest.approx(expected["lack_of_fit"]["F"], rel=1e-8)
    assert found.dose.lack_of_fit.p == pytest.approx(expected["lack_of_fit"]["p"], rel=1e-8)


def test_yeast_plateau_and_its_profile_interval():
    found, expected = answer(
        "dose_response", "yeast_linear_plateau", dose="yeast_pct", response="specific_volume", goal="maximise"
    )
    assert found.dose.shape == "linear-plateau"
    curve = found.dose.curves[0]
    for name in ("intercept", "slope", "breakpoint", "plateau"):
        assert curve.parameters[name].estimate == pytest.approx(expected[name], rel=1e-6)
    knot = curve.parameters["breakpoint"]
    assert [knot.low, knot.high] == pytest.approx(expected["profile_F_ci95_breakpoint"], rel=1e-7)
    assert found.dose.candidates[0].rss == pytest.approx(expected["rss"], rel=1e-10)
    assert (found.residual.sd, found.residual.r_squared) == pytest.approx((expected["sigma"], expected["r2"]), rel=1e-9)
    assert curve.optimum is None
    assert found.dose.edge == "high"


def test_biscuit_rise_against_powder_dose():
    found, expected = answer("dose_response", "biscuit_rise_powder_dose", dose="powder_tsp", response="rise")
    tests = {test.term: test for test in found.tests}
    assert tests["powder_tsp"].df == 3
    assert tests["powder_tsp"].df_error == 12
    assert tests["powder_tsp"].value == pytest.approx(expected["anova"]["f"]["F.value"], rel=1e-9)
    assert tests["powder_tsp"].p == pytest.approx(expected["anova"]["f"]["Pr..F."], rel=1e-6)
    pure = expected["anova"]["Residuals"]
    assert (found.dose.pure_error.df, found.dose.pure_error.mean_sq) == pytest.approx((pure["Df"], pure["Mean.Sq"]))
    # What the straight line leaves over is pure error and lack of fit together.
    assert found.residual.sum_sq == pytest.approx(pure["Sum.Sq"] + expected["line"]["lack_of_fit"]["ss"], rel=1e-9)
    for power, want in expected["polynomial"].items():
        one = tests[f"powder_tsp {power}"]
        assert [one.sum_sq, one.value, one.p] == pytest.approx([want["ss"], want["F"], want["p"]], rel=1e-6)
    assert found.dose.shape == "line"
    want = expected["line"]["coef"]
    assert found.dose.curves[0].parameters["slope"].estimate == pytest.approx(want["powder_tsp"]["Estimate"], rel=1e-9)
    assert found.dose.curves[0].parameters["slope"].se == pytest.approx(want["powder_tsp"]["Std. Error"], rel=1e-9)
    misses, want = found.dose.lack_of_fit, expected["line"]["lack_of_fit"]
    assert [misses.value, misses.p, misses.sum_sq] == pytest.approx([want["F"], want["p"], want["ss"]], rel=1e-8)
    spread = next(check for check in found.checks if check.check == "spread")
    assert spread.facts["p"] == pytest.approx(expected["brown_forsythe"]["p"], rel=1e-6)
    unit = next(check for check in found.checks if check.check == "experimental unit")
    assert unit.verdict == "look here"  # four biscuits of one batch would not be replicates


def test_rat42_through_the_whole_model():
    found, expected = answer("regression", "nist_rat42", dose="x", response="y")
    assert found.dose.shape == "logistic-3"
    for name, want in expected["coef"].items():
        assert found.dose.curves[0].parameters[name].estimate == pytest.approx(want, rel=1e-9)
        assert found.dose.curves[0].parameters[name].se == pytest.approx(expected["se"][name], rel=1e-8)
    assert found.dose.candidates[0].rss == pytest.approx(expected["rss"], rel=1e-9)
