"""Random days, weights, unequal spread and relative potency against figures that R computed.

``dose_response/days_and_spread.R`` (nlme, lme, gnls, nls of R 4.2) made the first three; the
parallel lines are R's lm with Fieller's interval (relative_potency/yeast_gassing_parallel_line).
"""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from analysis.dose_response.choosing import choose
from analysis.dose_response.layout import read_layout
from analysis.dose_response.variances import deviance
from analysis.engine import analyse
from analysis.questions import Factor, Question, Response

HERE = Path(__file__).parent
RISE = Response(name="rise", unit="mm")
FIGURES = json.loads((HERE / "dose_response" / "days_and_spread.json").read_text())


def asked(**given) -> Question:
    return Question(factors=(Factor(name="dose", kind="amount"),), responses=(RISE,), kind="dose", **given)


def read(name: str) -> pd.DataFrame:
    return pd.read_csv(HERE / "dose_response" / name)


def logistic(curve) -> list[float]:
    named = {name: value.estimate for name, value in curve.parameters.items()}
    return [named["b0"], named["b1"] - named["b0"], named["b2"], named["b3"]]


def test_a_logistic_with_random_days_is_that_of_reml():
    family = analyse(read("random_days.csv"), asked(group=("day",), shape="logistic-4")).responses[0].family
    expected = FIGURES["reml"]
    assert logistic(family.dose.curves[0]) == pytest.approx(expected["coef"], rel=1e-7)
    assert [one.variance for one in family.variances] == pytest.approx(expected["variances"], rel=1e-6)
    assert [one.group for one in family.variances] == ["day", "residual"]
    named = family.dose.curves[0].parameters
    ses = [named["b0"].se, named["b2"].se, named["b3"].se]
    variances = expected["vcov_diag"]
    assert ses == pytest.approx([np.sqrt(variances[k]) for k in (0, 2, 3)], rel=1e-6)


def test_the_likelihood_that_compares_shapes_is_the_marginal_one():
    question = asked(group=("day",), shape="logistic-4")
    bakes = read("random_days.csv")
    fit = choose(read_layout(bakes, RISE, question, dose="dose", by=None), question)[0].chosen.fit
    n = len(bakes)
    assert -0.5 * (deviance(fit) + n * (1 + np.log(2 * np.pi))) == pytest.approx(FIGURES["ml"]["loglik"], abs=1e-5)


def test_a_parabola_with_random_days_is_that_of_reml():
    family = analyse(read("random_days.csv"), asked(group=("day",), shape="quadratic")).responses[0].family
    named, expected = family.dose.curves[0].parameters, FIGURES["quadratic_reml"]
    names = ("intercept", "slope", "curvature")
    assert [named[name].estimate for name in names] == pytest.approx(expected["coef"], rel=1e-7)
    assert [named[name].se for name in names] == pytest.approx(expected["se"], rel=1e-6)
    assert [one.variance for one in family.variances] == pytest.approx(expected["variances"], rel=1e-6)


def test_spread_that_follows_the_mean():
    family = analyse(read("unequal_spread.csv"), asked(unequal_spread=True, shape="logistic-4")).responses[0].family
    [part] = [part for part in family.parts if part.key == "dose_spread"]
    expected = FIGURES["power"]
    assert part.kind == "power"
    assert part.exponent == pytest.approx(expected["exponent"], rel=1e-4)
    # gnls stops where its steps are halved to nothing, at about five digits.
    assert logistic(family.dose.curves[0]) == pytest.approx(expected["coef"], rel=5e-5)
    named = family.dose.curves[0].parameters
    ses = [named["b0"].se, named["b2"].se, named["b3"].se]
    assert ses == pytest.approx([expected["se"][k] for k in (0, 2, 3)], rel=1e-4)
    assert part.statistic == pytest.approx(2 * (expected["loglik"] - expected["loglik_equal"]), rel=1e-4)
    assert part.p < 0.001


def test_given_weights():
    family = analyse(read("unequal_spread.csv"), asked(weights="pieces", shape="logistic-4")).responses[0].family
    named, expected = family.dose.curves[0].parameters, FIGURES["weighted"]
    assert logistic(family.dose.curves[0]) == pytest.approx(expected["coef"], rel=1e-5)
    ses = [named["b0"].se, named["b2"].se, named["b3"].se]
    assert ses == pytest.approx([expected["se"][k] for k in (0, 2, 3)], rel=1e-5)


@pytest.fixture(scope="module")
def yeast():
    from tracker.commands.analyse import app

    file = HERE / "relative_potency" / "yeast_gassing_parallel_line.csv"
    words = [str(file), "--response", "y", "--dose", "dose", "--by", "prep", "--reference", "S", "--json"]
    answer = CliRunner().invoke(app, words)
    assert answer.exit_code == 0, answer.output
    return json.loads(answer.stdout)["responses"][0]


def test_two_yeasts_on_parallel_lines(yeast):
    case = json.loads((HERE / "relative_potency" / "yeast_gassing_parallel_line.json").read_text())
    expected, part = case["expected"], yeast["relative_potency"]
    assert part["model"] == "parallel lines"
    assert part["slope"] == pytest.approx(expected["slope"], rel=1e-9)
    ratio = part["ratios"]["T"]
    assert ratio["log10"] == pytest.approx(expected["log10_potency"], rel=1e-9)
    assert [ratio["log10_low"], ratio["log10_high"]] == pytest.approx(expected["fieller95_log10"], rel=1e-9)
    assert ratio["ratio"] == pytest.approx(expected["potency_ratio"], rel=1e-9)
    assert [ratio["low"], ratio["high"]] == pytest.approx(expected["fieller95_ratio"], rel=1e-9)
    assert (part["g"], part["sigma"], part["df"]) == pytest.approx(
        (expected["g"], expected["sigma"], expected["df"]), rel=1e-9
    )
    for test in ("parallelism", "linearity"):
        assert part[test]["value"] == pytest.approx(expected[test]["F"], rel=1e-9)
        assert part[test]["p"] == pytest.approx(expected[test]["p"], rel=1e-9)
    assert yeast["dose"]["potency"][0]["ratio"] == pytest.approx(expected["potency_ratio"], rel=1e-9)
    assert any("0.86 (0.78 to 0.95)" in sentence for sentence in part["words"])
