"""Do analyses of variance agree with what others published and computed?

Sources stand in the JSON beside each data set: NIST Statistical Reference Datasets, Analysis
of Variance (certified values, US government); Lawson 2014, Design and Analysis of Experiments
with R, ch. 2 (bread rise; biscuit rise); Tippett 1950 (warpbreaks); figures with all digits
from R 4.2.2 (stats, car 3.1-1, emmeans 1.8.4-1). The loaf volumes are synthetic.
"""

import pytest

NIST = {"sirstv": ("resistance", "instrument"), "smls01": ("y", "treatment")}


@pytest.mark.parametrize("name", NIST)
def test_nist_lower_difficulty_to_ten_digits(analyse, name):
    response, factor = NIST[name]
    answer = analyse(f"anova/nist_{name}", response, categories=[factor])
    certified, line, residual = answer.expected, answer.tests[factor], answer.result.residual
    assert (line.df, line.df_error) == (certified["dfb"], certified["dfw"])
    assert line.sum_sq == pytest.approx(certified["ssb"], rel=1e-10)
    assert residual.sum_sq == pytest.approx(certified["ssw"], rel=1e-10)
    assert line.value == pytest.approx(certified["F"], rel=1e-10)
    assert residual.sd == pytest.approx(certified["resid_sd"], rel=1e-10)
    assert residual.r_squared == pytest.approx(certified["r2"], rel=1e-10)


def test_nist_smls07_is_answered_as_far_as_doubles_hold_it_and_warned_of(analyse):
    # 13 leading digits in common: storing the numbers leaves about four digits of each difference.
    answer = analyse("anova/nist_smls07", "y", categories=["treatment"])
    assert answer.tests["treatment"].value == pytest.approx(answer.expected["F"], rel=1e-4)
    assert answer.checks()["leading digits"].verdict == "look here"


def test_bread_rise_time(analyse):
    answer = analyse("anova/bread_rise_oneway", "height", categories=["time"])
    expected, line = answer.expected, answer.tests["time"]
    table = expected["anova"]["factor(time)"]
    assert line.sum_sq == pytest.approx(table["Sum.Sq"], rel=1e-9)
    assert line.sum_sq == pytest.approx(expected["published"]["SS_time"], abs=0.005)
    assert line.value == pytest.approx(table["F.value"], rel=1e-9)
    assert line.p == pytest.approx(table["Pr..F."], rel=1e-9)
    assert answer.result.residual.r_squared == pytest.approx(expected["r_squared"], rel=1e-9)
    for level, mean in expected["group_means"].items():
        assert answer.means("time")[level].mean == pytest.approx(mean, rel=1e-9)
    spread = answer.checks()["spread"].facts
    assert spread["value"] == pytest.approx(expected["brown_forsythe"]["F"], rel=1e-9)
    assert spread["p"] == pytest.approx(expected["brown_forsythe"]["p"], rel=1e-9)


def test_bread_rise_trends_when_time_is_an_amount(analyse):
    answer = analyse("anova/bread_rise_oneway", "height", amounts=["time"])
    trends = answer.expected["polynomial_contrasts"]
    bend = answer.checks()["curvature"].facts
    assert bend["df_error"] == 9
    assert bend["trends"][0][1] == pytest.approx(trends["quadratic"]["t value"] ** 2, rel=1e-9)
    assert bend["quadratic_p"] == pytest.approx(trends["quadratic"]["Pr(>|t|)"], rel=1e-9)


@pytest.mark.parametrize("kind", [1, 2, 3])
def test_unbalanced_loaf_volumes_in_three_types_of_squares(analyse, kind):
    answer = analyse("anova/loaf_volume_unbalanced", "volume", categories=["flour", "fat"], squares=kind)
    table = answer.expected[f"type{kind}"]
    for term in ("flour", "fat", "flour:fat"):
        assert answer.tests[term].sum_sq == pytest.approx(table[term]["Sum.Sq"], rel=1e-9)
        assert answer.tests[term].value == pytest.approx(table[term]["F.value"], rel=1e-9)
        assert answer.tests[term].p == pytest.approx(table[term]["Pr..F."], rel=1e-8)
    assert answer.result.residual.sum_sq == pytest.approx(table["Residuals"]["Sum.Sq"], rel=1e-9)


def test_unbalanced_loaf_volumes_estimated_means(analyse):
    answer = analyse("anova/loaf_volume_unbalanced", "volume", categories=["flour", "fat"])
    for level, expected in answer.expected["emmeans_flour"].items():
        mean = answer.means("flour")[level]
        assert (mean.mean, mean.se, mean.df) == pytest.approx(
            (expected["emmean"], expected["SE"], expected["df"]), rel=1e-9
        )
        assert (mean.low, mean.high) == pytest.approx((expected["lower.CL"], expected["upper.CL"]), rel=1e-9)


def test_warpbreaks_two_way(analyse):
    answer = analyse("anova/warpbreaks_twoway", "breaks", categories=["wool", "tension"])
    for term in ("wool", "tension", "wool:tension"):
        expected = answer.expected["anova"][term]
        assert answer.tests[term].sum_sq == pytest.approx(expected["Sum.Sq"], rel=1e-9)
        assert answer.tests[term].p == pytest.approx(expected["Pr..F."], rel=1e-9)
    assert answer.result.residual.sd == pytest.approx(answer.expected["sigma"], rel=1e-9)


def test_biscuit_rise_against_powder(analyse):
    levels = analyse("baking_trials/biscuit_rise_powder_dose", "rise", categories=["powder_tsp"])
    expected = levels.expected
    assert levels.tests["powder_tsp"].value == pytest.approx(expected["anova"]["f"]["F.value"], rel=1e-9)
    assert levels.tests["powder_tsp"].p == pytest.approx(expected["anova"]["f"]["Pr..F."], rel=1e-6)
    assert levels.result.residual.mean_sq == pytest.approx(expected["published"]["mse"], abs=1e-4)
    assert levels.checks()["spread"].facts["p"] == pytest.approx(expected["brown_forsythe"]["p"], rel=1e-8)
    # Four biscuits of a dose may come from one bowl: the answer has to ask.
    assert levels.checks()["experimental unit"].verdict == "look here"

    line = analyse("baking_trials/biscuit_rise_powder_dose", "rise", amounts=["powder_tsp"])
    for name, row in {"intercept at zero": "(Intercept)", "powder_tsp": "powder_tsp"}.items():
        coefficient, given = line.coefficients[name], expected["line"]["coef"][row]
        assert (coefficient.estimate, coefficient.se) == pytest.approx(
            (given["Estimate"], given["Std. Error"]), rel=1e-9
        )
    bend, lack = line.checks()["curvature"].facts, expected["line"]["lack_of_fit"]
    assert (bend["value"], bend["p"], bend["df"]) == pytest.approx((lack["F"], lack["p"], lack["df"]), rel=1e-8)
    for (_, value, p), name in zip(bend["trends"], ("quadratic", "cubic"), strict=True):
        assert (value, p) == pytest.approx(
            (expected["polynomial"][name]["F"], expected["polynomial"][name]["p"]), rel=1e-7
        )
