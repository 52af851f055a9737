"""Does a blending model agree with the book? Cornell, Experiments with Mixtures: elongation of yarn; R 4.2.2."""

import json
from pathlib import Path

import pandas as pd
import pytest

from analysis.blends.family import blend_model
from analysis.questions import Factor, Question, Response

HERE = Path(__file__).parent / "mixture"
EXPECTED = json.loads((HERE / "yarn_scheffe_quadratic.json").read_text())["expected"]
ELONG = Response(name="elong")
FACTORS = tuple(Factor(name=name, kind="share") for name in ("pe", "ps", "pp"))


def answer(model=None):
    frame = pd.read_csv(HERE / "yarn_scheffe_quadratic.csv").astype(float)
    frame = frame.assign(bake=[str(i) for i in range(len(frame))], order=range(len(frame)), readings=1)
    return blend_model(frame, ELONG, Question(factors=FACTORS, responses=(ELONG,), model=model))


def test_coefficients_are_the_published_ones():
    found = {each.term: each for each in answer().coefficients}
    for term, numbers in EXPECTED["coef"].items():
        assert found[term].estimate == pytest.approx(numbers["Estimate"], rel=1e-7)
        assert found[term].se == pytest.approx(numbers["Std. Error"], rel=1e-7)
        assert found[term].p == pytest.approx(numbers["Pr(>|t|)"], rel=1e-5)


def test_the_error_and_the_share_explained_are_against_the_mean():
    residual = answer().residual
    assert residual.sd == pytest.approx(EXPECTED["sigma"], rel=1e-7)
    assert residual.r_squared == pytest.approx(EXPECTED["r2_corrected"], rel=1e-7)
    assert residual.df == 9


def test_blending_in_pairs_adds_the_published_sum():
    quadratic, linear = answer(), answer("mixture linear")
    blending = (linear.residual.sum_sq - quadratic.residual.sum_sq) / 3 / quadratic.residual.mean_sq
    assert blending == pytest.approx(EXPECTED["quadratic"]["F"], rel=1e-6)
    # The published linear F is sequential, judged by the error of the quadratic model.
    test = next(test for test in linear.tests if test.term == "linear blending")
    assert test.df == EXPECTED["linear"]["df"]
    assert test.sum_sq / 2 / quadratic.residual.mean_sq == pytest.approx(EXPECTED["linear"]["F"], rel=1e-6)
